"""Do bands on a whole batch hold what they say? Joint draws beside draws of each vessel for itself."""
