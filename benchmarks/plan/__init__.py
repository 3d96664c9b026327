"""Coverage of intervals for a whole batch: joint draws compared with independent draws of each vessel."""
