"""Colours, type and drawn signs: how the window looks."""
