"""The scheduler, and later the distributed runner."""
