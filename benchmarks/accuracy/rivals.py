"""Simple methods from general libraries on the same faces: a threshold, or two clusters of colour."""

import cv2
import numpy as np
from skimage.filters import threshold_otsu

from vision.records import Face


def otsu_percent(face: Face) -> float:
    """Share of the face lighter than Otsu's global threshold on CIELAB lightness, %."""
    pixels = _surface_lab(face)
    return 100.0 * float((pixels[:, 0] > threshold_otsu(pixels[:, 0])).mean())


def two_colours_percent(face: Face) -> float:
    """Share of the face in the lighter of two clusters of CIELAB colour (k-means), %."""
    pixels = np.ascontiguousarray(_surface_lab(face))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    cv2.setRNGSeed(0)
    start = np.empty((len(pixels), 1), np.int32)
    _, labels, centres = cv2.kmeans(pixels, 2, start, stop, 2, cv2.KMEANS_PP_CENTERS)
    return 100.0 * float((labels[:, 0] == int(np.argmax(centres[:, 0]))).mean())


def _surface_lab(face: Face) -> np.ndarray:
    lab = cv2.cvtColor(face.rgb.astype(np.float32) / 255, cv2.COLOR_RGB2Lab)
    smooth = cv2.blur(lab, (3, 3))
    return np.asarray(smooth[(face.classes_alone >= 1) & (face.classes_alone <= 3)], np.float32)
