"""The pinhole: where the camera stands, what it looks at, and the exact outline of a sphere in its picture."""

from dataclasses import dataclass

import numpy as np

import meshes


@dataclass
class View:
    """Camera axes: x right, y up, z from the scene towards the camera. `rotation` takes them to world axes."""
    width: int
    height: int
    focal: float
    position: np.ndarray
    rotation: np.ndarray

    def to_camera(self, point):
        return self.rotation.T @ (np.asarray(point) - self.position)

    def pixel(self, point):
        x, y, z = self.to_camera(point)
        return np.array([self.width / 2 + self.focal * x / -z, self.height / 2 - self.focal * y / -z])

    def resized(self, scale):
        return View(int(round(self.width * scale)), int(round(self.height * scale)), self.focal * scale, self.position, self.rotation)


def turn(yaw, pitch, roll):
    about_x = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
    about_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    return meshes.turned_about_y(np.degrees(yaw)) @ about_x @ about_z


def place(recipe, target):
    """Stands the camera at the wanted distance and turns it until the sphere's centre falls on the wanted pixel."""
    focal = recipe.width / 2 / np.tan(np.radians(recipe.fov_deg) / 2)
    lowest = np.degrees(np.arcsin(np.clip((0.16 - target[1]) / recipe.distance, -0.9, 0.9)))
    elevation = np.radians(max(recipe.camera_elevation_deg, lowest))
    position = target + recipe.distance * np.array([0, np.sin(elevation), np.cos(elevation)])
    yaw, pitch = 0.0, -elevation
    for _ in range(40):
        view = View(recipe.width, recipe.height, focal, position, turn(yaw, pitch, np.radians(recipe.camera_roll_deg)))
        miss = view.pixel(target) - recipe.centre_px
        yaw, pitch = yaw - miss[0] / focal * 0.8, pitch - miss[1] / focal * 0.8
    return view


def outline(view, centre, radius):
    """Silhouette ellipse [cx, cy, a, b, angle_deg]: the cone of tangent rays cut by the picture plane, in closed form."""
    c = view.to_camera(centre)
    distance = np.linalg.norm(c)
    half = np.arcsin(radius / distance)
    off = np.arccos(-c[2] / distance)
    k = np.cos(off) ** 2 - np.sin(half) ** 2
    along = view.focal * np.sin(half) * np.cos(half) / k
    across = view.focal * np.sin(half) / np.sqrt(k)
    shift = view.focal * np.sin(off) * np.cos(off) / k
    heading = np.arctan2(-c[1], c[0])
    x = view.width / 2 + shift * np.cos(heading)
    y = view.height / 2 + shift * np.sin(heading)
    return [float(v) for v in (x, y, along, across, np.degrees(heading) % 180)]


def rim_points(ellipse, count, scale=1.0):
    x, y, a, b, angle = ellipse
    t, turn_by = np.linspace(0, 2 * np.pi, count, endpoint=False), np.radians(angle)
    u, v = scale * a * np.cos(t), scale * b * np.sin(t)
    return np.stack([x + u * np.cos(turn_by) - v * np.sin(turn_by), y + u * np.sin(turn_by) + v * np.cos(turn_by)], 1)


def rays(view, points):
    away = np.stack([(points[:, 0] - view.width / 2) / view.focal, (view.height / 2 - points[:, 1]) / view.focal, -np.ones(len(points))], 1)
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    return np.tile(view.position, (len(points), 1)), away @ view.rotation.T
