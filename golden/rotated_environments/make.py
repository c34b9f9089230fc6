"""Spheres lit by two real environments of the OpenEXR project, turned by known rotations, by mitsuba 3.9.1.

python make.py FOLDER          where FOLDER holds StageEnvLatLong.exr and KernerEnvLatLong.exr
python make.py FOLDER --matte  the matte spheres alone

See README.md for provenance and licence.
"""

import json
import sys
from pathlib import Path

import mitsuba as mi
import numpy as np
import OpenEXR

mi.set_variant("scalar_rgb")

sys.path.insert(0, str(Path(__file__).parent.parent / "path_traced"))
import exr_out
import geometry as geo

HERE = Path(__file__).parent
CAMERA = geo.Camera.from_fov(224, 224, 10.0)
SPHERE = geo.Sphere.at_pixel(CAMERA, (113.3, 110.8), 92.0)
SAMPLES = 256
# Turns of the CG's environment against the photographed one: heading, tilt, roll in degrees, level camera.
TURNS = {"heading": (14.2, 0.0, 0.0), "all": (-151.0, 23.0, -8.0), "small": (1.7, -0.9, 0.4), "none": (0.0, 0.0, 0.0)}
SOURCES = {"stage": "StageEnvLatLong.exr", "car_park": "KernerEnvLatLong.exr"}


def about(axis, degrees):
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    m = np.eye(3)
    m[i, i] = m[j, j] = c
    m[i, j], m[j, i] = -s, s
    return m


def rotation(heading, tilt, roll):
    return about(2, roll) @ about(0, tilt) @ about(1, heading)


def environment(path):
    """Pixels as stored. OpenEXR and mitsuba place them half a column apart, which is the same in every frame
    and cancels."""
    channels = OpenEXR.File(str(path)).channels()
    rgb = next(iter(channels.values())).pixels[..., :3].astype(np.float32)
    return np.ascontiguousarray(rgb)


MIRROR = {"type": "conductor", "material": "none"}
MATTE_REFLECTANCE = 0.4
MATTE = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [MATTE_REFLECTANCE] * 3}}


def render(pixels, turn, seed, surface=MIRROR):
    m = np.eye(4)
    m[:3, :3] = turn
    scene = mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 3, "hide_emitters": True},
            "sensor": {
                "type": "perspective",
                "fov": CAMERA.fov_deg,
                "fov_axis": "x",
                "near_clip": 1.0,
                "far_clip": 1e5,
                "to_world": mi.ScalarTransform4f().look_at([0, 0, 0], [0, 0, -1], [0, 1, 0]),
                "film": {
                    "type": "hdrfilm",
                    "width": CAMERA.width,
                    "height": CAMERA.height,
                    "pixel_format": "rgba",
                    "component_format": "float32",
                    "rfilter": {"type": "box"},
                },
                "sampler": {"type": "multijitter"},
            },
            "environment": {"type": "envmap", "bitmap": mi.Bitmap(pixels), "to_world": mi.ScalarTransform4f(m)},
            "sphere": {
                "type": "sphere",
                "center": [float(v) for v in SPHERE.centre_mm],
                "radius": float(SPHERE.radius_mm),
                "bsdf": surface,
            },
        }
    )
    return np.array(mi.render(scene, spp=SAMPLES, seed=seed), np.float32)


def sheet(name):
    # Against black there is no edge to find where the sphere mirrors something dark: the outline is given.
    outline = [round(float(v), 4) for v in geo.outline(CAMERA, SPHERE)]
    return {
        "format": "plateproof-shot/1",
        "shot": f"SF_{name}",
        "mirrors": [{"name": "m1", "bracket": [f"{name.split('-')[0]}.mirror.exr"], "reflectance": [1, 1, 1], "outline_px": outline}],
        "cg": {"spheres": [{"mirror": "m1", "frame": f"{name}.exr"}]},
        "camera": {"focal_length_mm": CAMERA.focal_mm, "sensor_mm": [CAMERA.used_width_mm] * 2, "tilt_deg": 0},
        "notes": {"turned_heading_tilt_roll_deg": TURNS[name.split("-")[1]]},
    }


def main(folder, only=None):
    for place, file in SOURCES.items():
        pixels = environment(Path(folder) / file)
        exr_out.write(HERE / f"{place}.matte.exr", render(pixels, np.eye(3), 31, MATTE))
        if only:
            continue
        exr_out.write(HERE / f"{place}.mirror.exr", render(pixels, np.eye(3), 11))
        for seed, (turn, degrees) in enumerate(TURNS.items()):
            name = f"{place}-{turn}"
            exr_out.write(HERE / f"{name}.exr", render(pixels, rotation(*degrees), 21 + seed))
            (HERE / f"{name}.json").write_text(json.dumps(sheet(name), indent=1) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
