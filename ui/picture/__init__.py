"""The camera picture with what is drawn over it, and the map of the board."""
