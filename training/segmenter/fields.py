"""Random fields and neighbourhoods of a whole batch at once, on the device that trains."""

import math

import torch
from torch import Tensor
from torch.nn import functional

#: Points of the coarse grid that noise is drawn on; larger windows mirror it.
_GRID = 96


class Draw:
    """Random numbers on one device, from one seed."""

    def __init__(self, seed: int, device: str | torch.device) -> None:
        self.device = torch.device(device)
        self.generator = torch.Generator(self.device).manual_seed(seed)

    def normal(self, *shape: int) -> Tensor:
        """Standard normal numbers."""
        return torch.randn(shape, generator=self.generator, device=self.device)

    def uniform(self, low: float, high: float, *shape: int) -> Tensor:
        """Numbers from low to high."""
        return low + (high - low) * torch.rand(shape, generator=self.generator, device=self.device)

    def log_uniform(self, low: float, high: float, *shape: int) -> Tensor:
        """Numbers from low to high whose logarithms are uniform."""
        return self.uniform(math.log(low), math.log(high), *shape).exp()

    def chance(self, share: float, *shape: int) -> Tensor:
        """True in so large a share of cases."""
        return self.uniform(0, 1, *shape) < share

    def below(self, limit: Tensor) -> Tensor:
        """Whole numbers from 0 to limit - 1, one for each limit (long)."""
        return (self.uniform(0, 1, *limit.shape) * limit).long().clamp_max(limit - 1).clamp_min(0)


def smooth_noise(draw: Draw, size: tuple[int, int, int], cell_px: Tensor) -> Tensor:
    """Noise (N, 1, h, w) of mean 0 and spread about 1; size: N, h, w; cell_px: (N,), width over which it changes."""
    count, height, width = size
    coarse = 1.25 * draw.normal(count, 1, _GRID, _GRID)
    cell = cell_px.view(-1, 1, 1).clamp_min(1.0)
    offset = draw.uniform(0, _GRID, count, 1, 1, 2)
    rows = torch.arange(height, device=draw.device).view(1, -1, 1) / cell + offset[..., 1]
    columns = torch.arange(width, device=draw.device).view(1, 1, -1) / cell + offset[..., 0]
    places = torch.stack(torch.broadcast_tensors(columns, rows), dim=-1) * (2 / _GRID) - 1
    return functional.grid_sample(coarse, places, mode="bicubic", padding_mode="reflection", align_corners=False)


def rough_noise(draw: Draw, size: tuple[int, int, int], cell_px: Tensor, octaves: int = 3) -> Tensor:
    """Sum of octaves of smooth noise, each half as wide and 0.6 as strong; spread about 1."""
    parts = [0.6**n * smooth_noise(draw, size, cell_px / 2**n) for n in range(octaves)]
    return torch.stack(parts).sum(0) / math.sqrt(sum(0.36**n for n in range(octaves)))


def gaussian(planes: Tensor, sigma: float) -> Tensor:
    """Planes (N, C, h, w) smoothed by a Gaussian; edge values are repeated beyond the border."""
    reach = max(1, math.ceil(3 * sigma))
    steps = torch.arange(-reach, reach + 1, device=planes.device, dtype=planes.dtype)
    kernel = torch.exp(-0.5 * (steps / sigma) ** 2)
    kernel = kernel / kernel.sum()
    count, channels, height, width = planes.shape
    flat = planes.reshape(count * channels, 1, height, width)
    flat = functional.conv2d(functional.pad(flat, (reach, reach, 0, 0), mode="replicate"), kernel.view(1, 1, 1, -1))
    flat = functional.conv2d(functional.pad(flat, (0, 0, reach, reach), mode="replicate"), kernel.view(1, 1, -1, 1))
    return flat.view(count, channels, height, width)


def box(planes: Tensor, side: int) -> Tensor:
    """Mean of planes (N, C, h, w) over squares of an odd side, counting only what lies inside the planes."""
    across = functional.avg_pool2d(planes, (1, side), 1, (0, side // 2), count_include_pad=False)
    return functional.avg_pool2d(across, (side, 1), 1, (side // 2, 0), count_include_pad=False)


def mean_where(values: Tensor, weight: Tensor) -> Tensor:
    """Mean (N, C, 1, 1) of values (N, C, h, w) by weight (N, 1, h, w); 0 where there is none."""
    return (values * weight).sum((2, 3), keepdim=True) / weight.sum((2, 3), keepdim=True).clamp_min(1e-3)


def quantiles_where(values: Tensor, where: Tensor, shares: tuple[float, ...]) -> Tensor:
    """Quantiles (N, len(shares), C) of values (N, C, P) over the points where (N, P) is true; 0 where none is."""
    count = where.sum(1)
    ordered = torch.where(where[:, None], values, torch.inf).sort(dim=2).values
    found = []
    for share in shares:
        at = share * (count - 1).clamp_min(0)
        below, above = (edge.long()[:, None, None].expand(-1, values.shape[1], 1) for edge in (at.floor(), at.ceil()))
        part = (at - at.floor())[:, None]
        low, high = ordered.gather(2, below)[..., 0], ordered.gather(2, above)[..., 0]
        found.append(low + part * (high - low))
    return torch.where((count > 0)[:, None, None], torch.stack(found, 1), 0.0)
