"""Triangle meshes of the few shapes a set is built of, as vertex, normal, texture-coordinate and face arrays."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np


@dataclass
class Mesh:
    points: np.ndarray
    normals: np.ndarray
    uvs: np.ndarray
    faces: np.ndarray

    def moved(self, rotation=np.eye(3), shift=(0, 0, 0)):
        rotation = np.asarray(rotation)
        normals = self.normals @ rotation.T
        normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
        return Mesh(self.points @ rotation.T + np.asarray(shift), normals, self.uvs, self.faces)


def merged(meshes):
    offsets = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.normals for m in meshes]),
        np.concatenate([m.uvs for m in meshes]),
        np.concatenate([m.faces + o for m, o in zip(meshes, offsets)]),
    )


def grid_faces(rows, columns):
    """Two triangles for each cell of a (rows + 1) x (columns + 1) grid of points."""
    row, column = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    first = (row * (columns + 1) + column).ravel()
    below = first + columns + 1
    return np.concatenate([np.stack([first, below, first + 1], 1), np.stack([first + 1, below, below + 1], 1)])


def ellipsoid(centre, radii, rows=16, columns=24):
    theta, phi = np.meshgrid(np.linspace(0, np.pi, rows + 1), np.linspace(0, 2 * np.pi, columns + 1), indexing="ij")
    unit = np.stack([np.sin(theta) * np.sin(phi), np.cos(theta), np.sin(theta) * np.cos(phi)], -1).reshape(-1, 3)
    normals = unit / np.asarray(radii)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    uvs = np.stack([phi / (2 * np.pi), theta / np.pi], -1).reshape(-1, 2)
    return Mesh(unit * radii + centre, normals, uvs, grid_faces(rows, columns))


def frame_along(axis):
    """Rotation whose second column is the axis."""
    axis = np.asarray(axis, float) / np.linalg.norm(axis)
    helper = np.array([1.0, 0, 0]) if abs(axis[0]) < 0.8 else np.array([0, 0, 1.0])
    side = np.cross(axis, helper)
    side /= np.linalg.norm(side)
    return np.stack([side, axis, np.cross(side, axis)], 1)


def lathe(profile, columns=40):
    """Surface of revolution about y; the profile is a list of (radius, height) from bottom to top."""
    profile = np.asarray(profile, float)
    phi = np.linspace(0, 2 * np.pi, columns + 1)
    radius, height = profile[:, :1], profile[:, 1:]
    points = np.stack([radius * np.sin(phi), height + 0 * phi, radius * np.cos(phi)], -1)
    slope = np.gradient(profile, axis=0)
    slope /= np.linalg.norm(slope, axis=1, keepdims=True) + 1e-12
    normals = np.stack([slope[:, 1:] * np.sin(phi), -slope[:, :1] + 0 * phi, slope[:, 1:] * np.cos(phi)], -1)
    along = np.linspace(0, 1, len(profile))[:, None]
    uvs = np.stack([phi / (2 * np.pi) + 0 * along, along + 0 * phi], -1)
    return Mesh(points.reshape(-1, 3), normals.reshape(-1, 3), uvs.reshape(-1, 2), grid_faces(len(profile) - 1, columns)[:, ::-1])


def capsule(start, end, radius, end_radius=None):
    start, end = np.asarray(start, float), np.asarray(end, float)
    length = np.linalg.norm(end - start)
    last = radius if end_radius is None else end_radius
    bottom, top = np.linspace(-np.pi / 2, 0, 6), np.linspace(0, np.pi / 2, 6)
    profile = [(radius * np.cos(a), radius * np.sin(a)) for a in bottom]
    profile += [(last * np.cos(a), length + last * np.sin(a)) for a in top]
    return lathe(profile, 16).moved(frame_along(end - start), start)


def torus(radius, tube, rows=96, columns=10):
    theta, phi = np.meshgrid(np.linspace(0, 2 * np.pi, rows + 1), np.linspace(0, 2 * np.pi, columns + 1), indexing="ij")
    normals = np.stack([np.cos(phi) * np.cos(theta), np.sin(phi), np.cos(phi) * np.sin(theta)], -1).reshape(-1, 3)
    rings = np.stack([radius * np.cos(theta), 0 * theta, radius * np.sin(theta)], -1).reshape(-1, 3)
    uvs = np.stack([theta, phi], -1).reshape(-1, 2) / (2 * np.pi)
    return Mesh(rings + tube * normals, normals, uvs, grid_faces(rows, columns))


def quad(corner, across, up):
    """Flat rectangle; its texture coordinates are metres along both edges."""
    corner, across, up = (np.asarray(v, float) for v in (corner, across, up))
    normal = np.cross(across, up)
    normal /= np.linalg.norm(normal)
    points = np.array([corner, corner + across, corner + across + up, corner + up])
    width, height = np.linalg.norm(across), np.linalg.norm(up)
    uvs = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    return Mesh(points, np.tile(normal, (4, 1)), uvs, np.array([[0, 1, 2], [0, 2, 3]]))


def box(low, high):
    low, high = np.asarray(low, float), np.asarray(high, float)
    x, y, z = np.diag(high - low)
    return merged([
        quad(low + z, x, y), quad(low + x, -x, y), quad(low, z, y),
        quad(low + x + z, -z, y), quad(low + y + z, x, -z), quad(low, x, z),
    ])


def turned_about_y(degrees):
    angle = np.radians(degrees)
    return np.array([[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]])


def write_ply(mesh, path: Path):
    vertex = np.dtype([(n, "<f4") for n in ("x", "y", "z", "nx", "ny", "nz", "u", "v")])
    face = np.dtype([("count", "u1"), ("index", "<i4", 3)])
    vertices = np.empty(len(mesh.points), vertex)
    for name, column in zip(vertex.names, np.concatenate([mesh.points, mesh.normals, mesh.uvs], 1).T):
        vertices[name] = column
    faces = np.empty(len(mesh.faces), face)
    faces["count"], faces["index"] = 3, mesh.faces
    lines = ["ply", "format binary_little_endian 1.0", f"element vertex {len(vertices)}"]
    lines += [f"property float {n}" for n in vertex.names]
    lines += [f"element face {len(faces)}", "property list uchar int vertex_indices", "end_header", ""]
    path.write_bytes("\n".join(lines).encode() + vertices.tobytes() + faces.tobytes())
