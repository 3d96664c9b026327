"""Measure a whole photo, and draw its readings as an overlay."""

from vision.photo.measure import measure_photo
from vision.photo.overlay import draw_overlay, paint_classes

__all__ = [
    "draw_overlay",
    "measure_photo",
    "paint_classes",
]
