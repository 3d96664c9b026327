"""Varied looks of a face keep its truth: what is put on it as mould is told as mould, and nothing leaves 0-1."""

import numpy as np
import pytest

from training.segmenter.exposure import UNLABELLED_BRIGHT, exposure_gain, in_other_exposure
from training.segmenter.looks import COLONISED, COLOURED, CONTAMINATED, random_look
from vision.surface.bare_substrate import log_light
from vision.surface.segmenter_input import USUAL_LOG_LIGHT, FacePlanes


def face(rng: np.random.Generator, rows: int = 96, columns: int = 112) -> tuple[FacePlanes, np.ndarray]:
    light = np.exp(rng.normal(-2.0, 0.3, (rows, columns, 1)) + np.zeros(3)).astype(np.float32)
    within = np.zeros((rows, columns), np.float32)
    within[6:-6, 8:-8] = 1
    truth = np.zeros((4, rows, columns), np.float32)
    truth[COLONISED, 20:60, 20:60] = 1
    light[truth[COLONISED] > 0] *= 5
    logs = np.where(within[..., None] > 0, log_light(light) - np.float32(USUAL_LOG_LIGHT), 0)
    return FacePlanes(logs.astype(np.float32), np.full(within.shape, 0.1, np.float32), within), truth


@pytest.mark.parametrize("seed", range(40))
def test_a_look_keeps_shape_and_truth(seed):
    rng = np.random.default_rng(seed)
    planes, truth = face(rng)
    changed, told = random_look(rng, referenced=bool(seed % 2)).change(planes, truth, step=1)
    assert changed.logs.shape == planes.logs.shape
    assert np.isfinite(changed.logs).all()
    assert not changed.logs[changed.within == 0].any()
    assert told.min() >= 0
    assert told.max() <= 1
    assert (told[COLONISED] + told[CONTAMINATED] <= 1 + 1e-5).all()
    assert (told[COLOURED] <= told[CONTAMINATED] + 1e-5).all()


def test_moulds_are_put_on_some_faces_and_show():
    """Of many looks some put a mould on; where it lies the picture has changed."""
    put = []
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        planes, truth = face(rng)
        changed, told = random_look(rng, referenced=True).change(planes, truth, step=1)
        where = told[CONTAMINATED] > 0.9
        if where.any():
            put.append(float(np.abs(changed.logs - planes.logs)[where].mean()))
    assert 5 < len(put) < 45
    assert min(put) > 0.1


@pytest.mark.parametrize("stops", [-2, -1, 0, 1, 2])
def test_without_a_label_the_exposure_makes_no_difference(stops):
    """The same face taken with other exposures looks the same to the network, as long as nothing is clipped."""
    planes, _ = face(np.random.default_rng(7))
    taken = in_other_exposure(planes, 2.0**stops)
    once, again = (in_other_exposure(one, exposure_gain(one)) for one in (planes, taken))
    assert np.abs(once.logs - again.logs).max() < 0.02
    bright = np.exp(np.quantile(once.logs[..., 1][once.within > 0], 0.9) + USUAL_LOG_LIGHT)
    assert bright == pytest.approx(UNLABELLED_BRIGHT, rel=0.02)
