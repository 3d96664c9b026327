"""Several graphics cards that learn one network together: each by batches of its own, all by the mean of the gradients.

A process runs for each card. With the same weights at first and the same gradients at each step, all stay alike (the
usual data parallel learning, as in torch.nn.parallel.DistributedDataParallel; from memory).
"""

import os
import socket
from collections.abc import Callable

import torch
from torch import Tensor, distributed, multiprocessing, nn


def on_cards(count: int, device: str, work: Callable[[str], None]) -> None:
    """Do work(device) in ``count`` processes at once, one for each card; on a processor they share it."""
    if count == 1:
        work(device)
        return
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    multiprocessing.spawn(_one_card, (count, port, device, work), nprocs=count)


def _one_card(number: int, count: int, port: int, device: str, work: Callable[[str], None]) -> None:
    os.environ.update(MASTER_ADDR="127.0.0.1", MASTER_PORT=str(port))
    if device == "cuda":
        torch.cuda.set_device(number)
    distributed.init_process_group("nccl" if device == "cuda" else "gloo", rank=number, world_size=count)
    try:
        work(f"cuda:{number}" if device == "cuda" else device)
    finally:
        distributed.destroy_process_group()


def number() -> int:
    """Which of the processes that learn together this is, from 0; 0 where there is one."""
    return distributed.get_rank() if distributed.is_initialized() else 0


def share_gradients(network: nn.Module) -> None:
    """Put the mean of all processes' gradients in place of this one's."""
    if distributed.is_initialized():
        _share([one.grad for one in network.parameters() if one.grad is not None])


def share_state(network: nn.Module) -> None:
    """Put the mean of all processes' weights and running statistics in place of this one's."""
    if distributed.is_initialized():
        _share([one for one in network.state_dict().values() if one.dtype.is_floating_point])


def agreed(value: float, device: torch.device) -> float:
    """The first process's value, in all of them: clocks differ, but a step has to be the same everywhere."""
    if not distributed.is_initialized():
        return value
    told = torch.tensor(value, dtype=torch.float64, device=device)
    distributed.broadcast(told, 0)
    return float(told)


def _share(tensors: list[Tensor]) -> None:
    flat = torch.cat([one.flatten() for one in tensors])
    distributed.all_reduce(flat)
    flat /= distributed.get_world_size()
    for one, mean in zip(tensors, flat.split([one.numel() for one in tensors]), strict=True):
        one.copy_(mean.view_as(one))
