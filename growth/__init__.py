"""From readings to a growth curve, and to the day a vessel is ready; each room below says what belongs there."""
