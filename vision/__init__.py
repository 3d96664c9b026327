"""From a photo to readings; each room below says what belongs there."""
