"""One client a source, quality checks, the order of fallback, and weather cells."""
