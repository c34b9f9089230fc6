"""What lights the set: a photographed environment, and lamps of our own."""

import os
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import OpenEXR

import meshes
from render import mi, transform

OUTDOORS = ("bridge", "city", "dawn", "esplanade", "park", "sky", "sunrise", "venice", "KernerEnvLatLong")
INDOORS = ("apartment", "hall", "lab", "warehouse", "StageEnvLatLong")
ENVIRONMENTS = OUTDOORS + INDOORS
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def reference_folder():
    return Path(os.environ["PLATEPROOF_REFERENCE_DATA"])


def environment_file(name):
    folder = "openexr_images/MultiResolution" if name.endswith("LatLong") else "real_environments"
    return reference_folder() / folder / f"{name}.exr"


def solid_angles(height, width):
    edges = np.cos(np.linspace(0, np.pi, height + 1))
    return np.repeat(((edges[:-1] - edges[1:]) * 2 * np.pi / width)[:, None], width, 1)


def mean_radiance(pixels):
    weights = solid_angles(*pixels.shape[:2])
    return (pixels * weights[..., None]).sum((0, 1)) / weights.sum()


def read_environment(name):
    """Pixels whose mean luminance over the sphere is 1."""
    with OpenEXR.File(str(environment_file(name))) as file:
        channels = file.channels()
        pixels = next(iter(channels.values())).pixels if len(channels) == 1 else np.stack([channels[c].pixels for c in "RGB"], -1)
    pixels = without_overshoot(pixels[..., :3].astype(np.float32))
    pixels = cv2.resize(pixels, (1024, 512), interpolation=cv2.INTER_LINEAR)
    return pixels / float(mean_radiance(pixels) @ LUMINANCE)


def without_overshoot(pixels):
    """Lossy compression leaves negative values and one-channel spikes round a sun: what is very bright keeps nearly neutral."""
    pixels = np.clip(pixels, 0, None)
    middle = pixels.mean(-1, keepdims=True)
    return np.where(middle > 8 * np.median(middle) + 4, np.clip(pixels, 0.75 * middle, 1.3 * middle), pixels)


def envmap(pixels, rotation):
    bitmap = mi.Bitmap(np.ascontiguousarray(pixels, np.float32))
    return {"type": "envmap", "bitmap": bitmap, "to_world": transform(rotation), "scale": 1.0}


def environment_rotation(heading_deg, tilt_deg):
    tilt = np.radians(tilt_deg)
    lean = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    return meshes.turned_about_y(heading_deg) @ lean


@dataclass
class Lamp:
    """Direction is from the sphere in world axes; `illuminance` is what a patch facing the lamp receives, unshaded."""
    name: str
    kind: str
    direction: np.ndarray
    distance: float
    radius: float
    colour: np.ndarray
    illuminance: float
    in_frame: bool = False
    gain: np.ndarray = field(default_factory=lambda: np.ones(3))

    def moved(self, rotation):
        return Lamp(self.name, self.kind, rotation @ self.direction, self.distance, self.radius, self.colour, self.illuminance, self.in_frame, self.gain)

    def dimmed(self, gain):
        return Lamp(self.name, self.kind, self.direction, self.distance, self.radius, self.colour, self.illuminance, self.in_frame, self.gain * gain)

    def place(self, target):
        return np.asarray(target) + self.direction * self.distance

    def solid_angle(self):
        ratio = self.radius / self.distance
        return 4 * ratio ** 2 if self.kind == "panel" else np.pi * ratio ** 2

    def radiance(self):
        colour = self.colour / (self.colour @ LUMINANCE)
        return colour * self.gain * self.illuminance / self.solid_angle()


def emitting(lamp):
    return {"type": "area", "radiance": {"type": "rgb", "value": [float(v) for v in lamp.radiance()]}}


def facing(direction):
    """Rotation whose third column is the direction back to the target."""
    back = -np.asarray(direction)
    side = np.cross([0, 1, 0], back)
    side = side / np.linalg.norm(side) if np.linalg.norm(side) > 1e-6 else np.array([1.0, 0, 0])
    return np.stack([side, np.cross(back, side), back], 1)


def face_mesh(lamp, target):
    rotation, place = facing(lamp.direction), lamp.place(target)
    if lamp.kind == "panel":
        return meshes.quad([-lamp.radius, -lamp.radius, 0], [2 * lamp.radius, 0, 0], [0, 2 * lamp.radius, 0]).moved(rotation, place)
    rim = np.linspace(0, 2 * np.pi, 49)
    points = np.concatenate([[[0, 0, 0]], np.stack([np.cos(rim), np.sin(rim), 0 * rim], -1) * lamp.radius])
    index = np.arange(1, 49)
    faces = np.stack([0 * index, index, index + 1], 1)
    flat = meshes.Mesh(points, np.tile([0.0, 0, 1], (len(points), 1)), points[:, :2], faces)
    return flat.moved(rotation, place)


def housing_mesh(lamp, target):
    """Body behind the lit face, and a stand down to the floor."""
    rotation, place = facing(lamp.direction), lamp.place(target)
    size = lamp.radius * (1.06 if lamp.kind == "panel" else 1.15)
    depth = 0.05 if lamp.kind == "panel" else lamp.radius * 2.2
    if lamp.kind == "panel":
        body = meshes.box([-size, -size, -depth], [size, size, -0.012])
    else:
        body = meshes.lathe([(0.001, -depth), (size, -depth), (size, 0.02), (size * 0.96, 0.02), (size * 0.96, -0.012), (0.001, -0.012)], 32)
        body = body.moved(np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]]))
    parts = [body.moved(rotation, place)]
    foot = place - rotation[:, 2] * (depth + 0.03)
    if foot[1] > 0.3:
        base = np.array([foot[0], 0.0, foot[2]])
        parts.append(meshes.capsule(base + [0, 0.25, 0], foot, 0.016))
        for turn in (20, 140, 260):
            parts.append(meshes.capsule(base + [0, 0.3, 0], base + meshes.turned_about_y(turn) @ [0.45, 0.01, 0], 0.011))
    return meshes.merged(parts)


def draw_lamp(rng, name, kind, direction, distance):
    if kind == "sun":
        return Lamp(name, kind, direction, 45.0, 45.0 * np.tan(np.radians(rng.uniform(0.27, 0.5))), np.array([1.0, rng.uniform(0.82, 0.97), rng.uniform(0.6, 0.9)]), rng.uniform(3, 9))
    radius = rng.uniform(0.2, 0.65) if kind == "panel" else rng.uniform(0.06, 0.16)
    warm = rng.choice([0.45, 0.62, 1.0, 1.25])
    colour = np.array([1.0, 0.5 + 0.5 * min(1, warm), warm]) * np.exp(rng.normal(0, 0.04, 3))
    return Lamp(name, kind, direction, distance, radius, colour, rng.uniform(1.2, 6))
