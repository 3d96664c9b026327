"""How well contamination is flagged: recall by size and colour, false flags, delay in days, compared with a rule."""
