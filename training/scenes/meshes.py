"""Triangle meshes in millimetres: grids, turned bodies, boxes; placed in the world and written as PLY files."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Mesh:
    """points: (N, 3) mm, x right, y up, z towards the camera; uv: (N, 2), v downwards; faces: (M, 3) indices."""

    points: Points
    uv: Points
    faces: NDArray[np.int32]

    def placed(self, placing: Points) -> "Mesh":
        """The mesh moved by a (4, 4) matrix."""
        return Mesh(place(self.points, placing), self.uv, self.faces)


def place(points: Points, placing: Points) -> Points:
    """Points (..., 3) moved by a (4, 4) matrix."""
    return np.asarray(points @ placing[:3, :3].T + placing[:3, 3])


def placing(
    at: tuple[float, float, float], turn_degrees: float = 0.0, lean_degrees: float = 0.0, spin_degrees: float = 0.0
) -> Points:
    """A rigid move: lean about z first, then turn about y, then spin about z in the picture's plane, then shift."""
    turn, lean, spin = np.radians((turn_degrees, lean_degrees, spin_degrees))
    about_y = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
    out = np.eye(4)
    out[:3, :3] = _about_z(float(spin)) @ about_y @ _about_z(float(lean))
    out[:3, 3] = at
    return out


def _about_z(angle: float) -> Points:
    return np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])


def grid(points: Points, *, inwards: bool = False) -> Mesh:
    """A mesh of a (R, C, 3) sheet; rows run down and columns right on its outer side."""
    rows, columns = points.shape[:2]
    v, u = np.mgrid[0 : 1 : rows * 1j, 0 : 1 : columns * 1j]
    number = np.arange(rows * columns, dtype=np.int32).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    faces = np.concatenate([np.c_[a, b, d], np.c_[b, c, d]])
    return Mesh(points.reshape(-1, 3), np.c_[u.ravel(), v.ravel()], faces[:, ::-1] if inwards else faces)


def joined(*meshes: Mesh) -> Mesh:
    """Several meshes as one."""
    offsets = np.cumsum([0, *[len(mesh.points) for mesh in meshes[:-1]]])
    return Mesh(
        np.concatenate([mesh.points for mesh in meshes]),
        np.concatenate([mesh.uv for mesh in meshes]),
        np.concatenate([mesh.faces + offset for mesh, offset in zip(meshes, offsets, strict=True)]).astype(np.int32),
    )


def mirrored(mesh: Mesh) -> Mesh:
    """A front half with its mirror image behind it."""
    back = Mesh(mesh.points * (1, 1, -1), mesh.uv, mesh.faces[:, ::-1])
    return joined(mesh, back)


def turned(profile: tuple[tuple[float, float], ...], segments: int = 96) -> Mesh:
    """A body turned about the y axis: profile of (radius, y) mm from the top down its outer side."""
    angle = np.linspace(-np.pi, np.pi, segments + 1)[None]
    radius, height = (np.array(part, float)[:, None] for part in zip(*profile, strict=True))
    return grid(np.stack([radius * np.sin(angle), height + 0 * angle, radius * np.cos(angle)], axis=-1))


def upright_disc(radius_mm: float, rings: int = 24, segments: int = 96) -> Mesh:
    """A disc that faces the camera, uv over its square."""
    radius = np.linspace(0, radius_mm, rings)[:, None]
    angle = np.linspace(0, 2 * np.pi, segments + 1)[None]
    mesh = grid(np.stack([radius * np.sin(angle), radius * np.cos(angle), 0 * radius * angle], axis=-1), inwards=True)
    uv = np.c_[mesh.points[:, 0], -mesh.points[:, 1]] / (2 * radius_mm) + 0.5
    return Mesh(mesh.points, uv, mesh.faces)


def sheet(width_mm: float, height_mm: float) -> Mesh:
    """A flat rectangle about the origin that faces the camera."""
    x, y = width_mm / 2, height_mm / 2
    return grid(np.array([[[-x, y, 0], [x, y, 0]], [[-x, -y, 0], [x, -y, 0]]], float))


def box(width_mm: float, height_mm: float, depth_mm: float) -> Mesh:
    """A box standing on y = 0 about the y axis."""
    side = {
        "front": (placing((0, 0, depth_mm / 2)), width_mm), "back": (placing((0, 0, -depth_mm / 2), 180), width_mm),
        "right": (placing((width_mm / 2, 0, 0), 90), depth_mm), "left": (placing((-width_mm / 2, 0, 0), -90), depth_mm),
    }  # fmt: skip
    walls = [sheet(width, height_mm).placed(move) for move, width in side.values()]
    flat = sheet(width_mm, depth_mm)
    top = Mesh(flat.points[:, [0, 2, 1]] * (1, 1, -1) + (0, height_mm / 2, 0), flat.uv, flat.faces)
    base = Mesh(top.points * (1, -1, 1), top.uv, top.faces[:, ::-1])
    return joined(*walls, top, base).placed(placing((0, height_mm / 2, 0)))


def write_ply(mesh: Mesh, path: Path) -> None:
    """Write a binary PLY with vertex positions and uv."""
    vertices = np.concatenate([mesh.points, mesh.uv], axis=1).astype("<f4")
    faces = np.empty(len(mesh.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    faces["count"] = 3
    faces["corners"] = mesh.faces
    header = ["ply", "format binary_little_endian 1.0", f"element vertex {len(vertices)}"]
    header += [f"property float {name}" for name in ("x", "y", "z", "u", "v")]
    header += [f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header", ""]
    path.write_bytes("\n".join(header).encode("ascii") + vertices.tobytes() + faces.tobytes())
