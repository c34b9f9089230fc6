"""What must come out, integrated from the surroundings themselves; no rendered pixel is read here.

Definitions are the project's: errors are CG minus plate side; see README.md for each one.
"""

import warnings

import numpy as np
from scipy import sparse

import geometry as geo
from environment import HEIGHT, LUMINANCE, WIDTH, row_solid_angles

TOLERANCE = {"direction_deg": 5.0, "key_fill_stops": 0.33, "exposure_stops": 0.25, "colour_stops": 0.1, "mired": 20.0}
CAP_DEG = 75.0
CO_KEY_STOPS = 1 / 3
LIGHT_MARGIN_DEG = 8.0
BLUR_SIGMA_DEG = 2.5  # Gaussian; full width at half maximum 5.9 degrees

COARSE_W, COARSE_H = 256, 128


class Soft:
    """The soft part in 256 x 128 blocks: mean radiance by exact solid angle, for integrals that have no hard edge."""

    def __init__(self, picture):
        k = WIDTH // COARSE_W
        omega = row_solid_angles().reshape(COARSE_H, k)
        blocks = picture.reshape(COARSE_H, k, COARSE_W, k, 3).mean(3, dtype=np.float64)
        mean = np.einsum("rk,rkcl->rcl", omega, blocks) / omega.sum(1)[:, None, None]
        self.radiance = mean.reshape(-1, 3)
        self.omega = np.repeat(omega.sum(1) * k, COARSE_W)
        el = np.pi / 2 - np.pi * (np.arange(COARSE_H) + 0.5) / COARSE_H
        az = np.pi - 2 * np.pi * (np.arange(COARSE_W) + 0.5) / COARSE_W
        self.towards = np.stack(
            [
                np.outer(np.cos(el), np.sin(az)),
                np.repeat(np.sin(el), COARSE_W).reshape(COARSE_H, -1),
                np.outer(np.cos(el), np.cos(az)),
            ],
            -1,
        ).reshape(-1, 3)

    def outside(self, lights, margin_deg):
        keep = np.ones(len(self.omega), bool)
        for light in lights:
            keep &= self.towards @ light.towards < np.cos(np.radians(light.radius_deg + margin_deg))
        return keep


def patch_rgb(soft, lights, normals, chunk=64):
    """Irradiance (RGB) of small matte patches with the given normals."""
    flux = (soft.radiance * (soft.omega * soft.outside(lights, 0.0))[:, None]).astype(np.float64)
    parts = [np.maximum(normals[i : i + chunk] @ soft.towards.T, 0) @ flux for i in range(0, len(normals), chunk)]
    total = np.concatenate(parts)
    for light in lights:
        points = geo.cap_points(light.towards, np.radians(light.radius_deg), 1500)
        omega = 2 * np.pi * (1 - np.cos(np.radians(light.radius_deg)))
        total += np.maximum(normals @ points.T, 0).mean(1)[:, None] * omega * light.radiance
    return total


def cap_normals(axis, count=900, rim=180):
    u, v, w = geo.frame_of(axis)
    phi = np.linspace(0, 2 * np.pi, rim, endpoint=False)[:, None]
    cap = np.radians(CAP_DEG)
    ring = np.sin(cap) * (np.cos(phi) * u + np.sin(phi) * v) + np.cos(cap) * w
    return np.concatenate([geo.cap_points(axis, cap, count), ring]), count


def extreme_normals(soft, lights, to_camera):
    """Normals of most and least illuminance within the cap: a coarse search, then a finer one round each extreme."""
    normals, _ = cap_normals(to_camera)
    light_on = patch_rgb(soft, lights, normals) @ LUMINANCE
    found = []
    for sign in (1, -1):
        start = normals[np.argmax(sign * light_on)]
        near = geo.cap_points(start, np.radians(4), 250)
        near = near[near @ to_camera >= np.cos(np.radians(CAP_DEG)) - 1e-12]
        near = np.concatenate([[start], near])
        values = patch_rgb(soft, lights, near) @ LUMINANCE
        found.append(near[np.argmax(sign * values)])
    return found


