"""Tells people when a third of the grass has grown, so that they mow by growth."""

__version__ = "0.1.0"
