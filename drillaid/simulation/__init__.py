"""A whole bench in software behind the same interfaces as the hardware."""
