"""Change of the readings with the colours of another camera, and how much of it a camera profile removes."""
