"""Sightings + design -> where the board lies, or a reasoned refusal."""
