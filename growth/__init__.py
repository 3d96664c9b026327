"""From readings to a growth curve and the day a vessel is ready. The docstring of each room says what belongs there."""
