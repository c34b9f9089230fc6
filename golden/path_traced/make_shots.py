"""Renders every shot of this folder with mitsuba 3.9.1 and writes its sheet and truth. See README.md.

python make_shots.py                    all shots
python make_shots.py sf_010 sf_120      those whose folder starts so
python make_shots.py --truth-only       sheets and truth again, pictures left alone
python make_shots.py --check-orientation
"""

import argparse
import json
import tempfile
import time
from pathlib import Path

import mitsuba as mi
import numpy as np

mi.set_variant("scalar_rgb")

import exr_out
import geometry as geo
import truth as tr
from environment import HEIGHT, WIDTH, ambience
from shots import shots

HERE = Path(__file__).parent
SAMPLES = 144  # stratified 12 x 12 under a box filter of one pixel
REFINED_SAMPLES = 65536
SEEDS = {"plate": 101, "mirror": 202, "cg": 303}
NOISE_FLOOR, NOISE_PER_SIGNAL = 0.004, 1e-4  # sd^2 = floor^2 + per_signal x value, in plate units
EXPOSURE_TIME_S = 1 / 48


class Cache:
    """Ambiences take seconds each; they are kept between runs in the system's temporary folder."""

    def __init__(self):
        self.folder = Path(tempfile.gettempdir()) / f"golden_ambience_{WIDTH}"
        self.folder.mkdir(exist_ok=True)
        self.held = (None, None)

    def __call__(self, name):
        if self.held[0] != name:
            path = self.folder / f"{name}.npy"
            if not path.exists():
                np.save(path, ambience(name))
            self.held = (name, np.load(path))
        return self.held[1]


def film(camera, window):
    x0, y0, x1, y1 = window or (0, 0, camera.width, camera.height)
    return {
        "type": "hdrfilm",
        "width": camera.width,
        "height": camera.height,
        "pixel_format": "rgba",
        "component_format": "float32",
        "rfilter": {"type": "box"},
        "crop_offset_x": x0,
        "crop_offset_y": y0,
        "crop_width": x1 - x0,
        "crop_height": y1 - y0,
    }


def sensor(camera, window=None, shift_px=(0.0, 0.0)):
    """`shift_px` moves the picture right and down; the sign was measured with --check-orientation."""
    return {
        "type": "perspective",
        "fov": camera.fov_deg,
        "fov_axis": "x",
        "near_clip": 1.0,
        "far_clip": 1e5,
        "principal_point_offset_x": -shift_px[0] / camera.width,
        "principal_point_offset_y": -shift_px[1] / camera.height,
        "to_world": mi.ScalarTransform4f().look_at([0, 0, 0], [0, 0, -1], [0, 1, 0]),
        "film": film(camera, window),
        "sampler": {"type": "multijitter"},
    }


def mirror_sphere(sphere, reflectance):
    return {
        "type": "sphere",
        "center": [float(v) for v in sphere.centre_mm],
        "radius": float(sphere.radius_mm),
        "bsdf": {
            "type": "conductor",
            "material": "none",
            "specular_reflectance": {"type": "rgb", "value": list(reflectance)},
        },
    }


def stand(sphere):
    """A grey rod under the sphere that leaves the frame at the bottom."""
    c, r = sphere.centre_mm, sphere.radius_mm
    top, bottom = c - [0, 0.9 * r, 0], c - [0, 8 * r, 0]
    grey = {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": [0.18] * 3}}}
    return {"type": "cylinder", "p0": top.tolist(), "p1": bottom.tolist(), "radius": float(0.06 * r), "bsdf": grey}


def emitter(picture):
    return {"type": "envmap", "bitmap": mi.Bitmap(picture)}


def trace(environment, camera, objects, seed, spp=SAMPLES, on_black=False, window=None, shift_px=(0.0, 0.0)):
    scene = mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 5, "hide_emitters": on_black},
            "sensor": sensor(camera, window, shift_px),
            "environment": environment,
            **objects,
        }
    )
    return np.array(mi.render(scene, spp=spp, seed=seed), np.float64)


def refine(picture, environment, camera, objects, seed, points, on_black):
    """Far more samples where the sphere shows a light that is small against a pixel."""
    for point in points:
        x, y = int(point[0]), int(point[1])
        window = (x - 2, y - 2, x + 3, y + 3)
        picture[y - 2 : y + 3, x - 2 : x + 3] = trace(
            environment, camera, objects, seed, REFINED_SAMPLES, on_black, window
        )


