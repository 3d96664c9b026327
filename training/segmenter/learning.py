"""How either network learns: one loop that takes losses as they come and leaves the running mean of the weights."""

import math
import time
from collections.abc import Iterable

import torch
from torch import Tensor, nn

from training.cards import agreed, number, share_gradients, share_state

#: Share of the time in which the rate of learning rises.
_WARM = 0.08
#: After so many steps it is looked up how far it is, and the rate of learning changes.
_LOOK_UP = 10


def learn(network: nn.Module, losses: Iterable[Tensor], steps: int, rate: float, *, until: float = math.inf) -> None:
    """Take ``steps`` steps down the losses, each made from the network as it is then; rate: the highest.

    until: moment (time.monotonic) at which it ends at the latest; the rate falls to nothing by then. Afterwards the
    network holds the running mean of its weights. Where several cards learn together, steps are those of all of them.
    """
    network.train()
    fused = next(network.parameters()).device.type == "cuda"
    optimiser = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=1e-3, fused=fused)
    mean = {name: value.clone() for name, value in network.state_dict().items()}
    floats = [name for name, value in mean.items() if value.dtype.is_floating_point]
    counts = [name for name in mean if name not in floats]
    device = next(network.parameters()).device
    begun, done, total = time.monotonic(), 0.0, torch.zeros((), device=device)
    for step, value in enumerate(losses):
        if step % _LOOK_UP == 0 or step == steps:
            now = time.monotonic()
            done = agreed(max(step / steps, (now - begun) / (until - begun)), device)
        if done >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = rate * (done / _WARM if done < _WARM else 0.5 + 0.5 * math.cos(math.pi * done))
        optimiser.zero_grad(set_to_none=True)
        value.backward()
        share_gradients(network)
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        keep = min(0.998, step / (step + 50))
        with torch.no_grad():
            state = network.state_dict()
            torch._foreach_lerp_([mean[name] for name in floats], [state[name] for name in floats], 1 - keep)
            for name in counts:
                mean[name].copy_(state[name])
        total += value.detach()  # read every 250 steps only: reading it makes the processor wait for the card
        if step % 250 == 249 and number() == 0:
            print(f"step {step + 1}, {now - begun:.0f} s: loss {float(total) / 250:.4f}", flush=True)
            total.zero_()
    network.load_state_dict(mean)
    share_state(network)
