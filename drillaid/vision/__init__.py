"""Picture -> sightings of pads and holes, each with an expected error."""