def with_noise(rgb, rng):
    sd = np.sqrt(NOISE_FLOOR**2 + NOISE_PER_SIGNAL * np.maximum(rgb, 0))
    return rgb + sd * rng.standard_normal(rgb.shape)


def recorded(shot, rgb, role):
    """What the camera does to a frame: exposure, noise, clipping."""
    rgb = rgb * 2.0 ** (shot.mirror_stops if role == "mirror" else 0.0)
    if shot.noise:
        rgb = with_noise(rgb, np.random.default_rng([SEEDS[role], int(shot.folder[3:6])]))
    return rgb if shot.clip_level is None else np.minimum(rgb, shot.clip_level)


def attributes(shot, role):
    if shot.metadata_stops is None:
        return {}
    stops = shot.metadata_stops if role == "mirror" else 0.0
    return {"expTime": float(EXPOSURE_TIME_S * 2.0**stops), "aperture": 4.0, "isoSpeed": 800.0}


def light_pixels(shot, camera, side):
    names = [l for l in side.lights if l.name in shot.unresolved]
    return [geo.seen_at(camera, shot.sphere(), l.towards) for l in names]


def render_plate_side(shot, cache, folder):
    environment = mi.load_dict(emitter(shot.mirror.picture(cache)))
    objects = {"sphere": mirror_sphere(shot.sphere(), shot.reflectance)}
    if shot.stand:
        objects["stand"] = stand(shot.sphere())
    plate = trace(environment, shot.camera, {}, SEEDS["plate"], shift_px=shot.plate_shift_px)
    mirror = trace(environment, shot.camera, objects, SEEDS["mirror"])
    refine(
        mirror, environment, shot.camera, objects, SEEDS["mirror"], light_pixels(shot, shot.camera, shot.mirror), False
    )
    for role, picture in (("plate", plate), ("mirror", mirror)):
        exr_out.write(folder / f"{role}.exr", recorded(shot, picture[..., :3], role), attributes=attributes(shot, role))


def cg_window(shot, camera):
    if not shot.cg_cropped_to_sphere:
        return None
    cx, cy, a, _, _ = geo.outline(camera, shot.sphere())
    low, high = np.floor([cx - a - 4, cy - a - 4]).astype(int), np.ceil([cx + a + 4, cy + a + 4]).astype(int)
    return (max(low[0], 0), max(low[1], 0), min(high[0], camera.width), min(high[1], camera.height))


def render_cg(shot, cache, folder):
    camera = shot.cg_camera or shot.camera
    environment = mi.load_dict(emitter(shot.cg.picture(cache)))
    objects = {"sphere": mirror_sphere(shot.sphere(), shot.cg_reflectance or shot.reflectance)}
    picture = trace(environment, camera, objects, SEEDS["cg"], on_black=shot.cg_on_black)
    refine(picture, environment, camera, objects, SEEDS["cg"], light_pixels(shot, camera, shot.cg), shot.cg_on_black)
    channels = 4 if shot.cg_on_black else 3
    exr_out.write(folder / "cg.exr", picture[..., :channels], window=cg_window(shot, camera))


def camera_sheet(camera, sensor_crop=False):
    """The used part of the sensor is `used_width_mm` wide; with `sensor_crop` that is three quarters of the sensor."""
    used = [camera.width * 6, camera.height * 6]
    whole = [camera.width * 8, camera.height * 8] if sensor_crop else used
    width = camera.used_width_mm * whole[0] / used[0]
    return {
        "focal_length_mm": camera.focal_mm,
        "squeeze": 1,
        "sensor_mm": [width, width * whole[1] / whole[0]],
        "sensor_px": whole,
        "used_px": used,
        "recorded_px": [camera.width, camera.height],
    }


def sheet(shot):
    linear = {"encoding": "scene-linear", "colour_space": "rec709"}
    if shot.clip_level is not None:
        linear["clip_level"] = shot.clip_level
    plate = {"frame": "plate.exr", **linear}
    cg_sphere = {"mirror": "m1", "frame": "cg.exr"}
    if shot.cg_reflectance:
        cg_sphere["reflectance"] = list(shot.cg_reflectance)
    if shot.cg_on_black:
        cg_sphere["alpha"] = "premultiplied"
    cg = {"version": "v001", "spheres": [cg_sphere]}
    if shot.cg_camera:
        cg["camera"] = camera_sheet(shot.cg_camera)
    return {
        "format": "plateproof-shot/1",
        "shot": shot.folder.upper()[:6],
        "plate": plate,
        "mirrors": [
            {
                "name": "m1",
                "bracket": ["mirror.exr"],
                **linear,
                "reflectance": list(shot.reflectance),
                "correct_drift": shot.correct_drift,
            }
        ],
        "cg": cg,
        "camera": camera_sheet(shot.camera, shot.sensor_crop),
        "notes": {"made": shot.says},
    }


