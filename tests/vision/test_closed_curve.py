"""The best closed curve: against every curve there is, and together as one by one."""

from itertools import pairwise, product

import numpy as np
import pytest

from vision.closed_curve import best_curves
from vision.frame import frame_at
from vision.outline import sight_of


def worth(path, gain, stiffness):
    bends = [stiffness / 16 * (b - a) ** 2 for a, b in pairwise(path)]
    return sum(gain[ray % len(gain)][step] for ray, step in enumerate(path)) - sum(bends)


@pytest.mark.parametrize("seed", range(8))
def test_it_is_the_best_of_all_curves(seed):
    """Reference: every path of one and a half turns, tried out."""
    gain = np.random.default_rng(seed).normal(0, 1, (4, 3)).astype(np.float32)
    best = max(product(range(3), repeat=6), key=lambda path: worth(path, gain, 6.0))
    lead = len(gain) // 4
    assert best_curves(gain[None], 6.0)[0].tolist() == np.roll(best[lead : lead + 4], lead).tolist()


def test_curves_sought_together_are_those_sought_alone():
    gains = np.cumsum(np.random.default_rng(1).normal(0, 2, (5, 40, 30)), axis=2).astype(np.float32)
    together = best_curves(gains, 6.0)
    assert all(np.array_equal(together[at], best_curves(gains[at : at + 1], 6.0)[0]) for at in range(5))


def test_a_colour_has_the_same_kind_as_numpy_says():
    """numpy.digitize tells the kinds of one flat picture in which nothing is smoothed and there is no contrast."""
    from vision.outline import _BORDERS

    for colour in np.random.default_rng(2).uniform((0, -90, -90), (100, 90, 90), (60, 3)):
        flat = np.full((9, 9, 3), colour, np.float32)
        kinds = [int(np.digitize(value, borders)) for value, borders in zip((*colour, 0.0), _BORDERS, strict=True)]
        expected = int(np.ravel_multi_index(kinds, [len(borders) + 1 for borders in _BORDERS]))
        sight = sight_of(flat, np.zeros((9, 9), np.int8), np.zeros((9, 9), bool))
        assert sight.codes[4, 4] == expected


@pytest.mark.parametrize("angle", [0.0, 0.05, -0.4, 1.5, np.pi / 2, 3.0])
@pytest.mark.parametrize("anchor", [(50, 40), (5, 70), (190, 5), (-400, 40), (100, 500)])
def test_inside_the_photo_is_where_each_pixel_says_so(angle, anchor):
    frame = frame_at(np.array(anchor, float), angle, 1.3, (-30, -40, 60, 90), 2.0)
    rows, columns = np.mgrid[: frame.rows, : frame.columns]
    x, y, _ = np.einsum("ij,jrc->irc", frame.to_photo, np.stack([columns, rows, np.ones_like(rows)]))
    expected = (x >= 0) & (y >= 0) & (x <= 199) & (y <= 149)
    assert (frame.inside_photo(150, 200) == expected).mean() > 0.999  # the rim itself hangs on the last digit
