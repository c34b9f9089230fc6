"""Renders one shot's mirror sphere smooth and with three grades of haze, with mitsuba 3.9.1. See README.md.

    python make.py

Surroundings, camera and files come from ../path_traced.
"""

import json
import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "path_traced"))

import mitsuba as mi  # noqa: E402

mi.set_variant("scalar_rgb")

import exr_out  # noqa: E402
import make_shots as shots_maker  # noqa: E402
from environment import Light  # noqa: E402
from geometry import Camera, Sphere  # noqa: E402
from shots import CHROME, NEUTRAL, WARM, lit  # noqa: E402

CAMERA = Camera.from_fov(480, 300, 36)
SPHERE = Sphere.at_pixel(CAMERA, (236, 146), 118)
SIDE = lit(
    "salt_hall",
    Light("key", -42, 34, 3, 3.0, WARM),
    Light("lamp", 55, 48, 4, 1.6, NEUTRAL),
    Light("low", 24, -12, 3, 0.9, NEUTRAL),
)
# Beckmann roughness: slopes are Gaussian with a variance of alpha^2 / 2 on each axis.
ALPHAS = {"smooth": 0.0, "alpha_010": 0.01, "alpha_020": 0.02, "alpha_040": 0.04}
SAMPLES = 256


def rough_sphere(alpha):
    sphere = shots_maker.mirror_sphere(SPHERE, CHROME)
    if alpha > 0:
        sphere["bsdf"] = {
            "type": "roughconductor",
            "material": "none",
            "distribution": "beckmann",
            "alpha": alpha,
            "specular_reflectance": {"type": "rgb", "value": list(CHROME)},
        }
    return sphere


def main():
    cache = shots_maker.Cache()
    environment = mi.load_dict(shots_maker.emitter(SIDE.picture(cache)))
    cg = shots_maker.trace(environment, CAMERA, {"sphere": rough_sphere(0.0)}, 303, SAMPLES, on_black=True)
    exr_out.write(HERE / "cg.exr", cg[..., :4])
    for number, (name, alpha) in enumerate(ALPHAS.items()):
        picture = shots_maker.trace(environment, CAMERA, {"sphere": rough_sphere(alpha)}, 202 + number, SAMPLES)
        exr_out.write(HERE / f"{name}.exr", picture[..., :3])
    truth = {
        "frames": [f"{name}.exr" for name in ALPHAS],
        "alpha": list(ALPHAS.values()),
        # Head on, a normal's tilt turns the reflection by twice as much on both axes.
        "blur_deg_head_on": [float(np.degrees(np.sqrt(2) * alpha)) for alpha in ALPHAS.values()],
        "reflectance": list(CHROME),
        "camera": shots_maker.camera_sheet(CAMERA),
        "lights": [[light.azimuth_deg, light.elevation_deg, light.radius_deg] for light in SIDE.lights],
    }
    (HERE / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


main()
