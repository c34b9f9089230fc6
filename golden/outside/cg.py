"""The CG sphere: the same place under right or wrong light, through an ideal camera."""

import numpy as np

import light
import meshes
import render
import spheres
from render import mi

ENVIRONMENT_SIZE = (512, 256)


def draw_error(recipe, built, rng):
    """What is wrong with the CG, as numbers; every one absent that does not apply."""
    sign = float(rng.choice([-1, 1]))
    kind = recipe.cg_error
    error = {"kind": kind}
    if kind == "environment_turned":
        error["turn_deg"] = sign * float(np.exp(rng.uniform(np.log(3), np.log(60))))
    if kind == "gain":
        error["stops"] = sign * float(rng.uniform(0.3, 1.5))
    if kind == "colour":
        gain = np.array([2 ** rng.uniform(0.1, 0.45), 1, 2 ** -rng.uniform(0.1, 0.45)])
        gain = gain if sign > 0 else gain[::-1]
        error["gain"] = (gain / (gain @ light.LUMINANCE)).tolist()
    if kind in ("key_moved", "lamp_gain", "missing_light") and built.lamps:
        error["lamp"] = strongest(built.lamps).name
    if kind == "key_moved":
        error["move_deg"] = sign * float(rng.uniform(8, 30))
        error["about"] = str(rng.choice(["vertical", "level"]))
    if kind == "lamp_gain":
        error["stops"] = sign * float(rng.uniform(0.5, 2))
    if kind == "extra_light":
        error["share"] = float(rng.uniform(0.1, 0.4))
        error["azimuth_deg"], error["elevation_deg"] = float(rng.uniform(-150, 150)), float(rng.uniform(15, 60))
    return error


def strongest(lamps):
    return max(lamps, key=lambda lamp: lamp.illuminance)


def moved_direction(lamp, error):
    if error["about"] == "vertical":
        flat = max(np.hypot(lamp.direction[0], lamp.direction[2]), 0.2)
        return meshes.turned_about_y(min(error["move_deg"] / flat, 60, key=abs)) @ lamp.direction
    axis = np.cross(lamp.direction, [0, 1, 0])
    axis /= np.linalg.norm(axis)
    up = np.cross(axis, lamp.direction)
    angle = np.radians(abs(error["move_deg"]))
    lift = -1 if np.degrees(np.arcsin(lamp.direction[1])) + abs(error["move_deg"]) > 80 else 1
    return lamp.direction * np.cos(angle) + lift * up * np.sin(angle)


def lamps_with(error, built):
    """The CG's lamps, and how far its strongest one is turned from the set's, in degrees."""
    lamps = []
    for lamp in built.lamps:
        wrong = lamp.name == error.get("lamp")
        if wrong and error["kind"] == "missing_light":
            continue
        if wrong and error["kind"] == "lamp_gain":
            lamp = lamp.dimmed(2.0 ** error["stops"])
        if wrong and error["kind"] == "key_moved":
            lamp = light.Lamp(lamp.name, lamp.kind, moved_direction(lamp, error), lamp.distance, lamp.radius, lamp.colour, lamp.illuminance, lamp.in_frame)
        if error["kind"] == "environment_turned":
            lamp = lamp.moved(meshes.turned_about_y(error["turn_deg"]))
        lamps.append(lamp)
    if error["kind"] == "extra_light":
        lamps.append(extra_lamp(error, built))
    return lamps


def extra_lamp(error, built):
    """A panel that adds the wanted share of all the light a patch facing it gets."""
    around = error["irradiance"] if "irradiance" in error else np.pi
    a, e = np.radians([error["azimuth_deg"], error["elevation_deg"]])
    direction = np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])
    return light.Lamp("extra", "panel", direction, 6.0, 0.4, np.ones(3), around * error["share"] / (1 - error["share"]))


def irradiance_on(pixels, normal):
    """Luminance that a patch with this normal receives from a latitude-longitude picture in the same axes."""
    height, width = pixels.shape[:2]
    azimuth = np.pi - (np.arange(width) + 0.5) * 2 * np.pi / width
    elevation = np.pi / 2 - (np.arange(height)[:, None] + 0.5) * np.pi / height
    cosine = normal[0] * np.cos(elevation) * np.sin(azimuth) + normal[1] * np.sin(elevation) + normal[2] * np.cos(elevation) * np.cos(azimuth)
    return float((pixels @ light.LUMINANCE * np.clip(cosine, 0, None) * light.solid_angles(height, width)).sum())


def display_encoded(pixels):
    pixels = np.clip(pixels, 0, 1)
    return np.where(pixels < 0.0031308, 12.92 * pixels, 1.055 * np.maximum(pixels, 1e-9) ** (1 / 2.4) - 0.055)


def baked_pixels(kind, captured, unit):
    """The captured surroundings as the CG uses them; `unit` is plate value per radiance, per channel."""
    if kind == "flopped":
        return captured[:, ::-1]
    if kind == "upside_down":
        return captured[::-1, ::-1]
    if kind == "clipped_environment":
        return np.minimum(captured * unit, 1.0) / unit
    if kind == "display_encoded":
        return display_encoded(captured * unit) / unit
    return captured


def cg_scene(built, error, captured, unit, with_crew, sphere):
    """Scene and whether it is lit by the captured surroundings alone. `sphere` are the sphere's shapes, or none."""
    recipe = built.recipe
    if recipe.cg_baked:
        turn = meshes.turned_about_y(error.get("turn_deg", 0.0)) @ built.view.rotation
        world = light.envmap(baked_pixels(error["kind"], captured, unit), turn)
        return mi.load_dict({"type": "scene", "environment": world, **sphere})
    turn = meshes.turned_about_y(error.get("turn_deg", 0.0))
    groups = ("set", "crew", "camera") if with_crew else ("set",)
    return built.scene(*groups, lamps=lamps_with(error, built), environment_turn=turn, extra=sphere)


def sphere_shapes(built, reflectance):
    material = {"type": "conductor", "material": "Cr"} if built.surface["kind"] == "real_chrome" and reflectance is None else spheres.smooth(built.surface["reflectance"] if reflectance is None else reflectance)
    return {"cg_mirror": spheres.ball(built.target, built.radius, material)}


def shape_of(scene, name):
    return next(s for s in scene.shapes() if s.id() == name)


def pictures(built, error, captured, unit, with_crew, reflectance, view, window, strata, seed):
    """Premultiplied sphere [R, G, B, coverage] in the window, and the CG's own surroundings."""
    scene = cg_scene(built, error, captured, unit, with_crew, sphere_shapes(built, reflectance))
    beauty = render.radiance_of(scene, shape_of(scene, "cg_mirror"), view, window, strata, seed)
    bare = cg_scene(built, error, captured, unit, with_crew, {})
    around = render.surroundings(bare, built.target, built.view.rotation, *ENVIRONMENT_SIZE, (3, 3) if built.recipe.cg_baked or built.recipe.half == "smoke" else (5, 5), seed + 1)
    gain = 2.0 ** error["stops"] if error["kind"] == "gain" else 1.0
    gain = gain * np.array(error.get("gain", [1, 1, 1]), np.float32)
    beauty[..., :3] *= gain * unit
    return beauty, around * (gain * unit)