class Side:
    """One side of a shot: its surroundings and where its sphere stands."""

    def __init__(self, surroundings, soft_picture, sphere):
        self.lights, self.sphere = surroundings.lights, sphere
        self.soft = Soft(soft_picture)
        self.to_camera = -np.array(sphere.axis)
        self.extremes = extreme_normals(self.soft, self.lights, self.to_camera)
        self.extreme_illuminance = self.patches(self.extremes)

    def patches(self, normals):
        return patch_rgb(self.soft, self.lights, np.array(normals)) @ LUMINANCE

    @property
    def ratio(self):
        return float(self.extreme_illuminance[0] / self.extreme_illuminance[1])

    def ordered(self):
        return sorted(self.lights, key=lambda light: -light.illuminance)

    @property
    def single_key(self):
        lights = self.ordered()
        return len(lights) < 2 or bool(np.log2(lights[0].illuminance / lights[1].illuminance) > CO_KEY_STOPS)

    def light_share(self, name):
        """A light's part of the illuminance on the plane that faces it."""
        light = next(l for l in self.lights if l.name == name)
        return light.illuminance / float(self.patches([light.towards])[0])

    def sees(self):
        """Directions not behind the sphere."""
        return self.soft.towards @ np.array(self.sphere.axis) < np.cos(self.sphere.half_angle_rad)

    def mean_rgb(self):
        """Solid-angle-weighted mean over all directions but the blind cone, lights included."""
        keep = self.sees() & self.soft.outside(self.lights, 0.0)
        total = (self.soft.radiance * (self.soft.omega * keep)[:, None]).sum(0)
        for light in self.lights:
            total += light.radiance * 2 * np.pi * (1 - np.cos(np.radians(light.radius_deg)))
        return total / self.soft.omega[self.sees()].sum()


def light_entry(light, side, camera):
    point = geo.seen_at(camera, side.sphere, light.towards)
    back, _ = geo.reflect(camera, side.sphere, np.array(point[0]), np.array(point[1]))
    assert geo.angle_between_deg(back, light.towards) < 1e-3, "the seen pixel must reflect to the light"
    azimuth, elevation = geo.angles(light.towards)
    return {
        "name": light.name,
        "azimuth_deg": azimuth,
        "elevation_deg": elevation,
        "angular_radius_deg": light.radius_deg,
        "illuminance": light.illuminance,
        "share": side.light_share(light.name),
        "radiance_rgb": [float(v) for v in light.radiance],
        "cct_kelvin": cct(light.radiance)[0],
        "duv": cct(light.radiance)[1],
        "from_camera_direction_deg": geo.angle_between_deg(light.towards, side.to_camera),
        "seen_at_px": [float(v) for v in point],
        "normalised_radius": geo.normalised_radius(geo.outline(camera, side.sphere), point),
        "degrees_per_px": geo.degrees_per_px(camera, side.sphere, point),
    }


