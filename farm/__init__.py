"""A farm: its records, the measuring of its photos, forecasts, lists, reviews and plans; each room says what belongs in it."""
