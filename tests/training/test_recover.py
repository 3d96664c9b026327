"""Model files made trainable again: the network must answer as the file does. Needs torch, which CI has not."""

from pathlib import Path

import numpy as np
import pytest

from vision.face.outline_network import PLANES

FILE = Path(__file__).parents[2] / "vision" / "face" / "outliner.onnx"


def test_the_outliner_made_trainable_answers_as_its_file():
    """Reference: onnxruntime, which runs the file in the program."""
    torch = pytest.importorskip("torch")
    onnxruntime = pytest.importorskip("onnxruntime")
    pytest.importorskip("onnx")
    from training.outliner.recover import recover

    rng = np.random.default_rng(3)
    some = [torch.from_numpy(rng.standard_normal((2, PLANES, 64, 96), np.float32)) for _ in range(3)]
    network = recover(FILE, some)
    fresh = rng.standard_normal((1, PLANES, 96, 64), np.float32)
    with torch.no_grad():
        answer = network(torch.from_numpy(fresh)).numpy()
    (expected,) = onnxruntime.InferenceSession(str(FILE)).run(None, {"planes": fresh})
    assert np.abs(answer - expected).max() < 1e-3
