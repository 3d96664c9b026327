"""The farm's records and all that is said of them; each room below says what belongs there."""
