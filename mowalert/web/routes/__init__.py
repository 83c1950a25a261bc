"""Routes, one module a part of the site."""
