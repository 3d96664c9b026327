"""A farm: its records, photos measured, forecasts, lists, reviews and plans. Each room says what belongs there."""
