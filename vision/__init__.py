"""From a photo to readings. The docstring of each sub-package says what it holds."""
