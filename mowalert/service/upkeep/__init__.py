"""How the service does, for those who run it, and what it forgets."""
