"""The face frame: an upright rectangle of fixed scale in a photo, with the transforms in both directions.

The frame is a similarity transform of a window of the photo, so shares of area are the same in frame and photo.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.pixels import block_means, warped


@dataclass(frozen=True, eq=False)
class Frame:
    """to_photo: float (3, 3), face px (column, row, 1) to photo px. rows, columns: size. px_per_mm: scale."""

    to_photo: NDArray[np.float64]
    rows: int
    columns: int
    px_per_mm: float

    @property
    def from_photo(self) -> NDArray[np.float64]:
        """Photo px to face px, (3, 3)."""
        return np.asarray(np.linalg.inv(self.to_photo), np.float64)

    @property
    def photo_px_per_px(self) -> float:
        """Length of one frame pixel in photo pixels."""
        return float(np.sqrt(abs(np.linalg.det(self.to_photo[:2, :2]))))

    def cut(self, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The photo's pixels in the frame, (rows, columns[, channels]); black outside the photo."""
        source, to_photo = image, self.to_photo
        # Block means over whole pixels, which is fast, then a warp to the exact scale.
        smaller = int(self.photo_px_per_px + 0.5)
        if smaller > 1:
            source, to_photo = _shrunk(image, self, smaller)
        left, top, width, height = replace(self, to_photo=to_photo).box_in(*source.shape[:2])
        part = np.ascontiguousarray(source[top : top + height, left : left + width])
        if not part.size:
            return np.zeros((self.rows, self.columns, *source.shape[2:]), np.uint8)
        shift = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
        return warped(part, (shift @ to_photo)[:2], (self.rows, self.columns))

    def paste(self, image: NDArray[np.uint8], face: NDArray[np.uint8]) -> None:
        """Write the non-zero pixels of a map (rows, columns) in this frame into a photo-sized map, in place."""
        left, top, width, height = self.box_in(image.shape[0], image.shape[1])
        if width <= 0 or height <= 0:
            return
        shift = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
        forward = (shift @ self.to_photo)[:2]
        patch = cv2.warpAffine(face, forward, (width, height), flags=cv2.INTER_NEAREST)
        window = image[top : top + height, left : left + width]
        window[patch > 0] = patch[patch > 0]

    def box_in(self, photo_rows: int, photo_columns: int) -> tuple[int, int, int, int]:
        """Left, top, width, height of the frame's bounding box in a photo of this size, clipped to it."""
        corners = np.array([[[0, 0], [self.columns, 0], [self.columns, self.rows], [0, self.rows]]], np.float64)
        points = cv2.perspectiveTransform(corners, self.to_photo)[0]
        left, top = np.maximum(np.floor(points.min(axis=0)).astype(int), 0)
        right, bottom = np.minimum(np.ceil(points.max(axis=0)).astype(int) + 1, (photo_columns, photo_rows))
        return int(left), int(top), int(right - left), int(bottom - top)

    def inside_photo(self, photo_rows: int, photo_columns: int) -> NDArray[np.bool_]:
        """Bool (rows, columns), True where the frame's pixel lies in a photo of this size."""
        corners = np.array([[[0, 0], [self.columns - 1, 0], [self.columns - 1, self.rows - 1], [0, self.rows - 1]]])
        points = cv2.perspectiveTransform(corners.astype(np.float64), self.to_photo)[0]
        if (points >= 0).all() and (points <= [photo_columns - 1, photo_rows - 1]).all():
            return np.ones((self.rows, self.columns), bool)
        # Along a row both coordinates are monotone, so each border of the photo cuts it at most once.
        rows, first, last = np.arange(self.rows), np.zeros(self.rows), np.full(self.rows, self.columns - 1.0)
        for (step, down, start), size in zip(self.to_photo[:2], (photo_columns, photo_rows), strict=True):
            at = down * rows + start
            if abs(step) < 1e-9:
                last[(at < 0) | (at > size - 1)] = -1.0
                continue
            ends = np.sort([-at / step, (size - 1 - at) / step], axis=0)
            first, last = np.maximum(first, ends[0]), np.minimum(last, ends[1])
        # Small whole numbers are compared in a third of the time of others.
        begin, end = (bound.clip(0, self.columns).astype(np.uint16) for bound in (np.ceil(first), np.floor(last) + 1))
        columns = np.arange(self.columns, dtype=np.uint16)
        return np.asarray((columns >= begin[:, None]) & (columns < end[:, None]))

    def window(self, top: int, left: int, rows: int, columns: int) -> "Frame":
        """The frame of a sub-rectangle, given in this frame's pixels."""
        shift = np.array([[1, 0, left], [0, 1, top], [0, 0, 1]], np.float64)
        return replace(self, to_photo=self.to_photo @ shift, rows=rows, columns=columns)

    def scaled(self, px_per_mm: float) -> "Frame":
        """The same part of the photo at another scale."""
        factor = self.px_per_mm / px_per_mm
        rows, columns = max(1, round(self.rows / factor)), max(1, round(self.columns / factor))
        # Pixel centres: pixel (0, 0) of the new frame covers `factor` pixels of this one.
        stretch = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2], [0, 0, 1]], np.float64)
        return Frame(self.to_photo @ stretch, rows, columns, px_per_mm)


def frame_of(to_photo: NDArray[np.float64], plane: NDArray[np.uint8], px_per_mm: float) -> Frame:
    """The frame of a plane (rows, columns[, channels]) with this transform."""
    return Frame(to_photo, plane.shape[0], plane.shape[1], px_per_mm)


def frame_at(
    anchor: NDArray[np.float64],
    angle: float,
    photo_px_per_mm: float,
    box_mm: tuple[float, float, float, float],
    px_per_mm: float,
) -> Frame:
    """Frame of a box in millimetres around an anchor.

    anchor: (column, row) in the photo. angle: direction of the box's x axis in the photo, radians, downwards positive.
    box_mm: left, top, width, height relative to the anchor, x right, y down along the turned axes.
    """
    left, top, width, height = box_mm
    step = photo_px_per_mm / px_per_mm
    cos, sin = np.cos(angle) * step, np.sin(angle) * step
    turn = np.array([[cos, -sin], [sin, cos]])
    origin = np.asarray(anchor, np.float64) + turn @ (np.array([left, top]) * px_per_mm)
    to_photo = np.eye(3)
    to_photo[:2, :2], to_photo[:2, 2] = turn, origin
    return Frame(to_photo, max(1, round(height * px_per_mm)), max(1, round(width * px_per_mm)), px_per_mm)


def _shrunk(image: NDArray[np.uint8], frame: Frame, smaller: int) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Block means over ``smaller`` px of the photo around the frame, so that fine texture does not alias."""
    left, top, width, height = frame.box_in(image.shape[0], image.shape[1])
    size = (width // smaller, height // smaller)
    if min(size) < 1:
        return image[:1, :1], frame.to_photo
    window = image[top : top + height, left : left + width]
    shrink = np.diag([1 / smaller, 1 / smaller, 1.0])
    shrink[:2, 2] = (1 / smaller - 1) / 2
    shift = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
    return block_means(window, smaller), shrink @ shift @ frame.to_photo
