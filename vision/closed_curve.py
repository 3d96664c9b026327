"""The closed curve around a centre that gains most and bends least, for several curves at a time."""

import numpy as np
from numpy.typing import NDArray

#: From one ray to the next a curve moves by up to so many steps.
_REACH = 6


def best_curves(gain: NDArray[np.float32], stiffness: float) -> NDArray[np.intp]:
    """Step of each ray (curves, rays) of the closed curves of most gain less the price of their bends (Viterbi).

    gain: (curves, rays, steps), of each step of each ray. stiffness: price of a move of four steps from one ray to the
    next; a move's price goes with its square. A curve is followed for one and a half turns and the middle one is taken,
    so that it closes. Many curves together take little longer than one.
    """
    curves, rays, steps = gain.shape
    length = rays + rays // 2
    moves = np.arange(-_REACH, _REACH + 1)
    price = (stiffness / 16.0 * moves.astype(np.float32) ** 2)[:, None]
    # What was best up to each ray, the curves one behind the other, each with margins in which no step ever wins.
    wide = steps + 2 * _REACH
    best = np.full((length, curves * wide), -1e18, np.float32)
    inner = best.reshape(length, curves, wide)[..., _REACH : _REACH + steps]
    windows = np.lib.stride_tricks.sliding_window_view(best, best.shape[1] - 2 * _REACH, axis=1)
    inner[0] = gain[:, 0]
    options = np.empty(windows.shape[1:], np.float32)
    most = np.empty(curves * wide, np.float32)
    reached = most.reshape(curves, wide)[:, :steps]
    around = [np.ascontiguousarray(gain[:, ray]) for ray in range(rays)]
    for ray in range(1, length):
        np.subtract(windows[ray - 1], price, out=options)  # row m sees what moved by m - reach
        options.max(axis=0, out=most[: -2 * _REACH])
        np.add(reached, around[ray % rays], out=inner[ray])
    path = np.empty((length, curves), np.intp)
    path[-1] = inner[-1].argmax(axis=1)
    span = np.arange(len(moves)) + wide * np.arange(curves)[:, None]
    flat = price[:, 0]
    for ray in range(length - 1, 0, -1):
        came = best[ray - 1].take(path[ray][:, None] + span)
        came -= flat
        path[ray - 1] = path[ray] + came.argmax(axis=1) - _REACH
    lead = rays // 4
    return np.roll(path[lead : lead + rays], lead, axis=0).T
