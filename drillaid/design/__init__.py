"""What shall be drilled: drill list, pads, copper, outline, bits, parts."""
