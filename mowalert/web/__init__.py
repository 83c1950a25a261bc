"""The web pages: what a browser is shown."""
