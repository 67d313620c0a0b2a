"""Sheets to print or to etch: the test board and the reference marks, at true scale.

shapes -> board, marks (what stands where, in mm) -> pdf, svg, png, gerber (one file each).
"""
