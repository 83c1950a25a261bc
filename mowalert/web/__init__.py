"""Pages, one-tap links and feeds, rendered on the server; nothing here needs a script."""
