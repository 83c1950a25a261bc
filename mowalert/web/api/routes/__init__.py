"""Routes for programs, one module a purpose."""
