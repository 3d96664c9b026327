"""Networks made deeper and wider answer as before; means of weights; cards that learn together. Needs torch."""

import warnings
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from vision.surface.segmenter_input import FACTS, PLANES

WIDTHS, WIDER = (4, 6, 8), (6, 6, 12, 10)


def some_network(torch):
    from training.segmenter.network import FaceNetwork

    torch.manual_seed(5)
    network = FaceNetwork(WIDTHS)
    for one in network.modules():
        if isinstance(one, torch.nn.BatchNorm2d):
            torch.nn.init.normal_(one.running_mean)
            torch.nn.init.uniform_(one.running_var, 0.5, 2.0)
    return network.eval()


def test_a_deeper_and_wider_network_answers_as_before():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.network import deepened, widened, widths_of

    network = some_network(torch)
    larger = widened(deepened(network, [10]), WIDER).eval()
    assert widths_of(larger.state_dict()) == WIDER
    planes, facts = torch.randn(2, PLANES, 32, 48), torch.randn(2, FACTS, 1, 1)
    with torch.no_grad():
        assert torch.allclose(larger(planes, facts), network(planes, facts), atol=1e-5)


def test_a_coarser_network_answers_at_the_scale_of_its_planes():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.network import FaceNetwork, at_planes_scale, network_of

    network = FaceNetwork((8, 12, 16), finer=4).eval()
    assert network.side_multiple == 16
    planes, facts = torch.randn(1, PLANES, 32, 48), torch.randn(1, FACTS, 1, 1)
    answer = at_planes_scale(network(planes, facts))
    assert answer.shape == (1, 7, 32, 48)
    again = network_of(network.state_dict()).eval()
    assert torch.equal(at_planes_scale(again(planes, facts)), answer)


def test_an_earlier_network_without_the_last_output_says_what_it_said_before():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.network import IN_FILE, network_of

    network = some_network(torch)
    earlier = {name: value.clone() for name, value in network.state_dict().items()}
    for name in ("leave.weight", "leave.bias"):
        earlier[name] = earlier[name][: 4 * IN_FILE]
    planes, facts = torch.randn(2, PLANES, 32, 48), torch.randn(2, FACTS, 1, 1)
    with torch.no_grad():
        answer, before = network_of(earlier).eval()(planes, facts), network(planes, facts)
    assert torch.allclose(answer[:, : 4 * IN_FILE], before[:, : 4 * IN_FILE], atol=1e-6)
    assert torch.sigmoid(answer[:, 4 * IN_FILE :]).max() < 0.06


def test_a_model_file_has_the_outputs_that_the_program_reads(tmp_path):
    torch = pytest.importorskip("torch", reason="only training needs torch")
    onnxruntime = pytest.importorskip("onnxruntime", reason="the program's own runtime")
    from training.segmenter.network import IN_FILE
    from training.segmenter.train import write_model

    network = some_network(torch)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        write_model(network, tmp_path / "file.onnx")
    planes, facts = torch.randn(1, PLANES, 32, 48), torch.randn(1, FACTS, 1, 1)
    session = onnxruntime.InferenceSession(tmp_path / "file.onnx")
    (said,) = session.run(None, {"planes": planes.numpy(), "facts": facts.numpy()})
    with torch.no_grad():
        assert np.allclose(said, network(planes, facts)[:, : 4 * IN_FILE].numpy(), atol=1e-4)


def test_spreads_taken_anew_are_those_of_the_batches():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.dataset import Batch
    from training.segmenter.mean import take_spreads_anew

    network = some_network(torch)
    nothing = torch.zeros(0)
    made = [
        Batch(torch.randn(2, PLANES, 32, 48), torch.randn(2, FACTS, 1, 1), nothing, nothing, nothing, nothing)
        for _ in range(3)
    ]
    take_spreads_anew(network, made)
    convolution, scaled = network.down[0][0], network.down[0][1]
    seen = []
    convolution.register_forward_hook(lambda *parts: seen.append(parts[2]))
    network.train()
    with torch.no_grad():
        for one in made:
            network(one.planes, one.facts)
    means = torch.stack([one.mean((0, 2, 3)) for one in seen]).mean(0)
    network.eval()
    assert int(scaled.num_batches_tracked) >= 3
    assert torch.allclose(scaled.running_mean, means, atol=1e-4)


def test_the_mean_of_weights_counts_each_by_its_share():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.mean import mean_of

    states = [{"a": torch.full((3,), float(n)), "seen": torch.tensor(n)} for n in (1, 4)]
    mean = mean_of(states, [2, 1])
    assert mean["a"].tolist() == [2.0, 2.0, 2.0]
    assert int(mean["seen"]) == 1


