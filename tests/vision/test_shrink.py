"""Pictures scaled down keep their levels in place."""

import numpy as np
import pytest
from skimage.transform import downscale_local_mean

from vision.pixels.shrink import block_means, reduced


def ramp(rows, columns):
    """Levels that rise by 0.1 per row and 0.2 per column, at the centre of each pixel."""
    return 20 + 0.1 * (np.arange(rows)[:, None] + 0.5) + 0.2 * (np.arange(columns) + 0.5)


@pytest.mark.parametrize("side", [2, 3, 5])
def test_pixels_are_block_means_and_incomplete_blocks_are_cut(side):
    picture = np.random.default_rng(1).integers(0, 256, (61, 47, 3), np.uint8)
    found = block_means(picture, side)
    whole = picture[: 61 // side * side, : 47 // side * side]
    assert found.shape == (61 // side, 47 // side, 3)
    assert np.abs(found - downscale_local_mean(whole, (side, side, 1))).max() <= 0.51  # scikit-image, then rounded


@pytest.mark.parametrize("shape", [(350, 281), (383, 308), (290, 233), (120, 97), (699, 562), (500, 402)])
def test_a_ramp_is_not_shifted(shape):
    before = ramp(699, 562)
    found = reduced(np.round(before).astype(np.uint8), shape)
    down, across = 699 / shape[0], 562 / shape[1]
    wanted = 20 + 0.1 * down * (np.arange(shape[0])[:, None] + 0.5) + 0.2 * across * (np.arange(shape[1]) + 0.5)
    inner = (slice(2, -2), slice(2, -2))
    assert found.shape == shape
    assert np.abs(found[inner] - wanted[inner]).max() < 1.1  # both are rounded to integers
    # Means of four levels round half up; a shift by half a pixel of the smaller picture would be 0.3.
    assert -0.02 < np.mean(found[inner] - wanted[inner]) < 0.16


def test_a_mask_keeps_its_share():
    mask = np.zeros((699, 562), np.uint8)
    mask[100:402, 77:333] = 255
    assert reduced(mask, (233, 187)).mean() == pytest.approx(mask.mean(), rel=0.01)
