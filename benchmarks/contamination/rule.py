"""A simple rule for comparison: flag every patch of the face in a range of green hues."""

import cv2
import numpy as np

from benchmarks.contamination.looks import Box
from vision.face.frame import frame_of
from vision.records import BACKGROUND, LABEL, OTHER, Face
from vision.surface.read_face import mask_box

#: OpenCV hue (degrees / 2), chroma and value of green: a common choice.
_LOW, _HIGH = (35, 50, 30), (90, 255, 255)


def green_boxes(face: Face, least_cm2: float) -> list[Box]:
    """Boxes in photo pixels of the green patches of a face that have at least this area."""
    hsv = cv2.cvtColor(face.rgb, cv2.COLOR_RGB2HSV)
    surface = ~np.isin(face.classes, (BACKGROUND, LABEL, OTHER))
    green = (cv2.inRange(hsv, np.array(_LOW), np.array(_HIGH)) > 0) & surface
    count, labels, stats, _ = cv2.connectedComponentsWithStats(green.astype(np.uint8), connectivity=8)
    least_px = least_cm2 * 100 * face.px_per_mm**2
    frame = frame_of(face.to_photo, face.classes, face.px_per_mm)
    return [mask_box(labels == label, frame) for label in range(1, count) if stats[label, cv2.CC_STAT_AREA] >= least_px]
