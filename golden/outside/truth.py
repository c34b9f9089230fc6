"""What is true of a shot, from how it was built and from the surroundings; no pixel of a sphere is read."""

import numpy as np

import cg
import light
import render
import view as views


def hidden_rim(built, scene, ellipse):
    """Part of the outline that something covers or that lies outside the frame."""
    points = views.rim_points(ellipse, 720, 0.993)
    origins, directions = views.rays(built.view, points)
    _, names = render.hits(scene, origins, directions)
    outside = (points < 0).any(1) | (points[:, 0] > built.view.width) | (points[:, 1] > built.view.height)
    seen = np.array([n in ("sphere_mirror", "sphere_seam") for n in names]) & ~outside
    return float(1 - seen.mean()), float(outside.mean())


def angles(direction):
    x, y, z = direction
    return float(np.degrees(np.arctan2(x, z))), float(np.degrees(np.arcsin(np.clip(y, -1, 1))))


def lamp_truth(built, lamps, scene, unit):
    found = []
    for lamp in lamps:
        seen = visible_part(built, lamp, scene)
        azimuth, elevation = angles(built.view.rotation.T @ lamp.direction)
        found.append({
            "name": lamp.name, "kind": lamp.kind, "azimuth_deg": azimuth, "elevation_deg": elevation,
            "angular_radius_deg": float(np.degrees(np.arctan(lamp.radius / lamp.distance))), "distance_m": float(lamp.distance),
            "visible_part": seen, "illuminance": float(lamp.radiance() * unit @ light.LUMINANCE * lamp.solid_angle() * seen),
        })
    return found


def visible_part(built, lamp, scene):
    """Seen from the sphere's centre: how much of the lamp's face nothing stands in front of."""
    rng = np.random.default_rng(1)
    flat = rng.uniform(-0.95, 0.95, (400, 2))
    if lamp.kind != "panel":
        flat = flat[np.hypot(*flat.T) < 0.95]
    rotation = light.facing(lamp.direction)
    spots = lamp.place(built.target) + lamp.radius * (flat @ rotation[:, :2].T)
    toward = spots - built.target
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    _, names = render.hits(scene, np.tile(built.target, (len(toward), 1)), toward)
    return float(np.mean([n == f"lamp_{lamp.name}" for n in names]))


def cg_truth(built, error):
    """Known by construction; None where the error changes the quantity by an amount to be computed from the two surroundings."""
    kind = error["kind"]
    result = {"rotation_deg": 0.0, "exposure_stops": 0.0, "key_direction_error_deg": 0.0, "colour_gain": [1.0, 1.0, 1.0]}
    if kind == "environment_turned":
        result |= {"rotation_deg": error["turn_deg"], "key_direction_error_deg": None}
    if kind == "gain":
        result["exposure_stops"] = error["stops"]
    if kind == "colour":
        result |= {"colour_gain": error["gain"], "exposure_stops": 0.0}
    if kind == "key_moved":
        lamp = next(lamp for lamp in built.lamps if lamp.name == error["lamp"])
        cosine = np.clip(lamp.direction @ cg.moved_direction(lamp, error), -1, 1)
        result |= {"key_direction_error_deg": float(np.degrees(np.arccos(cosine))), "rotation_deg": None, "exposure_stops": None, "colour_gain": None}
    if kind in ("lamp_gain", "missing_light", "extra_light", "clipped_environment"):
        result |= {"exposure_stops": None, "colour_gain": None, "key_direction_error_deg": None}
    if kind == "display_encoded":
        result |= {"exposure_stops": None, "colour_gain": None}
    if kind in ("flopped", "upside_down"):
        result |= {"rotation_deg": None, "key_direction_error_deg": None, "exposure_stops": None, "colour_gain": None}
    return result


def halved(pixels):
    """512 x 256 down to 256 x 128, weighted by solid angle."""
    weights = light.solid_angles(*pixels.shape[:2])[..., None]
    def blocks(a):
        return a.reshape(a.shape[0] // 2, 2, a.shape[1] // 2, 2, -1).sum((1, 3))
    return blocks(pixels * weights) / blocks(weights)
