"""drillaid: a camera over the bench drill, and what the hand should do next."""

__version__ = "0.1.0"
