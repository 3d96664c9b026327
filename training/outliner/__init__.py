"""Training of the outliner, the network that finds a vessel's face in its frame."""
