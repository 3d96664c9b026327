"""Path-traced scenes of our own with exact truth: shelves that the segmenter was never trained on."""
