"""`drillaid table …`: the stepper table, one module for each command."""
