"""`drillaid demo`: the whole job on an invented board and a simulated bench."""
