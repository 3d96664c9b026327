"""Time and memory for a large farm: thousands of photos, hundreds of thousands of records."""