def cct(rgb):
    """CCT and Duv of a linear BT.709 colour by Ohno 2013 (colour-science); (None, None) too far from the locus."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        xyz = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ @ (np.array(rgb) / np.sum(rgb))
        uv = colour.UCS_to_uv(colour.XYZ_to_UCS(xyz))
        kelvin, duv = (float(v) for v in colour.temperature.uv_to_CCT_Ohno2013(uv))
    return (kelvin, duv) if 1000 < kelvin < 25000 and abs(duv) < 0.05 else (None, None)


def colour_error(cg, mirror):
    cg, mirror = np.array(cg), np.array(mirror)
    stops = np.log2(cg / mirror)
    gain = mirror / cg
    (t_cg, duv_cg), (t_m, duv_m) = cct(cg), cct(mirror)
    result = {
        "red_green_stops": float(stops[0] - stops[1]),
        "blue_green_stops": float(stops[2] - stops[1]),
        "gain_rgb": [float(v) for v in gain / gain[1]],
        "channel_stops": [float(v) for v in np.log2((cg / (LUMINANCE @ cg)) / (mirror / (LUMINANCE @ mirror)))],
    }
    if t_cg and t_m:
        result["mired_error"] = 1e6 / t_cg - 1e6 / t_m
        result["duv_error"] = duv_cg - duv_m
    return result


def blur_matrix(soft, kept):
    """Rows: 4096 equal-area directions; weights of the kept blocks round each, Gaussian in angle."""
    targets = geo.cap_points(np.array([0, 1.0, 0]), np.pi, 4096)
    reach = np.cos(np.radians(4 * BLUR_SIGMA_DEG))
    index = np.flatnonzero(kept)
    rows = []
    for start in range(0, len(targets), 256):
        dot = targets[start : start + 256] @ soft.towards[index].T
        weight = np.where(dot > reach, np.exp((dot - 1) / np.radians(BLUR_SIGMA_DEG) ** 2), 0) * soft.omega[index]
        rows.append(sparse.csr_matrix(weight))
    return targets, index, sparse.vstack(rows)


def exposure_error(mirror, cg, cg_soft=None):
    """Median over directions of log2 CG / mirror luminance, lights (plus 8 degrees) and blind cones left out."""
    cg_soft = cg_soft or cg.soft
    lights = [*mirror.lights, *cg.lights]
    kept = mirror.soft.outside(lights, LIGHT_MARGIN_DEG) & mirror.sees() & cg.sees()
    targets, index, weights = blur_matrix(mirror.soft, kept)
    norm = np.asarray(weights.sum(1)).ravel()
    usable = norm > 0
    sides = [np.asarray(weights @ (s.radiance[index] @ LUMINANCE)).ravel()[usable] for s in (mirror.soft, cg_soft)]
    fraction = mirror.soft.omega[kept].sum() / (4 * np.pi)
    return float(np.median(np.log2(sides[1] / sides[0]))), float(fraction)


def pair_lights(mirror, cg):
    """By name, which is by construction; pairs more than 30 degrees apart count as missing and extra."""
    pairs, missing = [], []
    others = {light.name: light for light in cg.lights}
    for light in mirror.lights:
        other = others.get(light.name)
        angle = other and geo.angle_between_deg(light.towards, other.towards)
        if other is None or angle > 30:
            missing.append(light.name)
            continue
        del others[light.name]
        az_m, el_m = geo.angles(light.towards)
        az_c, el_c = geo.angles(other.towards)
        pairs.append(
            {
                "name": light.name,
                "error_deg": angle,
                "azimuth_error_deg": float((az_c - az_m + 180) % 360 - 180),
                "elevation_error_deg": el_c - el_m,
                "illuminance_error_stops": float(np.log2(other.illuminance / light.illuminance)),
            }
        )
    return pairs, missing, sorted(others)


def verdict(value, tolerance):
    a = abs(value)
    return "match" if a < tolerance / 2 else "mismatch" if a > 2 * tolerance else "either"


def worst(verdicts):
    """`not-mismatch` may end as unsure, so with it a shot is `either`."""
    for word in ("mismatch", "unsure", "either", "not-mismatch", "match"):
        if word in verdicts:
            return "either" if word == "not-mismatch" else word


def direction_verdict(angle, unpaired_shares):
    verdicts = [verdict(angle, TOLERANCE["direction_deg"])]
    verdicts += ["mismatch" if s > 0.2 else "match" if s < 0.05 else "either" for s in unpaired_shares]
    return worst(verdicts)


def colour_verdict(part):
    verdicts = [
        verdict(max(abs(v) for v in (part["red_green_stops"], part["blue_green_stops"])), TOLERANCE["colour_stops"])
    ]
    if "mired_error" in part:
        verdicts.append(verdict(part["mired_error"], TOLERANCE["mired"]))
    return worst(verdicts)
