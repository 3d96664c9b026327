"""A simple script for comparison: Otsu's threshold on the whole frame with scikit-image, and shares by vessel."""

from collections.abc import Sequence
from pathlib import Path

from skimage.color import rgb2gray
from skimage.filters import threshold_otsu
from skimage.io import imread
from skimage.measure import label, regionprops

Box = tuple[int, int, int, int]


def shares_in_boxes(photo: Path, boxes: Sequence[Box]) -> list[float]:
    """Percent of each box (left, top, width, height; given, not found) that lies in bright patches of some size."""
    grey = rgb2gray(imread(photo))
    bright = grey > threshold_otsu(grey)
    shares = []
    for left, top, width, height in boxes:
        patches = regionprops(label(bright[top : top + height, left : left + width]))
        shares.append(100 * sum(patch.area for patch in patches if patch.area >= 50) / (width * height))
    return shares
