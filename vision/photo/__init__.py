"""A whole photo to readings, and the overlay that shows them."""

from vision.photo.measure import measure_photo
from vision.photo.overlay import draw_overlay, paint_classes

__all__ = [
    "draw_overlay",
    "measure_photo",
    "paint_classes",
]
