"""Pinhole cameras, the outline that a sphere draws, and the exact reflection on it.

Axes everywhere: x to frame right, y up the frame, z from the scene towards the camera, camera at the origin.
Pixels count from the outer corner of the display window's top-left pixel; a pixel's centre is at +0.5.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Camera:
    """A pinhole camera whose principal point is the middle of its frame."""

    width: int
    height: int
    focal_mm: float
    used_width_mm: float

    @staticmethod
    def from_fov(width, height, fov_deg, used_width_mm=24.0):
        """The focal length is rounded to a micrometre; the field of view follows from the rounded one."""
        focal = round(used_width_mm / 2 / np.tan(np.radians(fov_deg) / 2), 3)
        return Camera(width, height, focal, used_width_mm)

    @property
    def focal_px(self):
        return self.focal_mm / self.used_width_mm * self.width

    @property
    def fov_deg(self):
        return float(2 * np.degrees(np.arctan(self.used_width_mm / 2 / self.focal_mm)))

    def rays(self, x_px, y_px):
        """Unit vectors from the camera through points of the frame."""
        x = (np.asarray(x_px) - self.width / 2) / self.focal_px
        y = (self.height / 2 - np.asarray(y_px)) / self.focal_px
        d = np.stack([x, y, -np.ones_like(x)], -1)
        return d / np.linalg.norm(d, axis=-1, keepdims=True)

    def project(self, d):
        return np.array([self.width / 2 - d[0] / d[2] * self.focal_px, self.height / 2 + d[1] / d[2] * self.focal_px])


@dataclass(frozen=True)
class Sphere:
    """A sphere given by the cone of rays that touch it, and its distance in millimetres."""

    axis: tuple
    half_angle_rad: float
    distance_mm: float = 3000.0

    @staticmethod
    def at_pixel(camera, axis_px, mean_radius_px, distance_mm=3000.0):
        """The sphere whose axis meets the frame at `axis_px` and whose outline has the given mean radius."""
        axis = camera.rays(*map(np.float64, axis_px))
        low, high = 1e-4, 0.6
        for _ in range(80):
            middle = (low + high) / 2
            _, _, a, b, _ = outline(camera, Sphere(tuple(axis), middle))
            low, high = (middle, high) if (a * b) ** 0.5 < mean_radius_px else (low, middle)
        return Sphere(tuple(float(v) for v in axis), (low + high) / 2, distance_mm)

    @property
    def centre_mm(self):
        return np.array(self.axis) * self.distance_mm

    @property
    def radius_mm(self):
        return self.distance_mm * np.sin(self.half_angle_rad)


def direction(azimuth_deg, elevation_deg):
    az, el = np.radians(azimuth_deg), np.radians(elevation_deg)
    return np.array([np.sin(az) * np.cos(el), np.sin(el), np.cos(az) * np.cos(el)])


def angles(d):
    """Azimuth and elevation in degrees of a unit vector."""
    return float(np.degrees(np.arctan2(d[0], d[2]))), float(np.degrees(np.arcsin(np.clip(d[1], -1, 1))))


def angle_between_deg(a, b):
    """Great-circle angle; the arctangent form keeps its digits for small angles."""
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), np.dot(a, b))))


def outline(camera, sphere):
    """Closed form: the cone (d.axis)^2 = cos^2(alpha) d.d with d linear in the pixel is a conic, here an ellipse.

    Returns [centre x, centre y, semi-axis a, semi-axis b, angle in degrees from +x towards +y down the frame].
    """
    axis, f = np.array(sphere.axis), camera.focal_px
    quadric = np.outer(axis, axis) - np.cos(sphere.half_angle_rad) ** 2 * np.eye(3)
    to_ray = np.array([[1 / f, 0, -camera.width / 2 / f], [0, -1 / f, camera.height / 2 / f], [0, 0, -1]])
    conic = to_ray.T @ quadric @ to_ray
    centre = -np.linalg.solve(conic[:2, :2], conic[:2, 2])
    constant = conic[2, 2] + conic[:2, 2] @ centre
    values, vectors = np.linalg.eigh(conic[:2, :2] / -constant)
    major = int(np.argmin(values))
    angle = np.degrees(np.arctan2(vectors[1, major], vectors[0, major]))
    angle = angle - 180 if angle > 90 else angle + 180 if angle <= -90 else angle
    a, b = values[major] ** -0.5, values[1 - major] ** -0.5
    if (a - b) < 1e-9 * a:
        angle = 0.0
    return [float(v) for v in (*centre, a, b, angle)]


def reflect(camera, sphere, x_px, y_px):
    """Direction that each point of the frame sees in the sphere, and whether the point is on the sphere at all."""
    d, c = camera.rays(x_px, y_px), sphere.centre_mm
    along = d @ c
    inside = along**2 - (c @ c - sphere.radius_mm**2)
    t = along - np.sqrt(np.maximum(inside, 0))
    n = (d * t[..., None] - c) / sphere.radius_mm
    return d - 2 * np.sum(d * n, -1, keepdims=True) * n, inside > 0


def seen_at(camera, sphere, towards):
    """The pixel in which the sphere shows a direction: Newton steps on the closed form, from the halfway normal."""
    half = towards - np.array(sphere.axis)
    point = sphere.centre_mm + sphere.radius_mm * half / np.linalg.norm(half)
    for _ in range(60):
        view = -point / np.linalg.norm(point)
        half = view + towards
        point = sphere.centre_mm + sphere.radius_mm * half / np.linalg.norm(half)
    return camera.project(point)


def normalised_radius(ellipse, point):
    cx, cy, a, b, angle = ellipse
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    dx, dy = point[0] - cx, point[1] - cy
    return float(np.hypot((dx * c + dy * s) / a, (dy * c - dx * s) / b))


def degrees_per_px(camera, sphere, point):
    """Largest turn of the seen direction for a step of one pixel, from a step of 0.02 px; near the rim it is large."""

    def seen(dx, dy):
        return reflect(camera, sphere, np.array(point[0] + dx), np.array(point[1] + dy))[0]

    step = 0.01
    jx = (seen(step, 0) - seen(-step, 0)) / (2 * step)
    jy = (seen(0, step) - seen(0, -step)) / (2 * step)
    return float(np.degrees(np.linalg.svd(np.stack([jx, jy]))[1][0]))


def cap_points(axis, radius_rad, count):
    """Equal-area points of a cap (golden-angle spiral)."""
    k = np.arange(count) + 0.5
    z = 1 - (1 - np.cos(radius_rad)) * k / count
    r, phi = np.sqrt(1 - z * z), k * np.pi * (3 - 5**0.5)
    return np.stack([r * np.cos(phi), r * np.sin(phi), z], -1) @ frame_of(axis)


def frame_of(axis):
    """Rows: two unit vectors across `axis`, then `axis`."""
    axis = np.asarray(axis) / np.linalg.norm(axis)
    seed = np.eye(3)[int(np.argmin(np.abs(axis)))]
    u = np.cross(seed, axis)
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(axis, u), axis])
