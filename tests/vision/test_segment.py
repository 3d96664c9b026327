"""Segmentation of drawn faces of known area, and of degenerate faces."""

import math

import cv2
import numpy as np
import pytest

from vision.surface.bare_substrate import Baseline, learn_baseline
from vision.surface.segment import Coverage, FaceSegmentation, _estimate_under_veil, coverage, segment_face
from vision.surface.segmenter import interleave

PX_PER_MM = 3.0
#: Tolerance for the network's error on drawn faces that it was not trained on, points of percent.
TOLERANCE_POINTS = 4.0

SUBSTRATES = {  # linear RGB of two kinds of pieces, and their size in mm
    "dark sawdust": ((0.06, 0.035, 0.02), (0.2, 0.11, 0.05), 2.0),
    "rye grain": ((0.28, 0.16, 0.07), (0.4, 0.25, 0.12), 4.0),
    "coir": ((0.04, 0.025, 0.015), (0.07, 0.045, 0.025), 1.0),
    "straw": ((0.4, 0.28, 0.11), (0.52, 0.38, 0.17), 4.0),
}


def substrate(name: str, shape: tuple[int, int]) -> np.ndarray:
    """Pieces of two colours with darker gaps between them."""
    rng = np.random.default_rng(7)
    dark, light, size_mm = SUBSTRATES[name]
    face = np.empty((*shape, 3), np.float32)
    face[:] = np.array(dark) * 0.4
    for _ in range(int(3.0 * shape[0] * shape[1] / (size_mm * PX_PER_MM) ** 2)):
        colour = np.array(light if rng.random() < 0.4 else dark) * np.exp(0.2 * rng.standard_normal())
        row, column = rng.integers(0, shape[0]), rng.integers(0, shape[1])
        axes = (max(1, int(size_mm * PX_PER_MM * 0.7)), max(1, int(size_mm * PX_PER_MM * 0.4)))
        cv2.ellipse(face, (int(column), int(row)), axes, float(rng.uniform(0, 180)), 0, 360, colour.tolist(), -1)
    return camera(face)


def camera(light: np.ndarray) -> np.ndarray:
    """A little blur and noise, like that of a camera."""
    rng = np.random.default_rng(11)
    seen = cv2.GaussianBlur(light, (0, 0), 0.8)
    return np.asarray(np.maximum(seen * (1 + 0.03 * rng.standard_normal(seen.shape)), 0).astype(np.float32))


