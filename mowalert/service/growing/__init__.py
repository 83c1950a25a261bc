"""Weather in, stands' curves out, and lawns in their place on them."""
