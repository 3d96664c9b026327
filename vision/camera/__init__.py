"""A camera looked at: labels and colour chart in a test photo."""

from vision.camera.camera_look import CameraLook, look_at_camera, without_shoulder
from vision.camera.colour_chart import SeenChart

__all__ = [
    "CameraLook",
    "SeenChart",
    "look_at_camera",
    "without_shoulder",
]
