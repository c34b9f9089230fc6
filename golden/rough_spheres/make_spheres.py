"""Renders rough mirror spheres beside a smooth one with mitsuba 3.9.1. See README.md.

python make_spheres.py
"""

import json
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "path_traced"))

import numpy as np

import exr_out
import geometry as geo
import make_shots as scene
from environment import Light
from shots import CHROME, COOL, NEUTRAL, WARM, changed, lit

CAMERA = geo.Camera.from_fov(280, 280, 24.0)
SPHERE = geo.Sphere.at_pixel(CAMERA, (140.0, 138.0), 115.0)
SAMPLES = 256
# A slope's distribution of width alpha: Walter, Marschner, Li & Torrance 2007, equation 33.
ALPHAS = (0.0, 0.02, 0.05, 0.1)
SURROUNDINGS = lit(
    "deck_dusk",
    Light("key", -48, 32, 5, 4.2, WARM),
    Light("kick", 75, 12, 8, 2.0, COOL),
    Light("lantern", 8, -30, 3, 0.9, NEUTRAL),
)
BROAD_KEY = changed(SURROUNDINGS, "key", lambda l: Light(l.name, l.azimuth_deg, l.elevation_deg, 8, l.illuminance, l.tint))


def rough(alpha):
    sphere = scene.mirror_sphere(SPHERE, CHROME)
    if alpha > 0:
        sphere["bsdf"].update(type="roughconductor", distribution="ggx", alpha=alpha)
    return sphere


def render(name, surroundings, alpha, seed, on_black=False):
    environment = scene.mi.load_dict(scene.emitter(surroundings.picture(CACHE)))
    objects = {} if alpha is None else {"sphere": rough(alpha)}
    picture = scene.trace(environment, CAMERA, objects, seed, SAMPLES, on_black)
    exr_out.write(HERE / name, picture[..., : 4 if on_black else 3])


def sheet(name):
    linear = {"encoding": "scene-linear", "colour_space": "rec709"}
    mirror = {"name": "m1", "bracket": [f"mirror_{name}.exr"], **linear, "reflectance": list(CHROME)}
    shot = {
        "format": "plateproof-shot/1",
        "shot": name,
        "plate": {"frame": "plate.exr", **linear},
        "mirrors": [mirror],
        "cg": {"spheres": [{"mirror": "m1", "frame": "cg.exr", "alpha": "premultiplied"}]},
        "camera": scene.camera_sheet(CAMERA),
    }
    (HERE / f"{name}.json").write_text(json.dumps(shot, indent=1) + "\n")


def main():
    render("plate.exr", SURROUNDINGS, None, 11)
    render("cg.exr", SURROUNDINGS, 0.0, 12, on_black=True)
    for alpha in ALPHAS:
        render(f"mirror_alpha_{round(100 * alpha):03d}.exr", SURROUNDINGS, alpha, 13)
    render("mirror_broad_key.exr", BROAD_KEY, 0.0, 14)
    for alpha in ALPHAS:
        sheet(f"alpha_{round(100 * alpha):03d}")
    sheet("broad_key")
    lights = [
        {"name": l.name, "azimuth_deg": l.azimuth_deg, "elevation_deg": l.elevation_deg, "radius_deg": l.radius_deg}
        for l in SURROUNDINGS.lights
    ]
    truth = {"lights": lights, "camera": scene.camera_sheet(CAMERA), "outline_px": list(geo.outline(CAMERA, SPHERE))}
    (HERE / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


CACHE = scene.Cache()

if __name__ == "__main__":
    main()
