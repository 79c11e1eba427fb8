"""Small mesh kit: bevelled boxes, lathes, tubes, sheets and scattered leaves.

Lengths are metres, z points up. Every builder returns a :class:`Mesh` whose texture coordinates
are metres too, with u along the grain (the longest side), so that one texture fits every part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Mesh:
    """A triangle mesh with one normal and one texture coordinate per vertex.

    Attributes
    ----------
    vertices, normals : ndarray, shape (N, 3)
        Positions in metres and unit normals.
    uv : ndarray, shape (N, 2)
        Texture coordinates in metres.
    faces : ndarray of int, shape (M, 3)
        Vertex indices, counter-clockwise seen from outside.
    """

    vertices: np.ndarray
    normals: np.ndarray
    uv: np.ndarray
    faces: np.ndarray

    def moved(self, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Mesh:
        """Return the mesh shifted by (x, y, z) metres."""
        return Mesh(self.vertices + np.array([x, y, z]), self.normals, self.uv, self.faces)

    def turned(self, axis: str, degrees: float) -> Mesh:
        """Return the mesh turned about a coordinate axis through the origin."""
        rotation = rotation_matrix(axis, degrees)
        return Mesh(self.vertices @ rotation.T, self.normals @ rotation.T, self.uv, self.faces)

    def slid(self, u: float, v: float) -> Mesh:
        """Return the mesh with its texture slid by (u, v) metres."""
        return Mesh(self.vertices, self.normals, self.uv + np.array([u, v]), self.faces)


def rotation_matrix(axis: str, degrees: float) -> np.ndarray:
    """Return the right-handed 3x3 rotation about the axis ``"x"``, ``"y"`` or ``"z"``."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    i = "xyz".index(axis)
    j, k = (i + 1) % 3, (i + 2) % 3
    rotation = np.eye(3)
    rotation[j, j] = rotation[k, k] = c
    rotation[j, k], rotation[k, j] = -s, s
    return rotation


def joined(meshes: list[Mesh]) -> Mesh:
    """Return one mesh that holds all the given ones."""
    offsets = np.cumsum([0] + [len(m.vertices) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.normals for m in meshes]),
        np.concatenate([m.uv for m in meshes]),
        np.concatenate([m.faces + o for m, o in zip(meshes, offsets, strict=True)]),
    )


