"""Lawns enrolled, looked at, changed, and what is reported of them."""
