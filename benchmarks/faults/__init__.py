"""Kill work midway and run it again: the result must equal that of uninterrupted work."""
