"""What start.py does before anything is installed: standard library only, in this whole package."""
