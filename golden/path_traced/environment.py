"""Surroundings as latitude-longitude pictures: a soft coloured ambience with texture, and hard-edged round lights.

Column u of W looks at azimuth 180 - 360 (u + 0.5) / W degrees, row v of H at elevation 90 - 180 (v + 0.5) / H. That
is how mitsuba 3.9.1 reads an `envmap` without a transform, measured by `make_shots.py --check-orientation`.
"""

from dataclasses import dataclass, replace

import numpy as np

from geometry import direction

WIDTH, HEIGHT = 4096, 2048
LUMINANCE = np.array([0.2126390059, 0.7151686788, 0.0721923154])  # BT.709 primaries and D65 white (BT.709-6, derived)


@dataclass(frozen=True)
class Light:
    """A uniform disc at infinity. `illuminance` is what a facing plane receives: pi x luminance x sin^2 radius."""

    name: str
    azimuth_deg: float
    elevation_deg: float
    radius_deg: float
    illuminance: float
    tint: tuple = (1.0, 1.0, 1.0)

    @property
    def towards(self):
        return direction(self.azimuth_deg, self.elevation_deg)

    @property
    def radiance(self):
        tint = np.array(self.tint) / (LUMINANCE @ self.tint)
        return self.illuminance / (np.pi * np.sin(np.radians(self.radius_deg)) ** 2) * tint

    def moved(self, azimuth_deg=0.0, elevation_deg=0.0):
        return replace(
            self, azimuth_deg=self.azimuth_deg + azimuth_deg, elevation_deg=self.elevation_deg + elevation_deg
        )

    def scaled(self, gains):
        """Multiplied per channel; the illuminance follows."""
        radiance = self.radiance * gains
        area = np.pi * np.sin(np.radians(self.radius_deg)) ** 2
        return replace(self, illuminance=float(LUMINANCE @ radiance * area), tint=tuple(float(v) for v in radiance))


@dataclass(frozen=True)
class Ambience:
    """Recipe of the soft part: colours by elevation, broad blobs (azimuth, elevation, width, colour), texture seed."""

    name: str
    ground: tuple
    horizon: tuple
    sky: tuple
    blobs: tuple
    seed: int
    contrast: float = 0.55


AMBIENCES = {
    a.name: a
    for a in (
        Ambience(
            "deck_dusk",
            (0.10, 0.09, 0.085),
            (0.34, 0.27, 0.22),
            (0.17, 0.22, 0.33),
            ((-70, 12, 35, (0.20, 0.13, 0.07)), (120, 25, 45, (0.05, 0.08, 0.13))),
            11,
        ),
        Ambience(
            "salt_hall",
            (0.30, 0.29, 0.27),
            (0.24, 0.24, 0.24),
            (0.16, 0.15, 0.14),
            ((30, -20, 40, (0.15, 0.15, 0.14)), (-150, 40, 30, (0.16, 0.17, 0.19))),
            23,
        ),
        Ambience(
            "quay",
            (0.16, 0.16, 0.13),
            (0.30, 0.32, 0.33),
            (0.36, 0.40, 0.46),
            ((60, 60, 50, (0.12, 0.12, 0.12)), (-40, -35, 40, (0.05, 0.07, 0.04))),
            37,
        ),
        Ambience(
            "cabin",
            (0.12, 0.10, 0.08),
            (0.22, 0.18, 0.14),
            (0.26, 0.21, 0.16),
            ((150, 0, 40, (0.10, 0.12, 0.16)), (-100, 30, 35, (0.16, 0.10, 0.05))),
            53,
        ),
    )
}

OCTAVES = ((3, 0.50), (8, 0.36), (20, 0.28), (48, 0.24), (110, 0.20), (230, 0.16))  # cells per radian, amplitude


def row_solid_angles(width=WIDTH, height=HEIGHT):
    """Exact solid angle of one pixel of each row."""
    edges = np.cos(np.pi * np.arange(height + 1) / height)
    return 2 * np.pi / width * (edges[:-1] - edges[1:])


def pixel_directions(rows, width=WIDTH, height=HEIGHT):
    az = np.pi - 2 * np.pi * (np.arange(width) + 0.5) / width
    el = np.pi / 2 - np.pi * (np.asarray(rows) + 0.5) / height
    sin_az, cos_az, cos_el = np.sin(az), np.cos(az), np.cos(el)[:, None]
    y = np.broadcast_to(np.sin(el)[:, None], (len(el), width))
    return np.stack([sin_az * cos_el, y, cos_az * cos_el], -1)