def patches(torch, *sides: int):
    """Faces of 120 x 120 points with one coloured square each, of these sides (0: none)."""
    foreign = torch.zeros(len(sides), 2, 120, 120)
    for face, side in zip(foreign, sides, strict=True):
        face[:, 50 : 50 + side, 50 : 50 + side] = 1
    return foreign, torch.ones(len(sides), 120, 120)


def test_a_small_patch_counts_as_much_as_a_large_one():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.train import patch_loss

    foreign, within = patches(torch, 6, 40)
    sees_nothing = torch.full(within.shape, -6.0)
    sees_all = torch.where(foreign[:, 1] > 0, 6.0, -6.0)
    missed, found = patch_loss(sees_nothing, foreign, within), patch_loss(sees_all, foreign, within)
    assert float(missed[0]) == pytest.approx(float(missed[1]), rel=0.05)
    assert float(missed[0]) > 20 * float(found[0])


def test_one_false_patch_costs_more_than_its_area():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.segmenter.train import patch_loss

    foreign, within = patches(torch, 0, 0)
    logits = torch.full(within.shape, -6.0)
    logits[1, 10:20, 10:20] = 6.0
    clean, false = patch_loss(logits, foreign, within)
    by_area = 6.0 * 100 / 120**2
    assert float(false - clean) > 10 * by_area


def test_tape_on_a_face_is_held_by_its_outline_and_covered():
    from training.segmenter.scenes import outlined

    classes = np.zeros((120, 160), np.uint8)
    classes[10:110, 10:150] = 1
    classes[40:60, 10:90] = 5  # tape 10 mm wide that reaches the edge
    classes[70:100, 100:140] = 4
    held = outlined(classes, px_per_mm=2.0)
    assert held[50, 50]
    assert not held[85, 120]
    assert not held[5, 80]
    assert held[(classes == 1)].all()


def learn_a_line(folder: Path, device: str) -> None:
    """One weight and one bias learn y = 2 x + 1, each process from points of its own."""
    import torch

    from training.cards import number
    from training.segmenter.learning import learn

    torch.manual_seed(1)
    line = torch.nn.Sequential(torch.nn.Linear(1, 1), torch.nn.BatchNorm1d(1, affine=False, momentum=0.5))
    drawn = torch.Generator().manual_seed(number())

    def losses():
        while True:
            x = torch.randn(64, 1, generator=drawn) + 10 * number()
            line[1](line[0](x))  # its running statistics are of this process's points
            yield (line[0](x) - 2 * x - 1).square().mean()

    learn(line, losses(), steps=600, rate=0.05)
    torch.save(line.state_dict(), folder / f"{number()}.pt")


def test_two_processes_learn_one_network(tmp_path):
    """Each sees other points: only with shared gradients do their weights agree, and fit the points of both."""
    torch = pytest.importorskip("torch", reason="only training needs torch")
    from training.cards import on_cards

    on_cards(2, "cpu", partial(learn_a_line, tmp_path))
    first, second = (torch.load(tmp_path / f"{n}.pt") for n in (0, 1))
    for name, value in first.items():
        assert torch.equal(value, second[name]), name
    assert float(first["0.weight"]) == pytest.approx(2, abs=0.05)
    assert float(first["0.bias"]) == pytest.approx(1, abs=0.3)
    assert float(first["1.running_mean"]) == pytest.approx(1 + 2 * 5, abs=1)


def test_the_kept_weights_are_those_of_the_shipped_file():
    torch = pytest.importorskip("torch", reason="only training needs torch")
    onnxruntime = pytest.importorskip("onnxruntime", reason="the program's own runtime")
    from training.segmenter.network import IN_FILE, network_of

    kept = torch.load(Path("training/segmenter/segmenter.pt"), map_location="cpu")
    torch.manual_seed(5)
    planes, facts = torch.randn(1, PLANES, 64, 96) / 2, torch.randn(1, FACTS, 1, 1) / 3
    session = onnxruntime.InferenceSession("vision/surface/segmenter.onnx")
    (said,) = session.run(None, {"planes": planes.numpy(), "facts": facts.numpy()})
    with torch.no_grad():
        learned = network_of(kept).eval()(planes, facts)[:, : 4 * IN_FILE].numpy()
    assert np.abs(learned - said).max() < 0.1, "half precision"
    assert np.abs(said).max() > 1
