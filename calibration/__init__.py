"""Makes a rig: test board, lens, bench plane, spindle, table."""