def lattice_noise(points, table):
    """Smooth noise of zero mean: random values on a cubic lattice, interpolated by cubic ramps."""
    cell = np.floor(points).astype(np.int32)
    t = (points - cell).astype(np.float32)
    t = t * t * (3 - 2 * t)
    cell &= 63
    total = np.zeros(points.shape[:-1], np.float32)
    for corner in range(8):
        bits = [(corner >> axis) & 1 for axis in range(3)]
        index = [(cell[..., axis] + bits[axis]) & 63 for axis in range(3)]
        weight = np.prod([t[..., i] if bits[i] else 1 - t[..., i] for i in range(3)], axis=0)
        total += weight * table[index[0], index[1], index[2]]
    return total


def ambience_rows(recipe, tables, rows):
    d = pixel_directions(rows)
    up = d[..., 1:2]
    ground, horizon, sky = (np.array(c) for c in (recipe.ground, recipe.horizon, recipe.sky))
    blend = np.clip(np.abs(up) * 1.6, 0, 1) ** 0.7
    colour = horizon + (np.where(up > 0, sky, ground) - horizon) * blend
    for azimuth, elevation, width, rgb in recipe.blobs:
        spread = np.exp((d @ direction(azimuth, elevation) - 1) / np.radians(width) ** 2)
        colour = colour + spread[..., None] * np.array(rgb)
    texture = np.zeros(d.shape[:2], np.float32)
    chroma = np.zeros(d.shape[:2], np.float32)
    for k, (cells, amplitude) in enumerate(OCTAVES):
        noise = lattice_noise(d * cells + 17.3 * k, tables[k])
        texture += amplitude * noise
        if k < 3:
            chroma += amplitude * lattice_noise(d * cells + 5.1 * k + 40, tables[k])
    shade = np.exp(recipe.contrast * texture)[..., None]
    hue = np.exp(0.16 * chroma[..., None] * np.array([1.0, -0.15, -1.0]))
    return (colour * shade * hue).astype(np.float32)


def ambience(name):
    """The soft part at full resolution, float32 H x W x 3."""
    recipe = AMBIENCES[name]
    rng = np.random.default_rng(recipe.seed)
    tables = rng.uniform(-1, 1, (len(OCTAVES), 64, 64, 64)).astype(np.float32)
    step = 128
    return np.concatenate([ambience_rows(recipe, tables, range(v, v + step)) for v in range(0, HEIGHT, step)])


def coverage_of_row(light, v, columns):
    """Share of each pixel of a row inside the disc, from 8 x 8 points."""
    offsets = (np.arange(8) + 0.5) / 8
    el = np.pi / 2 - np.pi * (v + offsets[:, None, None]) / HEIGHT
    az = np.pi - 2 * np.pi * (columns[None, :, None] + offsets[None, None, :]) / WIDTH
    x, y, z = light.towards
    dot = (np.sin(az) * x + np.cos(az) * z) * np.cos(el) + np.sin(el) * y
    return (dot > np.cos(np.radians(light.radius_deg))).mean((0, 2))


def paint_light(picture, light):
    """Replaces what is behind the disc; edge pixels are blended by coverage."""
    margin = light.radius_deg + 0.2
    top = max(0, int((90 - light.elevation_deg - margin) / 180 * HEIGHT))
    bottom = min(HEIGHT, int((90 - light.elevation_deg + margin) / 180 * HEIGHT) + 1)
    for v in range(top, bottom):
        near = pixel_directions([v])[0] @ light.towards > np.cos(np.radians(margin))
        columns = np.flatnonzero(near)
        if len(columns):
            share = coverage_of_row(light, v, columns)[:, None].astype(np.float32)
            picture[v, columns] += share * (light.radiance.astype(np.float32) - picture[v, columns])


@dataclass(frozen=True)
class Surroundings:
    """An ambience times a gain per channel, turned about +y, with lights (already turned and scaled)."""

    ambience: str
    gains: tuple
    lights: tuple
    turned_deg: float = 0.0

    def soft(self, cache):
        """The soft part. Turns must be whole columns so that nothing is resampled."""
        columns = self.turned_deg * WIDTH / 360
        assert columns == round(columns), "a turn must be a whole number of columns"
        return np.roll(cache(self.ambience), -int(columns), axis=1) * np.array(self.gains, np.float32)

    def picture(self, cache):
        picture = self.soft(cache)
        for light in self.lights:
            paint_light(picture, light)
        return picture
