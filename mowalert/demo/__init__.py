"""An invented town with invented people and invented weather."""
