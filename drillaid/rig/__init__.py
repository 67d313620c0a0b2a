"""Camera, bench plane and spindle as one calibrated model; camera sources."""