def grid_faces(rows: int, columns: int) -> np.ndarray:
    """Return the two triangles of every cell of a rows x columns vertex grid."""
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b = index[:-1, :-1].ravel(), index[:-1, 1:].ravel()
    c, d = index[1:, 1:].ravel(), index[1:, :-1].ravel()
    return np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def smooth_normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Return area-weighted vertex normals, shape (N, 3)."""
    corners = vertices[faces]
    face_normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros_like(vertices)
    for corner in range(3):
        np.add.at(normals, faces[:, corner], face_normals)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)


def sheet(points: np.ndarray, uv: np.ndarray | None = None) -> Mesh:
    """Return a smooth surface through a grid of points of shape (rows, columns, 3)."""
    rows, columns, _ = points.shape
    vertices = points.reshape(-1, 3).astype(float)
    faces = grid_faces(rows, columns)
    if uv is None:
        across = np.linalg.norm(np.diff(points, axis=1), axis=2)
        down = np.linalg.norm(np.diff(points, axis=0), axis=2)
        u = np.concatenate([np.zeros((rows, 1)), np.cumsum(across, 1)], 1)
        v = np.concatenate([np.zeros((1, columns)), np.cumsum(down, 0)], 0)
        uv = np.stack([u, v], -1)
    return Mesh(vertices, smooth_normals(vertices, faces), uv.reshape(-1, 2), faces)


def box(
    size: tuple[float, float, float],
    centre: tuple[float, float, float] = (0.0, 0.0, 0.0),
    bevel: float = 0.004,
    steps: int = 2,
    puff: float = 0.0,
) -> Mesh:
    """Return a box with rounded edges.

    Parameters
    ----------
    size : tuple of float
        Outer size along x, y and z.
    centre : tuple of float
        Where the middle of the box goes.
    bevel : float
        Radius of the edges; limited to half of the thinnest side.
    steps : int
        Cells across one rounded edge.
    puff : float
        How far the middles of the two largest faces swell, for cushions.
    """
    half = np.array(size) / 2
    radius = min(bevel, float(half.min()) * 0.999)
    inner = half - radius
    grain = int(np.argmax(half))
    cells = 10 if puff else 1
    parts = []
    for axis in range(3):
        j, k = (axis + 1) % 3, (axis + 2) % 3
        lines = [_bevelled_line(half[n], radius, steps, cells) for n in (j, k)]
        for side in (-1.0, 1.0):
            cube = np.empty((len(lines[0]), len(lines[1]), 3))
            cube[..., j], cube[..., k] = np.meshgrid(*lines, indexing="ij")
            cube[..., axis] = side * half[axis]
            cube = cube.reshape(-1, 3)
            core = np.clip(cube, -inner, inner)
            normals = cube - core
            normals /= np.linalg.norm(normals, axis=1, keepdims=True)
            faces = grid_faces(len(lines[0]), len(lines[1]))
            faces = faces[:, ::-1] if side < 0 else faces
            u, v = (k, j) if grain == k else (j, k)
            parts.append(Mesh(core + radius * normals, normals, cube[:, [u, v]], faces))
    mesh = joined(parts)
    if puff:
        thin = int(np.argmin(half))
        others = [n for n in range(3) if n != thin]
        swell = np.prod([1 - (mesh.vertices[:, n] / half[n]) ** 2 for n in others], axis=0)
        vertices = mesh.vertices.copy()
        vertices[:, thin] *= 1 + (puff / half[thin]) * np.clip(swell, 0, 1)
        mesh = Mesh(vertices, smooth_normals(vertices, mesh.faces), mesh.uv, mesh.faces)
    return mesh.moved(*centre)


def _bevelled_line(half: float, radius: float, steps: int, cells: int) -> np.ndarray:
    """Return positions across one face: fine near both rounded edges, ``cells`` between."""
    edge = radius * (1 - np.tan(np.linspace(np.pi / 4, 0, steps + 1)))
    core = np.linspace(-(half - radius), half - radius, cells + 1)
    return np.concatenate([-half + edge[:-1], core, (half - edge[:-1])[::-1]])


def bent(mesh: Mesh, radius: float) -> Mesh:
    """Bend a mesh whose length lies along x round a vertical axis at (0, radius)."""
    angle = mesh.vertices[:, 0] / radius
    reach = radius - mesh.vertices[:, 1]
    s, c = np.sin(angle), np.cos(angle)
    vertices = np.stack([reach * s, radius - reach * c, mesh.vertices[:, 2]], 1)
    n = mesh.normals
    normals = np.stack([n[:, 0] * c - n[:, 1] * s, n[:, 0] * s + n[:, 1] * c, n[:, 2]], 1)
    return Mesh(vertices, normals, mesh.uv, mesh.faces)


def subdivided_bar(size: tuple[float, float, float], cells: int = 16) -> Mesh:
    """Return a bar along x with round ends and enough cells along its length to be bent."""
    length, depth, height = size
    angles = np.linspace(0, 2 * np.pi, 33)
    power = 0.35
    ring_y = np.sign(np.cos(angles)) * np.abs(np.cos(angles)) ** power * depth / 2
    ring_z = np.sign(np.sin(angles)) * np.abs(np.sin(angles)) ** power * height / 2
    turn = np.linspace(0, np.pi / 2, 9)
    end = height / 2 * (1 - np.cos(turn))
    core = np.linspace(-1, 1, cells + 1)[1:-1] * (length / 2 - end[-1])
    along = np.concatenate([end - length / 2, core, (length / 2 - end)[::-1]])
    tall = np.concatenate([np.sin(turn), np.ones(cells - 1), np.sin(turn)[::-1]])[:, None]
    points = np.empty((len(along), 33, 3))
    points[..., 0] = along[:, None]
    points[..., 1] = ring_y[None] * np.minimum(1, 2.5 * tall)
    points[..., 2] = ring_z[None] * tall
    return sheet(points)


def lathe(profile: list[tuple[float, float]], segments: int = 48, smooth: bool = True) -> Mesh:
    """Revolve a profile of (radius, height) points, bottom to top on the outside, about z."""
    line = np.array(profile, dtype=float)
    if not smooth:
        line = np.repeat(line, 2, axis=0)[1:-1]
    angles = np.linspace(0, 2 * np.pi, segments + 1)
    points = np.empty((len(line), segments + 1, 3))
    points[..., 0] = line[:, :1] * np.cos(angles)
    points[..., 1] = line[:, :1] * np.sin(angles)
    points[..., 2] = line[:, 1:]
    if smooth:
        return _welded(sheet(points), len(line), segments)
    bands = [sheet(points[n : n + 2]) for n in range(0, len(line), 2)]
    return joined([_welded(b, 2, segments) for b in bands])


def _welded(mesh: Mesh, rows: int, segments: int) -> Mesh:
    """Give the first and last column of a revolved sheet the same normals."""
    normals = mesh.normals.reshape(rows, segments + 1, 3).copy()
    seam = normals[:, 0] + normals[:, -1]
    seam /= np.maximum(np.linalg.norm(seam, axis=1, keepdims=True), 1e-12)
    normals[:, 0] = normals[:, -1] = seam
    return Mesh(mesh.vertices, normals.reshape(-1, 3), mesh.uv, mesh.faces)


def tube(start: tuple[float, ...], end: tuple[float, ...], radius: float, tip: float = 0) -> Mesh:
    """Return a round bar from start to end; ``tip`` is the radius at the end (0: the same)."""
    a, b = np.array(start, float), np.array(end, float)
    along = b - a
    length = float(np.linalg.norm(along))
    w = along / length
    u = np.cross(w, [0.0, 0.0, 1.0] if abs(w[2]) < 0.9 else [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    frame = np.stack([u, np.cross(w, u), w], 1)
    tip = tip or radius
    mesh = lathe([(0, 0), (radius, 0), (tip, length), (0, length)], 20, smooth=False)
    return Mesh(mesh.vertices @ frame.T + a, mesh.normals @ frame.T, mesh.uv, mesh.faces)


def quad(corner: tuple[float, ...], edge_u: tuple[float, ...], edge_v: tuple[float, ...]) -> Mesh:
    """Return a flat rectangle; its normal is edge_u x edge_v."""
    o, u, v = (np.array(p, float) for p in (corner, edge_u, edge_v))
    return sheet(np.array([[o, o + u], [o + v, o + u + v]]))


def leaves(
    roots: np.ndarray, directions: np.ndarray, length: float, width: float, droop: float = 0.5
) -> Mesh:
    """Return one bent, pointed leaf per root.

    Parameters
    ----------
    roots, directions : ndarray, shape (N, 3)
        Where each leaf starts and the way it first grows.
    length, width : float
        Size of a leaf.
    droop : float
        How far the tip sinks, as a share of the length.
    """
    d = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    side = np.cross(d, [0.0, 0.0, 1.0])
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-6)
    t = np.linspace(0, 1, 5)
    breadth = width / 2 * np.sin(np.pi * t**0.7) ** 0.8
    middle = roots[:, None] + d[:, None] * (length * t)[None, :, None]
    middle[..., 2] -= droop * length * t[None] ** 2
    points = np.stack(
        [middle - side[:, None] * breadth[:, None], middle + side[:, None] * breadth[:, None]], 2
    )
    vertices = points.reshape(-1, 3)
    one = grid_faces(len(t), 2)
    faces = (np.arange(len(roots))[:, None, None] * 2 * len(t) + one[None]).reshape(-1, 3)
    uv = np.zeros((len(vertices), 2))
    return Mesh(vertices, smooth_normals(vertices, faces), uv, faces)
