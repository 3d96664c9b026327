"""Hits and false alarms of signs other than colour: growth that stops in a part, and grain that turns dark."""
