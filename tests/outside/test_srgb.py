"""Colour conversions against the sRGB standard and published values."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from tests.outside.conftest import Tell
from vision.pixels.colour import decode_srgb8, encode_srgb8, linear_to_srgb, luminance, srgb_to_linear
from vision.pixels.light import to_lab

# IEC 61966-2-1 formula values to six decimals, agreeing with colour-science 0.4.7 (BSD-3-Clause).
ENCODED = [
    (0.001, 0.012920),
    (0.0031308, 0.040450),
    (0.0032, 0.041323),
    (0.01, 0.099853),
    (0.18, 0.461356),
    (0.5, 0.735357),
    (1.0, 1.0),
]

DECODED = [
    (0.02, 0.001548),
    (0.04045, 0.003131),
    (0.0415, 0.003214),
    (0.1, 0.010023),
    (0.25, 0.050876),
    (0.5, 0.214041),
    (0.9, 0.787412),
]

# CIE Lab, D65, of sRGB colours, computed with colour-science 0.4.7 from the IEC 61966-2-1 matrix.
LAB_D65 = [
    ("FFFFFF", (100.000, 0.008, 0.004)),
    ("808080", (53.585, 0.005, 0.002)),
    ("FF0000", (53.233, 80.111, 67.224)),
    ("00FF00", (87.737, -86.183, 83.188)),
    ("0000FF", (32.303, 79.198, -107.850)),
    ("F5F0E6", (94.927, -0.027, 5.422)),
    ("6B4F3A", (36.029, 8.777, 16.974)),
    ("3F7F4F", (48.007, -31.856, 19.956)),
]

#: OpenCV's single precision Lab interpolates its cube root; a just noticeable difference is about 1.
LAB_TOLERANCE = 0.15


@pytest.mark.parametrize(("linear", "srgb"), ENCODED)
def test_encoding_follows_the_standard(linear, srgb, tell: Tell):
    got = float(linear_to_srgb(np.array(linear)))
    assert got == pytest.approx(srgb, abs=1e-6)
    tell(f"sRGB of light {linear:g}", "IEC 61966-2-1", f"{srgb:.6f}", f"{got:.6f}")


@pytest.mark.parametrize(("srgb", "linear"), DECODED)
def test_decoding_follows_the_standard(srgb, linear, tell: Tell):
    got = float(srgb_to_linear(np.array(srgb)))
    assert got == pytest.approx(linear, abs=1e-6)
    tell(f"light of sRGB {srgb:g}", "IEC 61966-2-1", f"{linear:.6f}", f"{got:.6f}")


def test_eight_bit_values_survive_conversion_to_linear_light_and_back():
    every = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    assert np.abs(encode_srgb8(decode_srgb8(every)).astype(int) - every).max() <= 1


@pytest.mark.parametrize(("code", "lab"), LAB_D65)
def test_lab_agrees_with_published_values(code, lab):
    rgb = np.array([[[int(code[i : i + 2], 16) for i in (0, 2, 4)]]], np.uint8)
    assert to_lab(decode_srgb8(rgb))[0, 0] == pytest.approx(lab, abs=LAB_TOLERANCE)
    assert rgb2lab(rgb)[0, 0] == pytest.approx(lab, abs=0.03)


def test_luminance_of_white_is_one():
    assert luminance(np.ones((2, 3, 3)))[0, 0] == pytest.approx(1.0, abs=1e-9)
