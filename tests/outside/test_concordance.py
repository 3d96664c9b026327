"""Agreement of two methods, against worked examples.

Concordance: cases worked by hand from Lin's formula (Biometrics 45:255-268, 1989), moments divided by n. Limits of
agreement: peak flow by two meters, Bland and Altman, The Lancet 327:307-310, 1986, table 1 (data from memory; they
give the paper's mean difference of -2.1 l/min and standard deviation of 38.8 l/min, and the concordance of 0.943 that
statistics manuals print for them).
"""

import numpy as np
import pytest

from farm.study.agreement_stats import agreement_of, concordance
from tests.outside.conftest import Tell
from tests.values import known

TENS = [10, 20, 30, 40, 50]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        (TENS, 1.0),
        ([20, 30, 40, 50, 60], 0.8),  # constant bias of 10
        ([5, 10, 15, 20, 25], 8 / 19),  # half scale
        (TENS[::-1], -1.0),
        ([12, 18, 33, 41, 55], 2 * 218 / (200 + 241.36 + 1.8**2)),
    ],
)
def test_concordance_of_the_worked_cases(other: list[float], expected: float, tell: Tell) -> None:
    assert known(concordance(TENS, other)).value == pytest.approx(expected, abs=1e-12)
    got = known(concordance(other, TENS)).value
    assert got == pytest.approx(expected, abs=1e-12)
    source = "Lin 1989, Biometrics 45: 255-268, worked by hand"
    tell(f"concordance of 10 to 50 with {other}", source, f"{expected:.4f}", f"{got:.4f}")


def test_bias_and_limits_of_the_published_example(tell: Tell) -> None:
    told = agreement_of(MINI, LARGE)
    low, high = known(told.limits)
    assert told.n == 17
    assert told.bias.value == pytest.approx(-2.1, abs=0.05)
    assert (high.value - low.value) / 2 / 1.96 == pytest.approx(38.8, abs=0.05)
    # The paper: standard error of the mean difference 9.4, t 2.12, so -22.0 to 17.8; of a limit 16.3.
    assert (told.bias.low, told.bias.high) == pytest.approx((-22.0, 17.8), abs=0.1)
    assert (known(low.high) - known(low.low)) / 2 == pytest.approx(2.12 * 16.3, abs=0.3)
    assert known(told.concordance).value == pytest.approx(0.943, abs=0.0005)
    source = "peak flow, Bland and Altman 1986, The Lancet 327 (data from memory)"
    tell("bias of two meters, l/min", source, "-2.1", f"{told.bias.value:.2f}")
    tell(
        "Lin's concordance of the same",
        f"{source}; printed in manuals",
        "0.943",
        f"{known(told.concordance).value:.4f}",
    )


@pytest.mark.parametrize(
    ("n", "r", "shift", "scale"), [(15, 0.9, 0.3, 1.0), (40, 0.95, 0.2, 1.2), (100, 0.6, 0.3, 0.8)]
)
def test_the_interval_of_concordance_has_its_nominal_coverage(n, r, shift, scale) -> None:
    """The nominal coverage is 95 %; 2,000 draws have a standard error of 0.5, and small samples have a little less."""
    truth = 2 * r * scale / (1 + scale**2 + shift**2)
    rng = np.random.default_rng(11)
    first = rng.normal(size=(2000, n))
    second = shift + scale * (r * first + np.sqrt(1 - r**2) * rng.normal(size=first.shape))
    told = [known(concordance(one.tolist(), other.tolist())) for one, other in zip(first, second, strict=True)]
    assert 0.925 < np.mean([known(one.low) <= truth <= known(one.high) for one in told]) < 0.965


def test_the_interval_of_concordance_has_the_width_of_its_scatter() -> None:
    """By the Z transformation atanh(rho) is about normal; its scatter over many draws gives the interval's width.

    The standard deviation of 2,000 draws is known to 1.6 %. The means differ by a whole standard deviation here, where
    every term of the variance counts (Lin, Biometrics 56:324-325, 2000).
    """
    rng = np.random.default_rng(12)
    first = rng.normal(size=(2000, 200))
    second = 1.0 + 0.9 * first + np.sqrt(1 - 0.9**2) * rng.normal(size=first.shape)
    told = [known(concordance(one.tolist(), other.tolist())) for one, other in zip(first, second, strict=True)]
    reach = np.mean([np.arctanh(known(one.high)) - np.arctanh(known(one.low)) for one in told]) / 2
    assert reach / 1.959964 == pytest.approx(np.std([np.arctanh(one.value) for one in told]), rel=0.04)


def test_intervals_need_a_number_of_pairs() -> None:
    """Limits of agreement from three pairs on; the interval of concordance, which divides by n - 2, from four on."""
    first, second = [1.0, 2.0, 3.0, 5.0], [1.5, 1.8, 3.3, 4.6]
    assert agreement_of(first[:3], second[:3]).limits is not None
    assert known(concordance(first[:3], second[:3])).low is None
    assert known(concordance(first, second)).low is not None


def test_undefined_concordance_is_none() -> None:
    assert concordance([5, 5, 5], [5, 5, 5]) is None
    assert known(concordance([5, 5, 5, 5, 5], [1, 2, 3, 4, 5])).low is None
    assert agreement_of([1, 2], [2, 4]).limits is None
    with pytest.raises(ValueError, match="one or more pairs"):
        agreement_of([], [])
