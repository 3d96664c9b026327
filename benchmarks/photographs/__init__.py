"""Readings of real photographs beside a truth that was set by hand."""
