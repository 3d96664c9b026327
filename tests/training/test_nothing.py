"""Pictures without a vessel, for training the finder."""

import numpy as np

from training.outliner.nothing import no_vessel


def test_a_picture_without_a_vessel_has_no_face_and_the_light_of_a_photo():
    materials = [np.random.default_rng(1).integers(0, 255, (300, 310, 3), dtype=np.uint8)]
    for seed in range(8):
        picture = no_vessel(np.random.default_rng(seed), materials if seed % 2 else [])
        light = picture.light.astype(np.float32)
        assert picture.masks[..., 0].max() == 0
        assert picture.masks[..., 2].min() == 255
        assert picture.masks.shape == light.shape
        assert np.isfinite(light).all()
        assert 0.3 < np.quantile(light.max(axis=2), 0.97) <= 1.2
