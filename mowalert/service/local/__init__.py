"""What is true of a place: its zone, what authorities warn of and restrict there, which lawns are meant."""
