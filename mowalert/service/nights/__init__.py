"""A night from its first cell to its last bulletin."""
