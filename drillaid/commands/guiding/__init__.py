"""What `drillaid guide` needs in a terminal: words, keys, and the simulated bench."""
