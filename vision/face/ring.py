"""Find a dish: the circle, or its perspective ellipse, with the strongest colour edge all the way round."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

_ANGLES = 96
_ARCS = 24
#: An edge of this many Lab units per px scores 1 - 1/e.
_CLEAR_EDGE = 2.0
#: Weight of a full edge against squared deviations (in spreads) from the usual position and size.
_RING_GAIN = 12.0

#: Overlap of a shape with its ellipse at which it is not round at all, and fully round.
_ROUND = (0.85, 0.93)
#: An ellipse has five unknowns; a border of fewer points than this is a speck.
_FEWEST_ON_BORDER = 12


@dataclass(frozen=True)
class Ring:
    """centre: (row, column) px. radius: px, along the given directions. strength: share that is an edge, 0-1."""

    centre: tuple[float, float]
    radius: float
    strength: float


def circle_directions(shape: NDArray[np.float64] | None = None, rays: int = _ANGLES) -> NDArray[np.float64]:
    """Points (rays, 2) as (column, row) on the unit circle, transformed by ``shape`` (2 x 2) if it is given."""
    angles = np.arange(rays) * (2 * np.pi / rays)
    unit = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    return unit if shape is None else unit @ shape.T


@dataclass(frozen=True, eq=False)
class Ellipse:
    """centre: (row, column) px. radius: of the circle of its area, px. stretch: 2 x 2, what makes it of that circle."""

    centre: tuple[float, float]
    radius: float
    stretch: NDArray[np.float64]


def fitted_ellipse(shape: NDArray[np.bool_]) -> Ellipse | None:
    """The ellipse through a shape's outer border; None if that is too short."""
    contours, _ = cv2.findContours(shape.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    border = max(contours, key=cv2.contourArea, default=None)
    if border is None or len(border) < _FEWEST_ON_BORDER:
        return None
    (column, row), axes, degrees = cv2.fitEllipseDirect(border)
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    radius = float(np.sqrt(axes[0] * axes[1])) / 2
    if not np.isfinite(radius) or radius <= 0:
        return None
    return Ellipse((row, column), radius, turn @ np.diag(np.array(axes) / (2 * radius)) @ turn.T)


def ellipse_of(shape: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The ellipse through a shape's outer border, filled (rows, columns); the shape itself if it is too small."""
    found = fitted_ellipse(shape)
    return shape if found is None else filled_ellipse(found, (shape.shape[0], shape.shape[1]))


def filled_ellipse(ellipse: Ellipse, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Mask (rows, columns) of an ellipse's inside."""
    points = np.array(ellipse.centre[::-1]) + ellipse.radius * circle_directions(ellipse.stretch, 360)
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(points * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


def edge_along(lab: NDArray[np.float32], ellipse: Ellipse) -> float:
    """Share, 0-1, of an ellipse that is an edge in a Lab picture (rows, columns, 3)."""
    trial = np.array([[*ellipse.centre, ellipse.radius]])
    return float(_edge_share(*edge_fields(lab), trial, circle_directions(ellipse.stretch))[0])


def roundness(shape: NDArray[np.bool_]) -> float:
    """How much a shape (rows, columns) is an ellipse of a dish, 0-1; less than round or much foreshortened is 0."""
    round_one = ellipse_of(shape)
    either = int((shape | round_one).sum())
    if not either or min(*shape.shape) < 2:
        return 0.0
    overlap = int((shape & round_one).sum()) / either
    return float(np.clip((overlap - _ROUND[0]) / (_ROUND[1] - _ROUND[0]), 0, 1))


def find_ring(
    lab: NDArray[np.float32],
    centre: tuple[float, float],
    radius: float,
    *,
    centre_spread: float,
    radius_spread: float,
    directions: NDArray[np.float64],
) -> Ring:
    """The best ring near a usual centre (row, column) and radius, px, in a Lab picture (rows, columns, 3)."""
    rightward, downward = edge_fields(lab)
    usual = np.array([centre[0], centre[1], radius])
    spread = np.array([centre_spread, centre_spread, radius_spread])
    best, step = usual, np.array([2.5, 2.5, 1.0]) * max(1.0, radius / 43.0)
    reach = np.ceil(2.2 * spread / step)
    for _ in range(4):
        axes = [best[i] + step[i] * np.arange(-reach[i], reach[i] + 1) for i in range(3)]
        trial = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        strength = _edge_share(rightward, downward, trial, directions)
        score = _RING_GAIN * strength - (((trial - usual) / spread) ** 2).sum(axis=1)
        winner = int(score.argmax())
        best, found = trial[winner], float(strength[winner])
        step, reach = step / 2.5, np.array([2.0, 2.0, 2.0])
    return Ring((float(best[0]), float(best[1])), float(best[2]), found)


def _edge_share(
    rightward: NDArray[np.float32],
    downward: NDArray[np.float32],
    trial: NDArray[np.float64],
    directions: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Edge strength, 0-1, along each trial ring (row, column, radius)."""
    slopes = np.linalg.norm(_arc_changes(rightward, downward, trial, directions), axis=-1)
    return np.asarray(_edge_score(slopes).mean(axis=1), np.float64)


def _arc_changes(
    rightward: NDArray[np.float32],
    downward: NDArray[np.float32],
    trial: NDArray[np.float64],
    directions: NDArray[np.float64],
) -> NDArray[np.floating]:
    """Mean radial colour gradient of each arc of each trial ring, (trials, arcs, 3)."""
    columns = (trial[:, 1, None] + trial[:, 2, None] * directions[None, :, 0]).astype(np.float32)
    rows = (trial[:, 0, None] + trial[:, 2, None] * directions[None, :, 1]).astype(np.float32)
    across = (
        _sample(rightward, columns, rows) * directions[None, :, 0, None]
        + _sample(downward, columns, rows) * directions[None, :, 1, None]
    )
    return np.asarray(across.reshape(len(trial), _ARCS, -1, 3).mean(axis=2))


def edge_fields(plane: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Gradient per px of a smoothed picture to the right and downwards, each (rows, columns, channels)."""
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.5)
    rightward = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125)
    downward = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    return np.asarray(rightward, np.float32), np.asarray(downward, np.float32)


def _edge_score(change: NDArray[np.floating]) -> NDArray[np.floating]:
    """Score 0-1 of a colour gradient (Lab units per px) as an edge; saturates for clear edges."""
    return np.asarray(1.0 - np.exp(-change / _CLEAR_EDGE))


def _sample(field: NDArray[np.float32], columns: NDArray[np.float32], rows: NDArray[np.float32]) -> NDArray[np.float32]:
    height, width = field.shape[:2]
    row = np.clip(np.rint(rows), 0, height - 1).astype(np.intp)
    column = np.clip(np.rint(columns), 0, width - 1).astype(np.intp)
    return field[row, column]
