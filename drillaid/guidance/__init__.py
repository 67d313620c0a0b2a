"""Registration + spindle -> what the hand does next; drilling order."""
