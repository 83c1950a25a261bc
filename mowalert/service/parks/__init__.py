"""Parks: turf classes, their holds, and who is told of them."""
