"""What a user would otherwise do with a general library: Otsu's threshold on lightness, and two colours by k-means."""

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.filters import threshold_otsu

from training.segmenter.scenes import SceneFace
from vision.pixels.colour import encode_srgb8


def _lab(face: SceneFace) -> NDArray[np.float32]:
    srgb = encode_srgb8(face.linear_rgb).astype(np.float32) / 255
    return np.asarray(cv2.cvtColor(srgb, cv2.COLOR_RGB2Lab), np.float32)


def otsu(face: SceneFace) -> NDArray[np.bool_]:
    """Lighter than Otsu's global threshold on CIELAB lightness inside the face."""
    lightness = _lab(face)[..., 0]
    inside = face.inside
    return np.asarray(inside & (lightness > threshold_otsu(lightness[inside])))


def two_colours(face: SceneFace) -> NDArray[np.bool_]:
    """The lighter of two clusters of CIELAB colour inside the face, after a blur of about 1 mm."""
    lab = cv2.blur(_lab(face), (3, 3))
    inside = face.inside
    pixels = np.ascontiguousarray(lab[inside])
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    cv2.setRNGSeed(0)
    start = np.empty((len(pixels), 1), np.int32)
    _, labels, centres = cv2.kmeans(pixels, 2, start, stop, 2, cv2.KMEANS_PP_CENTERS)
    out = np.zeros(inside.shape, np.bool_)
    out[inside] = labels[:, 0] == int(np.argmax(centres[:, 0]))
    return out
