"""The face frame: a flat, upright frame of fixed scale cut out of a photo, and the way back.

The frame is a rotated and scaled window (a similarity), so that a share of its area is a share of what the camera saw.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Frame:
    """to_photo: float (3, 3), face px (column, row, 1) to photo px; rows, columns: size; px_per_mm: its scale."""

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
        """Photo pixels along one pixel of the frame."""
        return float(np.sqrt(abs(np.linalg.det(self.to_photo[:2, :2]))))

    def cut(self, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The frame's part of a photo, (rows, columns[, channels]); black outside the photo."""
        smaller = self.photo_px_per_px
        source, to_photo = image, self.to_photo
        if smaller > 1.5:
            source, to_photo = _shrunk(image, self, smaller)
        inverse = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return np.asarray(cv2.warpAffine(source, to_photo[:2], (self.columns, self.rows), flags=inverse), np.uint8)

    def paste(self, image: NDArray[np.uint8], face: NDArray[np.uint8]) -> None:
        """Write the non-zero pixels of a map (rows, columns) made in this frame into a photo-sized map, in place."""
        left, top, width, height = self.box_in(image.shape[0], image.shape[1])
        if width <= 0 or height <= 0:
            return
        shift = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
        forward = (shift @ self.to_photo)[:2]
        patch = cv2.warpAffine(face, forward, (width, height), flags=cv2.INTER_NEAREST)
        window = image[top : top + height, left : left + width]
        window[patch > 0] = patch[patch > 0]

    def box_in(self, photo_rows: int, photo_columns: int) -> tuple[int, int, int, int]:
        """Left, top, width, height of the frame's box in a photo of this size, cut at its borders."""
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
        columns, rows = np.meshgrid(np.arange(self.columns), np.arange(self.rows))
        a = self.to_photo
        x = a[0, 0] * columns + a[0, 1] * rows + a[0, 2]
        y = a[1, 0] * columns + a[1, 1] * rows + a[1, 2]
        return np.asarray((x >= 0) & (y >= 0) & (x <= photo_columns - 1) & (y <= photo_rows - 1))

    def window(self, top: int, left: int, rows: int, columns: int) -> "Frame":
        """The frame of a part of this frame, in this frame's pixels."""
        shift = np.array([[1, 0, left], [0, 1, top], [0, 0, 1]], np.float64)
        return replace(self, to_photo=self.to_photo @ shift, rows=rows, columns=columns)

    def scaled(self, px_per_mm: float) -> "Frame":
        """The same part of the photo at another scale."""
        factor = self.px_per_mm / px_per_mm
        rows, columns = max(1, round(self.rows / factor)), max(1, round(self.columns / factor))
        # Pixel centres: pixel (0, 0) of the new frame covers `factor` pixels of the old one.
        stretch = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2], [0, 0, 1]], np.float64)
        return Frame(self.to_photo @ stretch, rows, columns, px_per_mm)


def frame_of(to_photo: NDArray[np.float64], plane: NDArray[np.uint8], px_per_mm: float) -> Frame:
    """The frame in which a plane (rows, columns[, channels]) was cut."""
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


def _shrunk(image: NDArray[np.uint8], frame: Frame, smaller: float) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """The frame's box of the photo averaged down by about ``smaller``, so that fine texture does not alias."""
    left, top, width, height = frame.box_in(image.shape[0], image.shape[1])
    if width <= 0 or height <= 0:
        return image[:1, :1], frame.to_photo
    size = (max(1, round(width / smaller)), max(1, round(height / smaller)))
    part = cv2.resize(image[top : top + height, left : left + width], size, interpolation=cv2.INTER_AREA)
    scale_x, scale_y = size[0] / width, size[1] / height
    shrink = np.array([[scale_x, 0, (scale_x - 1) / 2], [0, scale_y, (scale_y - 1) / 2], [0, 0, 1]], np.float64)
    shift = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1]], np.float64)
    return np.asarray(part, np.uint8), shrink @ shift @ frame.to_photo


def reduced(image: NDArray[np.float32], factor: float) -> NDArray[np.float32]:
    """A picture (rows, columns[, channels]) averaged down by a factor below 1."""
    size = (max(1, round(image.shape[1] * factor)), max(1, round(image.shape[0] * factor)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.float32)


def reduced_mask(mask: NDArray[np.bool_], factor: float) -> NDArray[np.bool_]:
    """A mask averaged down by a factor below 1; True where at least half was."""
    return reduced(mask.astype(np.float32), factor) > 0.5


def enlarged_mask(mask: NDArray[np.bool_], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """A mask of a reduced picture at the size (rows, columns) of the whole, its edge smooth."""
    soft = cv2.resize(mask.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(soft > 0.5)
