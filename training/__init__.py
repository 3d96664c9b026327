"""Training of the shipped networks: scenes, faces, learning; not packaged."""
