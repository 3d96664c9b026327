"""Readings of real photographs compared with estimates made by hand."""
