"""An office's own sheet brought in: a dry run first, and nothing guessed."""