def drift_truth(shot):
    told = shot.metadata_stops or 0.0
    return {
        "recorded_stops_mirror_minus_plate": shot.mirror_stops,
        "stops_by_metadata": shot.metadata_stops,
        "unexplained_stops_mirror_minus_plate": shot.mirror_stops - told,
        "plate_minus_mirror_px": list(shot.plate_shift_px),
        "corrected_by_sheet": shot.correct_drift,
    }


def key_fill_truth(mirror, cg):
    value = float(np.log2(cg.ratio / mirror.ratio))
    same = cg.patches(mirror.extremes)
    return {
        "mirror": mirror.ratio,
        "cg": cg.ratio,
        "value_stops": value,
        "same_patches_stops": float(np.log2(same[0] / same[1]) - np.log2(mirror.ratio)),
        "expected": tr.verdict(value, tr.TOLERANCE["key_fill_stops"]),
    }


def direction_truth(mirror, cg):
    pairs, missing, extra = tr.pair_lights(mirror, cg)
    key = mirror.ordered()[0].name
    single = mirror.single_key and cg.single_key
    angle = next(p["error_deg"] for p in pairs if p["name"] == key)
    if not single:
        angle = max(p["error_deg"] for p in pairs)
    unpaired = [s.light_share(n) for s, names in ((mirror, missing), (cg, extra)) for n in names]
    return {
        "value_deg": angle,
        "single_key": single,
        "lights": pairs,
        "missing_in_cg": missing,
        "extra_in_cg": extra,
        "expected": tr.direction_verdict(angle, unpaired),
    }


def exposure_truth(shot, cache, mirror, cg):
    turned_back = None
    if shot.cg.turned_deg != shot.mirror.turned_deg:
        still = shot.cg.__class__(shot.cg.ambience, shot.cg.gains, shot.cg.lights, shot.mirror.turned_deg)
        turned_back = tr.Soft(still.soft(cache))
    value, fraction = tr.exposure_error(mirror, cg, turned_back)
    key = mirror.ordered()[0]
    other = next(l for l in cg.lights if l.name == key.name)
    caps = [
        float((tr.patch_rgb(s.soft, s.lights, tr.cap_normals(s.to_camera)[0][:900]) @ tr.LUMINANCE).mean())
        for s in (mirror, cg)
    ]
    fills = fill_rgb(mirror, cg)
    return {
        "value_stops": value,
        "directions_fraction": fraction,
        "rotation_undone": turned_back is not None,
        "key_stops": float(np.log2(other.illuminance / key.illuminance)),
        "fill_stops": float(np.log2((fills[1] @ tr.LUMINANCE) / (fills[0] @ tr.LUMINANCE))),
        "illuminance_stops": float(np.log2(caps[1] / caps[0])),
        "expected": tr.verdict(value, tr.TOLERANCE["exposure_stops"]),
    }


def fill_rgb(mirror, cg):
    """Mean of what is no light on either side (plus 8 degrees) and not behind a sphere."""
    keep = mirror.sees() & cg.sees() & mirror.soft.outside([*mirror.lights, *cg.lights], tr.LIGHT_MARGIN_DEG)
    weight = mirror.soft.omega * keep
    return [(s.soft.radiance * weight[:, None]).sum(0) / weight.sum() for s in (mirror, cg)]


def colour_truth(mirror, cg):
    key = mirror.ordered()[0]
    other = next(l for l in cg.lights if l.name == key.name)
    fills = fill_rgb(mirror, cg)
    facing = [tr.patch_rgb(s.soft, s.lights, s.to_camera[None])[0] for s in (mirror, cg)]
    parts = {
        "overall": tr.colour_error(cg.mean_rgb(), mirror.mean_rgb()),
        "key": tr.colour_error(other.radiance, key.radiance),
        "fill": tr.colour_error(fills[1], fills[0]),
        "patch_facing_camera": tr.colour_error(facing[1], facing[0]),
    }
    verdicts = {tr.colour_verdict(p) for p in parts.values()}
    return {**parts, "expected": verdicts.pop() if len(verdicts) == 1 else "either"}


