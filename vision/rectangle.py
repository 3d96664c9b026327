"""A first guess of an upright face: the pairs of long edges that agree best with what is usual for the kind."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: A side is looked at in this many parts; a change of this many Lab units per px is clear.
_PARTS = 8
_CLEAR_EDGE = 2.0
#: What a side that is an edge from end to end is worth, in squared spreads off the usual place or size.
_SIDE_GAIN = 8.0
#: An inner edge of a glass base counts from this share of the outer one's strength.
_INNER_SHARE = 0.5
#: A gain of this much texture (Lab units) over this many px counts in full, and as much as this share of an edge.
_FULL_TEXTURE, _TEXTURE_REACH, _TEXTURE_GAIN = 3.0, 6, 0.7


@dataclass(frozen=True)
class Usual:
    """What is usual along one axis, px: middle and length of the face, and how far either may be off (one spread)."""

    middle: float
    length: float
    middle_spread: float
    length_spread: float


@dataclass(frozen=True)
class Rectangle:
    """Sides of an upright face in px of the picture searched; score: how well it agrees, higher is better."""

    left: float
    top: float
    right: float
    bottom: float
    score: float


def long_edges(plane: NDArray[np.float32], across: Usual, down: Usual, *, base: int = 0) -> Rectangle:
    """The face's rectangle in a picture of colour planes (rows, columns, channels), in Lab units.

    Left and right are the two long upright edges, top and bottom the two level ones between them. An edge is a change
    of colour that keeps its direction along a part of the side, so that texture averages out.
    base: thickness, px, of a glass base below the face; its upper edge is taken where both edges show.
    """
    rightward, downward = edge_fields(plane)
    texture = _texture(plane)
    rows = _within(down.middle - 0.35 * down.length, down.middle + 0.35 * down.length, plane.shape[0])
    left, right, sides = _best_pair(_strength(rightward[rows], axis=0), _rise(texture[rows].mean(axis=0)), across)
    columns = _within(left + 0.15 * (right - left), right - 0.15 * (right - left), plane.shape[1])
    # Texture does not tell the upper end: a lid and its rim have some too.
    level = np.zeros(plane.shape[0])
    strength = _strength(downward[:, columns], axis=1)
    top, bottom, ends = _best_pair(strength, level, down)
    bottom = _inner_edge(strength, int(bottom), base)
    return Rectangle(left, top, right, bottom, sides + ends)


def edge_fields(plane: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Change of a smoothed picture per px to the right and downwards, each (rows, columns, channels)."""
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.5)
    rightward = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125)
    downward = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    return np.asarray(rightward, np.float32), np.asarray(downward, np.float32)


def edge_worth(change: NDArray[np.floating]) -> NDArray[np.floating]:
    """What a change of colour (Lab units per px) is worth as an edge, 0-1: rising, and levelling off when clear."""
    return np.asarray(1.0 - np.exp(-change / _CLEAR_EDGE))


def _within(start: float, stop: float, size: int) -> slice:
    first = int(np.clip(start, 0, size - 1))
    return slice(first, int(np.clip(stop, first + 1, size)))


def _strength(gradient: NDArray[np.float32], axis: int) -> NDArray[np.float64]:
    """Share of the side, 0-1, along which the colour changes, for a side at each place."""
    parts = np.array_split(gradient, min(_PARTS, gradient.shape[axis]), axis=axis)
    norms = np.array([np.linalg.norm(part.mean(axis=axis), axis=-1) for part in parts])
    return np.asarray(edge_worth(norms).mean(axis=0), np.float64)


def _inner_edge(strength: NDArray[np.float64], outer: int, reach: int) -> float:
    """The strongest edge up to some px before an outer edge, if it is nearly as strong; else the outer one."""
    if reach < 3:
        return float(outer)
    first = max(outer - reach, 0)
    near = strength[first : outer - 1]
    if near.size and near.max() >= _INNER_SHARE * strength[outer]:
        return float(first + int(near.argmax()))
    return float(outer)


def _texture(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Fine contrast of lightness at each pixel, Lab units; substrate and mycelium have some, walls hardly any."""
    lightness = plane[..., 0]
    variance = cv2.blur(lightness**2, (5, 5)) - cv2.blur(lightness, (5, 5)) ** 2
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)), np.float32)


def _rise(profile: NDArray[np.floating]) -> NDArray[np.float64]:
    """Gain of texture across each place, -1 to 1, positive where it is higher behind than before."""
    padded = np.pad(np.asarray(profile, np.float64), _TEXTURE_REACH, mode="edge")
    total = np.concatenate([[0.0], np.cumsum(padded)])
    size, reach = len(profile), _TEXTURE_REACH
    before = (total[reach : reach + size] - total[:size]) / reach
    behind = (total[2 * reach : 2 * reach + size] - total[reach : reach + size]) / reach
    return np.asarray(np.clip((behind - before) / _FULL_TEXTURE, -1.0, 1.0))


def _best_pair(strength: NDArray[np.float64], rise: NDArray[np.float64], usual: Usual) -> tuple[float, float, float]:
    """First and last place of the best pair of edges between which there is texture, and its score."""
    place = np.arange(len(strength), dtype=np.float64)
    start, stop = place[:, None], place[None, :]
    price = (((start + stop) / 2 - usual.middle) / usual.middle_spread) ** 2
    price = price + ((stop - start - usual.length) / usual.length_spread) ** 2
    opens, closes = strength + _TEXTURE_GAIN * rise, strength - _TEXTURE_GAIN * rise
    score = np.where(stop > start, _SIDE_GAIN * (opens[:, None] + closes[None, :]) - price, -np.inf)
    first, last = np.unravel_index(int(score.argmax()), score.shape)
    return float(first), float(last), float(score[first, last])
