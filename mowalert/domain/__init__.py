"""What grass does and what we tell people: pure functions, no I/O, no clock, no settings."""
