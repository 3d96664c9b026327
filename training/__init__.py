"""What makes the shipped networks: scenes, faces, learning; never packaged."""