def with_colonies(face: np.ndarray, spots_mm: list[tuple[float, float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Paint white discs (row, column, radius in mm) with soft edges of 1 mm."""
    rows, columns = np.mgrid[: face.shape[0], : face.shape[1]] / PX_PER_MM
    opacity = np.zeros(face.shape[:2])
    for row, column, radius in spots_mm:
        opacity = np.maximum(opacity, np.clip(radius - np.hypot(rows - row, columns - column) + 0.5, 0, 1))
    rng = np.random.default_rng(3)
    fluff = 1 + 0.06 * cv2.GaussianBlur(rng.standard_normal(face.shape[:2]), (0, 0), 2) * 6
    white = (0.7 * fluff)[..., None] * np.array([1.0, 0.98, 0.94])
    painted = face * (1 - opacity[..., None]) + white * opacity[..., None]
    return painted.astype(np.float32), opacity >= 0.5


SPOTS = [(30.0, 30.0, 16.0), (75.0, 55.0, 20.0), (110.0, 20.0, 9.0)]


class TestKnownArea:
    @pytest.mark.parametrize("name", SUBSTRATES)
    def test_discs_are_measured(self, name):
        bare = substrate(name, (390, 270))
        inside = np.ones(bare.shape[:2], bool)
        face, truth = with_colonies(bare, SPOTS)
        baseline = learn_baseline(bare, inside)
        found = segment_face(face, inside, PX_PER_MM, kind="bag", baseline=baseline)
        area = coverage(found, inside)
        # the discs do not overlap and lie inside, so geometry gives the same area as counting pixels
        by_geometry = 100 * sum(math.pi * radius**2 for *_, radius in SPOTS) / (130 * 90)
        assert 100 * truth.mean() == pytest.approx(by_geometry, abs=0.3)
        assert area.percent == pytest.approx(by_geometry, abs=TOLERANCE_POINTS)
        overlap = (found.mycelium > 0.5) & truth
        assert overlap.sum() / ((found.mycelium > 0.5) | truth).sum() > 0.8

    @pytest.mark.parametrize("name", SUBSTRATES)
    def test_bare_substrate_reads_near_zero(self, name):
        bare = substrate(name, (390, 270))
        inside = np.ones(bare.shape[:2], bool)
        found = segment_face(bare, inside, PX_PER_MM, kind="bag", baseline=learn_baseline(bare, inside))
        assert coverage(found, inside).percent < 2.0
        assert found.suspects == ()

    def test_a_white_face_of_known_dark_substrate_is_full(self):
        bare = substrate("dark sawdust", (300, 240))
        inside = np.ones(bare.shape[:2], bool)
        face, _ = with_colonies(bare, [(50.0, 40.0, 200.0)])
        found = segment_face(face, inside, PX_PER_MM, kind="bag", baseline=learn_baseline(bare, inside))
        assert coverage(found, inside).percent > 97.0

    def test_a_colony_on_dark_agar(self):
        """A disc of 40 mm in a dish of 90 mm: (40 / 90) squared of its area."""
        px_per_mm = 6.0
        side = int(90 * px_per_mm)
        rows, columns = (np.mgrid[:side, :side] + 0.5) / px_per_mm - 45
        distance = np.hypot(rows, columns)
        inside = distance < 45
        agar = np.broadcast_to(np.array([0.03, 0.02, 0.015]), (side, side, 3))
        opacity = np.clip(20 - distance + 0.5, 0, 1)[..., None]
        face = camera((agar * (1 - opacity) + 0.7 * opacity).astype(np.float32))
        found = segment_face(face, inside, px_per_mm, kind="plate")
        assert coverage(found, inside).percent == pytest.approx(100 * (40 / 90) ** 2, abs=2.5)

    def test_mirrored_image_gives_the_same_percent(self):
        bare = substrate("rye grain", (390, 270))
        face, _ = with_colonies(bare, SPOTS)
        inside = np.ones(bare.shape[:2], bool)
        one = coverage(segment_face(face, inside, PX_PER_MM, kind="jar"), inside).percent
        other = coverage(segment_face(face[:, ::-1].copy(), inside, PX_PER_MM, kind="jar"), inside).percent
        assert one == pytest.approx(other, abs=1.5)


class TestVeil:
    def test_glare_is_reported_as_veiled_and_not_as_growth(self):
        bare = substrate("dark sawdust", (390, 270))
        inside = np.ones(bare.shape[:2], bool)
        glare = bare.copy()
        glare[60:300, 120:140] += 1.2
        glare = np.asarray(cv2.GaussianBlur(glare, (0, 0), 1.0), np.float32)
        found = segment_face(glare, inside, PX_PER_MM, kind="bag", baseline=learn_baseline(bare, inside))
        strip = np.zeros_like(inside)
        strip[65:295, 123:137] = True
        assert found.veiled[strip].mean() > 0.6
        assert found.veiled[~cv2.dilate(strip.astype(np.uint8), np.ones((25, 25))).astype(bool)].mean() < 0.02
        area = coverage(found, inside)
        assert area.percent < 3.0
        assert area.hidden_percent > 2.0

    def test_growth_under_glare_is_estimated_from_its_surroundings(self):
        """A veiled strip between certain growth counts as grown; without growth around it, it counts as bare."""
        guess = np.full((60, 90), 0.9, np.float32)
        guess[:, 45:] = 0.0
        veiled = np.zeros(guess.shape, bool)
        veiled[:, 20:24] = veiled[:, 70:74] = True
        guess[veiled] = 0.9
        under = _estimate_under_veil(guess, veiled, np.ones(guess.shape, np.float32))
        assert under[:, 20:24] == pytest.approx(0.9, abs=1e-3)
        assert under[:, 70:74] == pytest.approx(0.0, abs=1e-3)
        assert np.array_equal(under[~veiled], guess[~veiled])

    def test_hiding_widens_the_bounds(self):
        inside = np.ones((90, 60), bool)
        mycelium = np.zeros(inside.shape, np.float32)
        mycelium[:45] = 1.0
        veiled = np.zeros(inside.shape, bool)
        clear = coverage(FaceSegmentation(mycelium, veiled, ()), inside)
        veiled[:, :30] = True
        hidden = coverage(FaceSegmentation(mycelium, veiled, ()), inside)
        assert clear.percent == hidden.percent == pytest.approx(50.0)
        assert hidden.hidden_percent == pytest.approx(50.0)
        assert hidden.high - hidden.low > clear.high - clear.low


class TestCoverage:
    def test_every_point_has_the_same_weight(self):
        inside = np.ones((10, 20), bool)
        mycelium = np.zeros(inside.shape, np.float32)
        mycelium[:, :5] = 1.0
        found = FaceSegmentation(mycelium, np.zeros_like(inside), ())
        assert coverage(found, inside).percent == pytest.approx(25.0)
        half = inside & (np.arange(20) < 10)
        assert coverage(found, half).percent == pytest.approx(50.0)

    def test_a_point_counts_if_it_is_more_likely_colonised_than_not(self):
        """The more likely of two classes: the rule with the fewest wrong points if both errors cost the same."""
        inside = np.ones((10, 20), bool)
        mycelium = np.full(inside.shape, 0.49, np.float32)
        mycelium[:, :5] = 0.51
        assert coverage(FaceSegmentation(mycelium, np.zeros_like(inside), ()), inside).percent == pytest.approx(25.0)

    def test_uncertain_points_widen_the_bounds(self):
        inside = np.ones((10, 20), bool)
        veiled = np.zeros_like(inside)
        sure = coverage(FaceSegmentation(np.full(inside.shape, 0.99, np.float32), veiled, ()), inside)
        unsure = coverage(FaceSegmentation(np.full(inside.shape, 0.6, np.float32), veiled, ()), inside)
        assert unsure.undecided_percent == pytest.approx(40.0, abs=0.1)
        assert unsure.high - unsure.low > sure.high - sure.low
        assert 0 <= sure.low <= sure.percent <= sure.high <= 100

    def test_doubt_of_the_network_widens_the_bounds(self):
        """Doubt is what a network that never saw such pictures would get wrong, so it adds to what is undecided."""
        inside = np.ones((10, 20), bool)
        mycelium, veiled = np.full(inside.shape, 0.8, np.float32), np.zeros_like(inside)
        mycelium[:, :10] = 0.1
        sure = coverage(FaceSegmentation(mycelium, veiled, (), doubt_percent=2.0), inside)
        doubtful = coverage(FaceSegmentation(mycelium, veiled, (), doubt_percent=30.0), inside)
        assert doubtful.percent == sure.percent
        assert doubtful.high - doubtful.low > sure.high - sure.low

    def test_an_empty_face_has_unknown_percent(self):
        nothing = np.zeros((4, 6), bool)
        area = coverage(FaceSegmentation(np.zeros((4, 6), np.float32), nothing, ()), nothing)
        assert (area.low, area.high) == (0.0, 100.0)


@pytest.mark.parametrize("level", [0.0, 0.3, 1.0, 5.0], ids=["black", "grey", "white", "far too bright"])
@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (7, 5), (61, 43)])
@pytest.mark.parametrize("kind", ["bag", "plate"])
def test_blank_faces_of_any_size_give_a_bounded_answer(level, shape, kind):
    inside = np.ones(shape, bool)
    found = segment_face(np.full((*shape, 3), level, np.float32), inside, PX_PER_MM, kind=kind, referenced=False)
    assert found.mycelium.shape == found.veiled.shape == shape
    assert found.mycelium.dtype == np.float32
    assert np.isfinite(found.mycelium).all()
    area = coverage(found, inside)
    assert isinstance(area, Coverage)
    assert 0 <= area.low <= area.percent <= area.high <= 100


def test_without_an_inside_nothing_is_classified():
    found = segment_face(np.ones((20, 30, 3), np.float32), np.zeros((20, 30), bool), PX_PER_MM, kind="jar")
    assert not found.mycelium.any()
    assert not found.veiled.any()
    assert found.suspects == ()


def test_outside_stays_empty_and_does_not_matter():
    bare = substrate("dark sawdust", (240, 210))
    inside = np.zeros(bare.shape[:2], bool)
    inside[40:200, 30:180] = True
    bright = bare.copy()
    bright[~inside] = 1.0
    one = segment_face(bare, inside, PX_PER_MM, kind="bag")
    other = segment_face(bright, inside, PX_PER_MM, kind="bag")
    assert not one.mycelium[~inside].any()
    assert np.array_equal(one.mycelium, other.mycelium)


def test_shapes_that_do_not_match_are_refused():
    with pytest.raises(ValueError, match="three channels"):
        segment_face(np.ones((20, 30, 3), np.float32), np.ones((30, 20), bool), PX_PER_MM, kind="jar")


def test_the_four_points_of_a_pixel_are_interleaved():
    fours = np.arange(48, dtype=np.float32).reshape(2, 4, 2, 3)
    found = interleave(fours)
    assert found.shape == (2, 4, 6)
    for point in range(4):
        assert (found[:, point // 2 :: 2, point % 2 :: 2] == fours[:, point]).all()


class TestBaseline:
    def test_the_baseline_is_the_median_of_logarithms(self):
        face = np.empty((30, 40, 3), np.float32)
        face[:] = (0.2, 0.1, 0.05)
        face[:3] = 0.9  # a tenth is spawn
        learned = learn_baseline(face, np.ones((30, 40), bool))
        assert learned is not None
        assert learned.log_rgb == pytest.approx([math.log(v + 0.004) for v in (0.2, 0.1, 0.05)], abs=1e-3)
        assert learned.referenced

    def test_a_small_bare_surface_gives_no_baseline(self):
        assert learn_baseline(np.ones((5, 5, 3), np.float32), np.ones((5, 5), bool)) is None

    def test_a_guessed_baseline_is_not_used_for_a_referenced_picture(self):
        face = substrate("rye grain", (120, 90))
        inside = np.ones(face.shape[:2], bool)
        wrong = Baseline((1.0, 1.0, 1.0), (0.1, 0.1, 0.1), referenced=False)
        with_it = segment_face(face, inside, PX_PER_MM, kind="jar", baseline=wrong)
        without = segment_face(face, inside, PX_PER_MM, kind="jar")
        assert np.array_equal(with_it.mycelium, without.mycelium)
