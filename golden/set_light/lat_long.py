"""Lat-long pictures: two conventions, sums over directions, and how two of them differ."""

import numpy as np
import OpenEXR

LUMINANCE = np.array([0.21263901, 0.71516868, 0.07219232])  # IEC 61966-2-1 primaries, D65


def read(path):
    """RGB as float64, alpha (1 where the file has none), and the header."""
    with OpenEXR.File(str(path), separate_channels=True) as file:
        planes, header = file.channels(), dict(file.header())
        rgb = np.stack([planes[name].pixels.astype(np.float64) for name in "RGB"], -1)
        alpha = planes["A"].pixels.astype(np.float64) if "A" in planes else np.ones(rgb.shape[:2])
    return rgb, alpha, header


def patch_directions(height, width):
    """Pixels as patches that cover the sphere: azimuth 180 - 360 (u + 0.5) / W, elevation 90 - 180 (v + 0.5) / H."""
    lon = np.pi - 2 * np.pi * (np.arange(width) + 0.5) / width
    lat = np.pi / 2 - np.pi * (np.arange(height) + 0.5) / height
    lon, lat = np.meshgrid(lon, lat)
    return np.stack([np.sin(lon) * np.cos(lat), np.sin(lat), np.cos(lon) * np.cos(lat)], -1)


def patch_steradian(height, width):
    edges = np.cos(np.pi * np.arange(height + 1) / height)
    return np.repeat((2 * np.pi / width * (edges[:-1] - edges[1:]))[:, None], width, 1)


def look_up(picture, directions, openexr):
    """Bilinear values of a picture in directions; `openexr`: edges are shared as the `envmap` attribute says."""
    height, width = picture.shape[:2]
    lon = np.arctan2(directions[..., 0], directions[..., 2])
    lat = np.arctan2(directions[..., 1], np.hypot(directions[..., 0], directions[..., 2]))
    across, down = 0.5 - lon / (2 * np.pi), 0.5 - lat / np.pi
    if openexr:
        x, y, period = across * (width - 1), down * (height - 1), width - 1
    else:
        x, y, period = across * width - 0.5, down * height - 0.5, width
    x0, y0 = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = (x - x0)[..., None], (y - y0)[..., None]
    row = lambda r: np.clip(r, 0, height - 1)
    at = lambda c, r: picture[row(r), np.mod(c, period)]
    top = at(x0, y0) * (1 - fx) + at(x0 + 1, y0) * fx
    return top * (1 - fy) + (at(x0, y0 + 1) * (1 - fx) + at(x0 + 1, y0 + 1) * fx) * fy


def key_fill_ratio(rgb, directions, steradian, towards_camera):
    """Largest over smallest illuminance of a matt patch within 75 degrees of the line to the camera."""
    light = (rgb @ LUMINANCE * steradian).ravel()
    flat = directions.reshape(-1, 3)
    t = np.asarray(towards_camera)
    u = np.cross(t, [0, 1, 0])
    u /= np.linalg.norm(u)
    v = np.cross(t, u)
    received = []
    for angle in np.radians(np.arange(0, 75.1, 5)):
        for turn in np.linspace(0, 2 * np.pi, max(1, int(np.sin(angle) * 36)), endpoint=False):
            normal = t * np.cos(angle) + np.sin(angle) * (u * np.cos(turn) + v * np.sin(turn))
            received.append(np.maximum(flat @ normal, 0) @ light)
    return max(received) / min(received)


def light_at(rgb, directions, steradian, towards, radius_deg):
    """Direction and illuminance of what stands out of its surroundings near a direction. The direction is the middle of a
    smooth window that follows it, so that a neighbour at the window's edge counts little."""
    luminance, middle = rgb @ LUMINANCE, np.asarray(towards)
    cosine = directions @ middle
    near = cosine > np.cos(np.radians(radius_deg + 5))
    ring = (cosine > np.cos(np.radians(radius_deg + 10))) & ~near
    above = (luminance - np.median(luminance[ring])) * steradian
    spread = np.radians(0.5 * radius_deg + 1.5)
    for _ in range(20):
        window = np.exp((directions @ middle - 1) / spread**2)
        middle = (directions * (above * window)[..., None]).sum((0, 1))
        middle /= np.linalg.norm(middle)
    return middle, (above * near * np.maximum(cosine, 0)).sum()


def degrees_between(a, b):
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), np.dot(a, b))))


def differences(ours, truth, seen, key, towards_camera):
    """Ours minus truth, both RGB pictures of one size in camera axes: key direction in degrees, and stops of the key, of
    the mean light of the directions `seen`, and of key over fill."""
    directions = patch_directions(*ours.shape[:2])
    steradian = patch_steradian(*ours.shape[:2])
    near = [light_at(side, directions, steradian, *key) for side in (ours, truth)]
    mean = [(side @ LUMINANCE * steradian * seen).sum() for side in (ours, truth)]
    ratio = [key_fill_ratio(side, directions, steradian, towards_camera) for side in (ours, truth)]
    return {
        "key_deg": degrees_between(near[0][0], near[1][0]),
        "key_stops": float(np.log2(near[0][1] / near[1][1])),
        "exposure_stops": float(np.log2(mean[0] / mean[1])),
        "key_fill_stops": float(np.log2(ratio[0] / ratio[1])),
    }
