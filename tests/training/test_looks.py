"""Varied looks of faces keep their truth: what is put on as mould is told as mould, and nothing leaves 0-1.

These need torch, which only training needs: skipped where it is not installed (``pip install -e ".[train]"``).
"""

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest

from vision.surface.bare_substrate import DARK_FLOOR, Baseline, log_light
from vision.surface.segmenter_input import (
    UNLABELLED_BRIGHT,
    USUAL_LOG_LIGHT,
    FacePlanes,
    face_facts,
    in_one_exposure,
    stack_planes,
)

COLONISED, CONTAMINATED, COLOURED, VEILED, COVERED = range(5)
ROWS, COLUMNS = 96, 112


def face(rng: np.random.Generator) -> tuple[FacePlanes, np.ndarray]:
    light = np.exp(rng.normal(-2.0, 0.3, (ROWS, COLUMNS, 1)) + np.zeros(3)).astype(np.float32)
    within = np.zeros((ROWS, COLUMNS), np.float32)
    within[6:-6, 8:-8] = 1
    truth = np.zeros((5, ROWS, COLUMNS), np.float32)
    truth[COLONISED, 20:60, 20:60] = 1
    light[truth[COLONISED] > 0] *= 5
    logs = np.where(within[..., None] > 0, log_light(light) - np.float32(USUAL_LOG_LIGHT), 0)
    return FacePlanes(logs.astype(np.float32), 0.1 * within, within), truth


def example(rng: np.random.Generator, *, referenced: bool = True, is_drawn: bool = False):
    from training.segmenter.dataset import Example

    planes, truth = face(rng)
    return Example(
        "jar", referenced, planes.logs.astype(np.float16), planes.detail.astype(np.float16),
        (255 * planes.within).astype(np.uint8), (255 * truth).astype(np.uint8),
        Baseline((-2.0, -2.0, -2.0), (0.3, 0.3, 0.3), referenced), is_drawn,
    )  # fmt: skip


def view_of(torch, n: int):
    from training.segmenter.view import View

    faces = [face(np.random.default_rng(seed)) for seed in range(n)]
    logs = torch.from_numpy(np.stack([planes.logs.transpose(2, 0, 1) for planes, _ in faces]))
    detail, within = (
        torch.from_numpy(np.stack([getattr(planes, name)[None] for planes, _ in faces]))
        for name in ("detail", "within")
    )
    place = torch.zeros((n, ROWS, COLUMNS, 2))
    return View(logs, detail, within, torch.from_numpy(np.stack([truth for _, truth in faces])), place)


@pytest.mark.parametrize("seed", range(6))
def test_looks_keep_shape_and_truth(seed):
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.fields import Draw
    from training.segmenter.looks import in_looks, random_looks

    draw, view = Draw(seed, "cpu"), view_of(torch, 16)
    changed = in_looks(draw, random_looks(draw, torch.tensor([0.0, 1.0] * 8)), view)
    assert changed.logs.shape == view.logs.shape
    assert torch.isfinite(changed.logs).all()
    assert not changed.logs[(changed.within == 0).expand_as(changed.logs)].any()
    truth = changed.truth
    assert truth.min() >= 0
    assert truth.max() <= 1
    assert (truth[:, COLONISED] + truth[:, CONTAMINATED] <= 1 + 1e-5).all()
    assert (truth[:, COLOURED] <= truth[:, CONTAMINATED] + 1e-5).all()


def test_moulds_are_put_on_some_faces_and_show():
    """Of many looks some put a mould on; where it lies the picture has changed."""
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.fields import Draw
    from training.segmenter.looks import in_looks, random_looks

    draw, view = Draw(7, "cpu"), view_of(torch, 60)
    changed = in_looks(draw, random_looks(draw, torch.ones(60)), view)
    where = changed.truth[:, CONTAMINATED] > 0.9
    put = [i for i in range(60) if where[i].any()]
    assert 5 < len(put) < 45
    moved = (changed.logs - view.logs).abs().mean(1)
    assert min(float(moved[i][where[i]].mean()) for i in put) > 0.1