def shot_truth(shot, cache):
    sphere, cg_camera = shot.sphere(), shot.cg_camera or shot.camera
    mirror = tr.Side(shot.mirror, shot.mirror.soft(cache), sphere)
    cg = tr.Side(shot.cg, shot.cg.soft(cache), sphere)
    sides = {
        role: {
            "outline_px": geo.outline(camera, sphere),
            "horizontal_fov_deg": camera.fov_deg,
            "sphere_half_angle_deg": float(np.degrees(sphere.half_angle_rad)),
            "sphere_axis": list(sphere.axis),
            "unresolved_lights": list(shot.unresolved),
            "lights": [tr.light_entry(l, side, camera) for l in side.ordered()],
            "key_fill_ratio": side.ratio,
            "mean_rgb": [float(v) for v in side.mean_rgb()],
        }
        for role, side, camera in (("mirror", mirror, shot.camera), ("cg", cg, cg_camera))
    }
    errors = {
        "highlight-direction": direction_truth(mirror, cg),
        "key-fill-ratio": key_fill_truth(mirror, cg),
        "exposure": exposure_truth(shot, cache, mirror, cg),
        "colour-balance": colour_truth(mirror, cg),
    }
    for check, word in shot.expect.items():
        errors[check]["expected"] = word
    return {
        "shot": shot.folder.upper()[:6],
        "says": shot.says,
        **sides,
        "errors_cg_minus_mirror": {**errors, "rotation_deg": shot.cg.turned_deg - shot.mirror.turned_deg},
        "expected_shot": tr.worst([e["expected"] for e in errors.values()]),
        "reference-drift": drift_truth(shot),
        "photograph": {
            "noise": {"sd_floor": NOISE_FLOOR, "variance_per_signal": NOISE_PER_SIGNAL} if shot.noise else None,
            "clip_level": shot.clip_level,
            "stand": shot.stand,
        },
        "tolerances": tr.TOLERANCE,
    }


def rounded(value):
    """Nine significant digits; more would only make the files larger."""
    if isinstance(value, dict):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(v) for v in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


def write_json(path, value):
    path.write_text(json.dumps(rounded(value), indent=1, allow_nan=False) + "\n")


def make(shot, cache, pictures):
    started = time.time()
    folder = HERE / shot.folder
    folder.mkdir(exist_ok=True)
    write_json(folder / "shot.json", sheet(shot))
    write_json(folder / "truth.json", shot_truth(shot, cache))
    if pictures:
        render_plate_side(shot, cache, folder)
        render_cg(shot, cache, folder)
    size = sum(f.stat().st_size for f in folder.iterdir())
    print(f"{shot.folder}: {size / 1024:.0f} KiB, {time.time() - started:.0f} s", flush=True)


def check_orientation():
    """One bright spot at a time through a camera that looks along -z: where it lands is measured, not believed."""
    camera = geo.Camera.from_fov(200, 120, 60)
    for azimuth, elevation in ((180, 0), (168, 0), (-168, 0), (180, 10), (170, -8)):
        picture = np.zeros((512, 1024, 3), np.float32)
        u, v = round((180 - azimuth) % 360 / 360 * 1024 - 0.5), round((90 - elevation) / 180 * 512 - 0.5)
        picture[v, u] = 1000
        rendered = trace(mi.load_dict(emitter(picture)), camera, {}, 1, spp=64)[..., 1]
        y, x = np.mgrid[:120, :200] + 0.5
        spot = [float((rendered * x).sum() / rendered.sum()), float((rendered * y).sum() / rendered.sum())]
        asked = geo.direction(180 - (u + 0.5) / 1024 * 360, 90 - (v + 0.5) / 512 * 180)
        print(
            f"azimuth {azimuth} elevation {elevation}: predicted {camera.project(asked).round(2)}, seen {np.round(spot, 2)}"
        )
        shifted = trace(mi.load_dict(emitter(picture)), camera, {}, 1, spp=64, shift_px=(3.0, -2.0))[..., 1]
        moved = [(shifted * x).sum() / shifted.sum() - spot[0], (shifted * y).sum() / shifted.sum() - spot[1]]
        print(f"   shift asked (3, -2), seen {np.round(moved, 3)}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", nargs="*")
    parser.add_argument("--truth-only", action="store_true")
    parser.add_argument("--check-orientation", action="store_true")
    options = parser.parse_args()
    if options.check_orientation:
        return check_orientation()
    chosen = [s for s in shots() if not options.which or s.folder.startswith(tuple(options.which))]
    cache = Cache()
    for shot in sorted(chosen, key=lambda s: s.mirror.ambience):
        make(shot, cache, not options.truth_only)


if __name__ == "__main__":
    main()
