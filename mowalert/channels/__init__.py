"""E-mail and SMS, and the words that go through them."""
