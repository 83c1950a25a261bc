"""One use case a file, and the ports they need."""
