"""Inspect a camera: measure labels and a colour chart in a test photo."""

from vision.camera.inspection import CameraInspection, inspect_camera, undo_highlight_shoulder
from vision.camera.measure_chart import InspectedChart

__all__ = [
    "CameraInspection",
    "InspectedChart",
    "inspect_camera",
    "undo_highlight_shoulder",
]
