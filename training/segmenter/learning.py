"""How either network learns: one loop that takes losses as they come and leaves the running mean of the weights."""

from collections.abc import Iterable

import torch
from torch import Tensor, nn


def learn(network: nn.Module, losses: Iterable[Tensor], steps: int, rate: float) -> None:
    """Take ``steps`` steps down the losses, each made from the network as it is then; rate: the highest.

    Afterwards the network holds the running mean of its weights.
    """
    network.train()
    optimiser = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, rate, total_steps=steps, pct_start=0.1)
    mean = {name: value.clone() for name, value in network.state_dict().items()}
    total = 0.0
    for step, value in enumerate(losses):
        optimiser.zero_grad()
        value.backward()  # type: ignore[no-untyped-call]
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        schedule.step()
        keep = min(0.998, step / (step + 50))
        for name, now in network.state_dict().items():
            mean[name] = torch.lerp(now, mean[name], keep) if now.dtype.is_floating_point else now.clone()
        total += float(value.detach())
        if (step + 1) % 500 == 0:
            print(f"step {step + 1}: loss {total / 500:.4f}", flush=True)
            total = 0.0
    network.load_state_dict(mean)
