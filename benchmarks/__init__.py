"""Commands that print measured figures of the program; not packaged."""
