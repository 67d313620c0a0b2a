"""Drilled board -> measurements, part fit, report."""