def test_faces_left_as_they_are_get_moulds_and_others_nothing_more():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.fields import Draw
    from training.segmenter.looks import with_additions

    draw, view = Draw(11, "cpu"), view_of(torch, 240)
    stays = torch.arange(240) < 160
    changed = with_additions(draw, stays, view)
    put = (changed.truth[:, CONTAMINATED] > 0.9).flatten(1).any(1)
    assert 6 < int(put[stays].sum()) < 32
    assert torch.allclose(changed.logs[~stays], view.logs[~stays], atol=1e-4)
    assert torch.equal(changed.truth[~stays], view.truth[~stays])


def test_what_tape_covers_is_neither_growth_nor_bare():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.fields import Draw
    from training.segmenter.harmless import with_tape

    draw, view = Draw(2, "cpu"), view_of(torch, 20)
    changed = with_tape(draw, torch.ones((20, 1, 1, 1), dtype=torch.bool), view)
    covered = changed.truth[:, COVERED] > 0.9
    assert covered.flatten(1).any(1).float().mean() > 0.9
    assert not changed.truth[:, :COVERED].amax(1)[covered].any()
    kept = ~covered & (view.within[:, 0] > 0)
    assert torch.equal(changed.truth[:, COLONISED][kept], view.truth[:, COLONISED][kept])


@pytest.mark.parametrize("as_drawn", [0.0, 0.999, 1.0])
def test_a_face_left_as_it_is_gives_the_planes_and_facts_of_the_program(monkeypatch, as_drawn):
    """What the network learns from is made on the device; it must be what the program shows it."""
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter import batches, ground, looks
    from training.segmenter.fields import Draw

    changes = (
        (looks, "_GROWTH _MOULD _FIELD _BLUR _GRAIN _ERODED _PUT _GLOSS _WRITING _TAPE _TINGE"),
        (batches, "UNLABELLED_TOO"),
        (ground, "_CHANGED"),
    )
    for module, names in () if as_drawn else changes:
        for name in names.split():
            monkeypatch.setattr(module, name, 0.0)
    monkeypatch.setattr(batches, "_TURNED", 0.0)
    monkeypatch.setattr(batches, "BASELINE_SHARE", 1.0)
    one = example(np.random.default_rng(3))
    faces = batches.put_on_device([one], "cpu")
    draw = Draw(0, "cpu")
    monkeypatch.setattr(draw, "normal", lambda *shape: torch.zeros(shape))
    monkeypatch.setattr(draw, "uniform", lambda low, high, *shape: torch.full(shape, 0.999 * high))
    textures = torch.zeros((1, 4, 240, 200), dtype=torch.float16)
    made = batches.make_batch(draw, faces, torch.tensor([0]), textures, whole=True, as_drawn=as_drawn)
    planes = FacePlanes(one.logs.astype(np.float32), one.detail.astype(np.float32), one.within / np.float32(255))
    expected = stack_planes(planes, one.baseline)
    assert np.abs(made.planes[0].numpy() - expected).max() < 0.01
    facts = face_facts(planes, plate=False, baseline=one.baseline, referenced=True)
    assert np.abs(made.facts.numpy().ravel() - facts).max() < 0.05  # quantiles of a thinned copy there
    assert np.abs(made.truth[0].numpy() - one.truth / 255).max() < 0.01


def test_batches_hold_faces_with_and_without_label_and_first_photo():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.batches import batches, put_on_device

    rng = np.random.default_rng(5)
    faces = put_on_device([example(rng), example(rng, referenced=False), example(rng, is_drawn=True)], "cpu")
    textures = torch.zeros((2, 4, 240, 200), dtype=torch.float16)
    stream = batches(faces, textures, 12, seed=1)
    made = [next(stream) for _ in range(6)]
    flags = torch.cat([one.facts[:, 13:15, 0, 0] for one in made])
    assert {tuple(int(v) for v in row) for row in flags} == {(0, 0), (0, 1), (1, 1)}
    for one in made:
        assert torch.isfinite(one.planes).all()
        assert not one.planes[:, 5:][one.facts[:, 13, 0, 0] == 0].any()


