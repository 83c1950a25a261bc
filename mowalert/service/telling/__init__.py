"""What is said of lawns in a round, put into the outbox, remembered, and explained afterwards."""
