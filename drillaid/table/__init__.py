"""The stepper table: bytes, their meaning, safe motion, the drilling sequence."""
