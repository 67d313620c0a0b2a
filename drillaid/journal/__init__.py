"""What was done, durable at once."""
