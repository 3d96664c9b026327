"""Inspect a camera: measure labels and a colour chart in a test photo."""

from vision.camera.colour_chart import InspectedChart
from vision.camera.inspection import CameraInspection, inspect_camera, undo_highlight_shoulder

__all__ = [
    "CameraInspection",
    "InspectedChart",
    "inspect_camera",
    "undo_highlight_shoulder",
]
