"""How well contamination is flagged: recall by size and colour, false flags, days to a flag, beside a simple rule."""
