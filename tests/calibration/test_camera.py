"""The fit of a camera to patches, on simulated cameras with known matrix, light and noise."""

import numpy as np
import pytest

from calibration import NEUTRALS, CameraProfile, chart_light, fit_colours, tone_errors

PLACES = np.array([(row, column) for row in range(4) for column in range(6)], float)
KNOWN = chart_light()
MIXED = np.array([[0.80, 0.17, 0.03], [0.09, 0.80, 0.11], [0.02, 0.20, 0.78]])


def seen_by(mixed: np.ndarray, *, cast=(1.0, 1.0, 1.0), ramp=0.0, exposure=0.6, noise=0.0) -> np.ndarray:
    light = KNOWN @ mixed.T * np.array(cast) * exposure * (1 + ramp * (PLACES[:, 1] / 5 - 0.5))[:, None]
    return np.asarray(np.maximum(light, 0) * np.exp(np.random.default_rng(3).normal(0, noise, light.shape)))


def test_a_camera_without_errors_gets_the_identity() -> None:
    fit = fit_colours(seen_by(np.eye(3)), KNOWN, PLACES)
    assert fit.matrix == pytest.approx(np.eye(3), abs=0.012)  # cyan is outside sRGB and was clipped
    assert fit.differences_before.mean() < 0.2
    assert fit.white == pytest.approx([0.6] * 3, rel=0.005)


@pytest.mark.parametrize("ramp", [0.0, 0.3, -0.5])
@pytest.mark.parametrize("exposure", [0.05, 0.6])
def test_mixed_colours_are_unmixed_at_any_exposure_and_in_uneven_light(ramp: float, exposure: float) -> None:
    fit = fit_colours(seen_by(MIXED, ramp=ramp, exposure=exposure), KNOWN, PLACES)
    assert fit.matrix == pytest.approx(np.linalg.inv(MIXED), abs=0.03)
    assert fit.differences_before.mean() > 4
    assert fit.differences_after.mean() < 0.4
    assert fit.light[:6] == pytest.approx((1 + ramp * (np.arange(6) / 5 - 0.5)), rel=0.04)


def test_a_colour_cast_is_corrected_by_white_balance_not_by_the_matrix() -> None:
    fit = fit_colours(seen_by(np.eye(3), cast=(1.3, 1.0, 0.7)), KNOWN, PLACES)
    assert fit.white == pytest.approx(0.6 * np.array([1.3, 1.0, 0.7]), rel=0.01)
    assert fit.matrix == pytest.approx(np.eye(3), abs=0.015)


def test_the_difference_reported_after_the_fit_is_of_patches_left_out() -> None:
    """With noise, a profile looks better than it is on the patches it was fitted to; the reported figure must not."""
    told, own, fresh = [], [], []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        noisy = [np.maximum(seen_by(MIXED) * np.exp(rng.normal(0, 0.06, KNOWN.shape)), 1e-4) for _ in range(2)]
        fit, again = (fit_colours(one, KNOWN, PLACES) for one in noisy)
        from calibration import colour_differences

        told.append(fit.differences_after.mean())
        own.append(colour_differences(fit.balanced @ fit.matrix.T, KNOWN).mean())
        fresh.append(colour_differences(again.balanced @ fit.matrix.T, KNOWN).mean())
    assert np.mean(own) < np.mean(told)
    assert np.mean(told) == pytest.approx(np.mean(fresh), rel=0.08)


def test_a_clipped_chart_is_refused() -> None:
    with pytest.raises(ValueError, match="expose less"):
        fit_colours(np.minimum(seen_by(np.eye(3), exposure=8), 1.0), KNOWN, PLACES)


def test_a_profile_is_used_if_it_improves_colours_by_a_visible_amount() -> None:
    identity = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    assert CameraProfile("A", identity, False, 4.0, 1.0).helps
    assert not CameraProfile("A", identity, False, 1.6, 0.9).helps


def test_tone_errors_are_shares_at_any_exposure() -> None:
    known = KNOWN[NEUTRALS].mean(axis=1)
    assert tone_errors(0.3 * known, known) == pytest.approx(np.zeros(6), abs=1e-12)
    lifted = known.copy()
    lifted[-1] *= 1.5
    assert tone_errors(lifted, known) == pytest.approx([0, 0, 0, 0, 0, 0.5])