@pytest.mark.parametrize("stops", [-2, -1, 0, 1, 2])
def test_without_a_label_the_exposure_makes_no_difference(stops):
    """The same face taken with other exposures looks the same to the network, as long as nothing is clipped."""
    planes, _ = face(np.random.default_rng(7))
    light = (np.exp(planes.logs + USUAL_LOG_LIGHT) - DARK_FLOOR) * 2.0**stops
    seen = planes.within[..., None] > 0
    taken = replace(planes, logs=np.where(seen, log_light(light) - USUAL_LOG_LIGHT, 0).astype(np.float32))
    once, again = (in_one_exposure(one) for one in (planes, taken))
    assert np.abs(once.logs - again.logs).max() < 0.02
    bright = np.exp(np.quantile(once.logs[..., 1][once.within > 0], 0.9) + USUAL_LOG_LIGHT)
    assert bright == pytest.approx(UNLABELLED_BRIGHT, rel=0.02)


@pytest.mark.parametrize("what", ["with_writing", "with_tinge", "with_gloss"])
def test_what_is_harmless_changes_the_picture_and_not_what_grows(what):
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter import harmless
    from training.segmenter.fields import Draw

    draw, view = Draw(3, "cpu"), view_of(torch, 20)
    always = torch.ones((20, 1, 1, 1), dtype=torch.bool)
    changed = getattr(harmless, what)(draw, always, view)
    assert (changed.logs - view.logs).abs().amax((1, 2, 3)).gt(0.05).float().mean() > 0.6
    assert torch.equal(changed.truth[:, :VEILED], view.truth[:, :VEILED])
    untouched = getattr(harmless, what)(draw, ~always, view)
    assert (untouched.logs - view.logs).abs().max() < 1e-4


def test_a_deeper_network_answers_at_first_as_the_one_it_began_with():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.network import FaceNetwork, deepened

    torch.manual_seed(0)
    begun = FaceNetwork((8, 12, 16)).eval()
    deeper = deepened(begun, (20, 24)).eval()
    planes, facts = torch.randn(2, 8, 64, 96), torch.randn(2, 16, 1, 1)
    assert torch.allclose(begun(planes, facts), deeper(planes, facts), atol=1e-4)


def test_thin_writing_on_a_face_has_the_class_beside_it():
    pytest.importorskip("torch", reason="the loader of scenes is part of training")
    from training.segmenter.scenes import under_writing

    classes = np.zeros((120, 160), np.uint8)
    classes[10:110, 10:80], classes[10:110, 80:150] = 1, 2
    classes[40:44, 30:130] = 5  # a stroke of 2 mm
    classes[60:100, 20:60] = 4  # a label
    clean = under_writing(classes, 2.0)
    assert (clean[40:44, 30:78] == 1).all()
    assert (clean[40:44, 82:130] == 2).all()
    assert (clean[60:100, 20:60] == 4).all()


def test_the_mean_over_a_square_is_that_of_its_rows_and_columns():
    """Reference: PyTorch's own mean over the whole square."""
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.fields import box

    planes = torch.rand(2, 3, 20, 30)
    expected = torch.nn.functional.avg_pool2d(planes, 7, 1, 3, count_include_pad=False)
    assert torch.allclose(box(planes, 7), expected, atol=1e-6)


def test_batches_are_of_the_size_asked_for():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.batches import AT_ONCE, batches, put_on_device

    faces = put_on_device([example(np.random.default_rng(n)) for n in range(6)], "cpu")
    some = islice(batches(faces, torch.zeros(3, 4, 32, 32), 8, 1), 40)
    sizes = [len(one.planes) for one in some]
    assert sizes.count(8) > len(sizes) / 2
    assert max(sizes) == 8
    assert min(sizes) > 1
    assert AT_ONCE > 1
