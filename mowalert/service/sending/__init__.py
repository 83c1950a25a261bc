"""Messages on their way, and what comes back."""
