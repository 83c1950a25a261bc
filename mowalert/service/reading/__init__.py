"""Tables and figures as people write them, read into ours."""
