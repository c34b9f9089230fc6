"""Round trip: the light that `plateproof set-light` writes of a photographed sphere lights a mirror sphere again.

For each shot sheet: the program writes the light of the set; mitsuba renders the sphere of the shot under the written map, and
once more under the written dome and lights (read with OpenUSD's library); `plateproof check` compares either with the
photograph. Where the shot's folder has the true surroundings, the written map is compared with them as well.

    pip install mitsuba==3.9.1 numpy OpenEXR==3.5.3 usd-core
    python round_trip.py --plateproof PROGRAM --out DIR SHEET...
    python round_trip.py --plateproof PROGRAM --out DIR --environment StageEnvLatLong.exr --clipped ... --near ...

An environment is photographed by mitsuba with a tilted and rolled camera. `--clipped` adds a key that the mirror frame clips,
with a grey sphere beside; the result is checked against the frame that does not clip. `--near` adds a lamp at 2 m and a second
mirror, which together tell its distance.
"""

import argparse
import json
import subprocess
import sys
from pathlib import Path

import mitsuba as mi
import numpy as np

HERE = Path(__file__).resolve().parent
sys.path += [str(HERE.parent / "path_traced"), str(HERE)]
import lat_long  # noqa: E402
import stage as usd  # noqa: E402
from exr_out import write  # noqa: E402
from geometry import Camera, Sphere, outline  # noqa: E402

mi.set_variant("scalar_rgb")
mi.set_log_level(mi.LogLevel.Error)

HEIGHT = 1024  # of the surroundings handed to the renderer; as fine as the smallest disc needs
CHECKS = ("highlight-direction", "key-fill-ratio", "exposure", "colour-balance")


def sphere_of(camera, numbers):
    """The sphere that draws an outline: rays r to points of it meet r . a = 1, and a is its axis over cos(half-angle)."""
    x, y, a, b, angle = numbers
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    rays = camera.rays(x + a * np.cos(t) * c - b * np.sin(t) * s, y + a * np.cos(t) * s + b * np.sin(t) * c)
    axis = np.linalg.lstsq(rays, np.ones(len(rays)), rcond=None)[0]
    length = np.linalg.norm(axis)
    return Sphere(tuple(axis / length), float(np.arccos(1 / length)))


class Shot:
    """A shot sheet with the true outline and view from the file beside it."""

    def __init__(self, sheet):
        self.sheet, self.folder = json.loads(sheet.read_text()), sheet.parent
        self.path, self.name = sheet, self.sheet["shot"]
        truth = json.loads((self.folder / "truth.json").read_text())
        side = truth.get("mirror") or {
            "outline_px": truth["sphere"]["outline_px"], "horizontal_fov_deg": truth["camera"]["horizontal_fov_deg"]
        }
        width, height = self.size()
        self.camera = Camera(width, height, 12.0 / np.tan(np.radians(side["horizontal_fov_deg"]) / 2), 24.0)
        self.sphere = sphere_of(self.camera, side["outline_px"])
        diameter = self.sheet["mirrors"][0].get("diameter_mm")
        if diameter:
            distance = diameter / 2 / np.sin(self.sphere.half_angle_rad)
            self.sphere = Sphere(self.sphere.axis, self.sphere.half_angle_rad, float(distance))
        true = self.folder / "truth_env.exr"
        self.true_environment = lat_long.read(true)[0] if true.exists() else None

    def size(self):
        """Columns and rows of the sphere frame."""
        truth = json.loads((self.folder / "truth.json").read_text())
        if "size" in truth:
            return truth["size"]
        mirror = self.sheet["mirrors"][0]
        frame = mirror.get("frame") or mirror["bracket"][0]
        frame = self.folder / (frame if isinstance(frame, str) else frame["frame"])
        if frame.suffix == ".exr":
            import OpenEXR

            window = OpenEXR.File(str(frame)).header()["displayWindow"]
            return [int(window[1][k] - window[0][k]) + 1 for k in (0, 1)]
        return list(mi.Bitmap(str(frame)).size())


MIRROR = {"type": "conductor", "material": "none"}


def render(shot, picture, balls, spp, surface=MIRROR):
    """The sphere, a mirror of reflectance 1, under a lat-long picture in camera axes and balls, with coverage."""
    x, y, a, _, _ = outline(shot.camera, shot.sphere)
    x0, y0 = max(0, int(x - a - 4)), max(0, int(y - a - 4))
    x1, y1 = min(shot.camera.width, int(x + a + 5)), min(shot.camera.height, int(y + a + 5))
    centre = shot.sphere.centre_mm
    scene = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 3, "hide_emitters": True},
        "sensor": {
            "type": "perspective",
            "fov": shot.camera.fov_deg,
            "fov_axis": "x",
            "near_clip": 1.0,
            "far_clip": 1e7,
            "to_world": mi.ScalarTransform4f().look_at([0, 0, 0], [0, 0, -1], [0, 1, 0]),
            "film": {
                "type": "hdrfilm", "width": shot.camera.width, "height": shot.camera.height, "pixel_format": "rgba",
                "rfilter": {"type": "box"},
                "crop_offset_x": x0, "crop_offset_y": y0, "crop_width": x1 - x0, "crop_height": y1 - y0,
            },
            "sampler": {"type": "multijitter", "sample_count": spp},
        },
        "sphere": {
            "type": "sphere", "center": [float(v) for v in centre], "radius": float(shot.sphere.radius_mm),
            "bsdf": surface,
        },
        "sky": {"type": "envmap", "bitmap": mi.Bitmap(np.ascontiguousarray(picture.astype(np.float32)))},
    }
    for i, (place_mm, radius_mm, radiance) in enumerate(balls):
        scene[f"ball{i}"] = {
            "type": "sphere", "center": [float(v) for v in centre + place_mm], "radius": float(radius_mm),
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(v) for v in radiance]}},
        }
    seen = np.array(mi.render(mi.load_dict(scene), spp=spp, seed=7), np.float64)
    frame = np.zeros((shot.camera.height, shot.camera.width, 4))
    frame[y0:y1, x0:x1] = seen
    return frame


def paint_disc(picture, towards, radius_rad, radiance):
    """An even disc; edge pixels by coverage (8 x 8), so that the solid angle is right."""
    height, width = picture.shape[:2]
    margin = radius_rad + np.radians(0.3)
    centre_lat = np.arcsin(np.clip(towards[1], -1, 1))
    top = max(0, int((np.pi / 2 - centre_lat - margin) / np.pi * height))
    bottom = min(height, int((np.pi / 2 - centre_lat + margin) / np.pi * height) + 1)
    offsets = (np.arange(8) + 0.5) / 8
    for row in range(top, bottom):
        lat = np.pi / 2 - np.pi * (row + offsets[:, None, None]) / height
        lon = np.pi - 2 * np.pi * (np.arange(width)[None, :, None] + offsets[None, None, :]) / width
        dot = (np.sin(lon) * towards[0] + np.cos(lon) * towards[2]) * np.cos(lat) + np.sin(lat) * towards[1]
        share = (dot > np.cos(radius_rad)).mean((0, 2))[:, None]
        picture[row] += share * radiance


def from_here(shot, entry):
    """An image entry of the shot's sheet with its file named from the root."""
    if isinstance(entry, str):
        return str((shot.folder / entry).resolve())
    return {**entry, **({"frame": from_here(shot, entry["frame"])} if "frame" in entry else {})}


def check(program, shot, frame, out, name):
    """The photographed sphere against a rendered one; what each check finds."""
    folder = out / name
    folder.mkdir(parents=True, exist_ok=True)
    write(folder / "cg.exr", frame)
    sheet = json.loads(json.dumps(shot.sheet))
    if "plate" in sheet:
        sheet["plate"] = from_here(shot, sheet["plate"])
    mirror = from_here(shot, getattr(shot, "compared", sheet["mirrors"][0]))
    if "bracket" in mirror:
        mirror["bracket"] = [from_here(shot, entry) for entry in mirror["bracket"]]
    sheet = {key: sheet[key] for key in ("format", "shot", "plate", "camera") if key in sheet}
    sheet["mirrors"] = [mirror]
    sheet["cg"] = {"version": name, "spheres": [{"frame": "cg.exr", "alpha": "premultiplied", "reflectance": [1, 1, 1]}]}
    (folder / "shot.json").write_text(json.dumps(sheet, indent=1))
    words = ["check", folder / "shot.json", "--out", folder, "--format", "json", "--no-picture", "--again"]
    run = subprocess.run([program, *words], capture_output=True, text=True)
    report = json.loads(run.stdout.splitlines()[0])
    found = {f["check"]: f for f in report["findings"] if f["check"] in CHECKS}
    figures = lambda f: (f["verdict"], f.get("value"), f.get("value_sd"), f.get("reason", ""))
    return report["verdict"], {name: figures(f) for name, f in found.items()}


def in_camera_axes(picture, camera_from_map, openexr=True, height=HEIGHT):
    """A lat-long picture as patches in camera axes. Directions of the map are turned to those of the camera."""
    directions = lat_long.patch_directions(height, 2 * height)
    return lat_long.look_up(picture, directions @ camera_from_map, openexr)


def one(program, shot, out, spp):
    """Every figure of one shot."""
    made = subprocess.run([program, "set-light", shot.path, "--out", out, "--format", "json"], capture_output=True, text=True)
    record = json.loads(made.stdout)
    if record["error"]:
        return {"shot": shot.name, "error": record["error"]["cause"]}
    mirror = record["mirrors"][0]
    told = shot.sheet.get("camera", {})
    stage = usd.read(out / mirror["stage_file"])
    expected = usd.world_from_camera(told)
    map_from_camera = usd.world_from_camera({k: v for k, v in told.items() if k != "heading_deg"})
    # The dome's turn is what is left of the way from camera to stage when the map is level already.
    turned_off = np.linalg.norm(stage.dome_rotation @ map_from_camera - expected)
    assert Path(stage.dome_file).name == mirror["dome_file"], stage.dome_file
    full, alpha, header = lat_long.read(out / mirror["map_file"])
    assert "envmap" in header and "chromaticities" in header, header.keys()
    dome = lat_long.read(stage.dome_file)[0]

    row = {"shot": shot.name, "exit": made.returncode, "of_light": mirror["of_light"], "dome_transform_off": float(turned_off)}
    row["lights"] = [light.kind for light in stage.lights]
    near = [light for light in mirror["lights"] if "distance_mm_sd" in light]
    row["distances_mm"] = [(light["distance_mm"], light["distance_mm_sd"]) for light in near]
    camera_from_map = map_from_camera.T
    row["map"] = check(program, shot, render(shot, in_camera_axes(full, camera_from_map), [], spp), out, f"{shot.name}_map")
    rig = in_camera_axes(dome, expected.T @ stage.dome_rotation)
    balls = []
    for light in stage.lights:
        if light.kind == "DistantLight":
            paint_disc(rig, expected.T @ light.towards, light.radius_rad, light.radiance)
        else:
            balls.append((expected.T @ light.place_mm, light.radius_mm, light.radiance))
    row["rig"] = check(program, shot, render(shot, rig, balls, spp), out, f"{shot.name}_rig")
    row["against_truth"] = against_truth(shot, mirror, full, alpha, camera_from_map)
    return row


def against_truth(shot, mirror, full, alpha, camera_from_map):
    """The written map against the true surroundings; `None` where there are none or no light stands out."""
    if shot.true_environment is None or not mirror["lights"]:
        return None
    truth = shot.true_environment
    height = truth.shape[0]
    finer = 4 if height < 256 else 1
    ours = in_camera_axes(full, camera_from_map, height=height * finer)
    seen = in_camera_axes(alpha[..., None], camera_from_map, height=height * finer)[..., 0]
    average = lambda p: p.reshape(height, finer, 2 * height, finer, -1).mean((1, 3))
    key = mirror["lights"][0]
    az, el = np.radians([key["azimuth_deg"], key["elevation_deg"]])
    towards = np.array([np.sin(az) * np.cos(el), np.sin(el), np.cos(az) * np.cos(el)])
    shown, to_camera = average(seen)[..., 0] > 0.999, -np.array(shot.sphere.axis)
    found = lat_long.differences(average(ours), truth, shown, (towards, key["angular_radius_deg"]), to_camera)
    told = {"key_sd_deg": key["direction_sd_deg"], "key_clipped": key["clipped"]}
    return {**found, **told, "light_sd_stops": mirror["light_sd_stops"]}


CAMERA = {"focal_length_mm": 32.0, "sensor_mm": [24.0, 13.5], "tilt_deg": -7.0, "roll_deg": 2.0, "heading_deg": 124.0}
REFLECTANCE = [0.62, 0.60, 0.56]
KEY = {"azimuth_deg": -42.0, "elevation_deg": 33.0, "radius_deg": 2.5}
CLIP_LEVEL = 8.0


class EnvironmentShot(Shot):
    """A sphere photographed in a captured environment, level with the world while the camera is not."""

    def __init__(self, path, out, kind):
        self.name = f"SALT_{path.stem}{kind}"
        self.folder = out / f"{self.name}_photographed"
        self.folder.mkdir(parents=True, exist_ok=True)
        self.path = self.folder / "shot.json"
        self.camera = Camera(960, 540, CAMERA["focal_length_mm"], CAMERA["sensor_mm"][0])
        sphere = Sphere.at_pixel(self.camera, (430.0, 300.0), 130.0)
        self.sphere = Sphere(sphere.axis, sphere.half_angle_rad, float(125.0 / np.sin(sphere.half_angle_rad)))
        self.picture, _, header = lat_long.read(path)
        self.openexr = "envmap" in header
        self.balls, more = [], {}
        # A circle as if drawn by hand: a few pixels off.
        mirror = {"name": "m1", "frame": "mirror.exr", "reflectance": REFLECTANCE, "near_px": [434, 297, 136]}
        self.compared = dict(mirror)
        true = self.surroundings(HEIGHT)
        if kind == "_clipped":
            paint_disc(true, *self.key())
            self.photograph("unclipped.exr", true)
            self.compared["frame"] = "unclipped.exr"
            mirror["clip_level"] = CLIP_LEVEL
            self.photograph("mirror.exr", true, clip=CLIP_LEVEL)
            self.photograph("grey.exr", true, grey=True)
            grey = {"name": "g1", "frame": "grey.exr", "reflectance": [0.18] * 3, "outline_px": outline(self.camera, self.sphere)}
            more["grey_spheres"] = [grey]
        elif kind == "_near":
            # A lamp of 60 mm radius, 2 m away; and the second mirror 0.9 m beside the first.
            towards = np.array([-0.55, 0.62, 0.55]) / np.linalg.norm([-0.55, 0.62, 0.55])
            self.balls = [(towards * 2000.0, 60.0, np.array([700.0, 560.0, 400.0]))]
            mirror["diameter_mm"] = self.compared["diameter_mm"] = 250.0
            self.photograph("mirror.exr", true)
            other = self.beside(true)
            more["mirrors"] = [mirror, other]
        else:
            self.photograph("mirror.exr", true)
        self.sheet = {"format": "plateproof-shot/1", "shot": self.name, "mirrors": [mirror], "camera": CAMERA, **more}
        self.path.write_text(json.dumps(self.sheet, indent=1))
        self.true_environment = self.surroundings(512)
        if kind == "_clipped":
            paint_disc(self.true_environment, *self.key())
        if kind == "_near":
            # A near lamp stands elsewhere for every point of the sphere: there is no one true picture.
            self.true_environment = None

    def surroundings(self, height):
        """Patches in camera axes."""
        level_from_camera = usd.world_from_camera({k: v for k, v in CAMERA.items() if k != "heading_deg"})
        return in_camera_axes(np.maximum(self.picture, 0), level_from_camera.T, self.openexr, height)

    @staticmethod
    def key():
        az, el = np.radians([KEY["azimuth_deg"], KEY["elevation_deg"]])
        towards = np.array([np.sin(az) * np.cos(el), np.sin(el), np.cos(az) * np.cos(el)])
        return towards, np.radians(KEY["radius_deg"]), np.array([620.0, 480.0, 340.0])

    def photograph(self, name, true, clip=None, grey=False, balls=None):
        surface = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.18}} if grey else MIRROR
        frame = render(self, true, self.balls if balls is None else balls, 400 if grey else 64, surface)
        cover = frame[..., 3:]
        # Behind the sphere stands a flat wall of mid grey.
        seen = frame[..., :3] * (1 if grey else np.array(REFLECTANCE)) + 0.25 * (1 - cover)
        write(self.folder / name, seen if clip is None else np.minimum(seen, clip))

    def beside(self, true):
        """The second mirror's frame: another sphere of the same size, the lamp where it was."""
        first = self.sphere
        second = Sphere.at_pixel(self.camera, (690.0, 250.0), 120.0)
        self.sphere = Sphere(second.axis, second.half_angle_rad, float(125.0 / np.sin(second.half_angle_rad)))
        moved = [(first.centre_mm + place - self.sphere.centre_mm, r, rgb) for place, r, rgb in self.balls]
        self.photograph("mirror_2.exr", true, balls=moved)
        self.sphere = first
        drawn = {"diameter_mm": 250.0, "near_px": [686, 254, 125]}
        return {"name": "m2", "frame": "mirror_2.exr", "reflectance": REFLECTANCE, **drawn}


def words(finding):
    verdict, value, sd, _ = finding
    return f"{verdict} {value:+.3f}({sd:.3f})" if value is not None else verdict


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--plateproof", required=True)
    arguments.add_argument("--out", type=Path, required=True)
    for kind in ("environment", "clipped", "near"):
        arguments.add_argument(f"--{kind}", type=Path, action="append", default=[])
    arguments.add_argument("--spp", type=int, default=64)
    arguments.add_argument("sheets", type=Path, nargs="*")
    args = arguments.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    shots = [Shot(path) for path in args.sheets]
    for kind, paths in (("", args.environment), ("_clipped", args.clipped), ("_near", args.near)):
        shots += [EnvironmentShot(path, args.out, kind) for path in paths]
    rows = []
    for shot in shots:
        row = one(args.plateproof, shot, args.out, args.spp)
        rows.append(row)
        if "error" in row:
            print(row["shot"], row["error"], flush=True)
            continue
        print(row["shot"], f"exit {row['exit']}, lights {row['lights']} {row['distances_mm'] or ''}")
        print(f"  the dome's transform is off by {row['dome_transform_off']:.1e}")
        for version in ("map", "rig"):
            verdict, found = row[version]
            list_of = "; ".join(f"{name} {words(found[name])}" for name in CHECKS if name in found)
            print(f"  {version}: {verdict}; {list_of}", flush=True)
            for name, finding in found.items():
                if finding[0] != "match":
                    print(f"      {name}: {finding[3]}")
        if row.get("against_truth"):
            print("  map against truth:", {k: round(v, 3) for k, v in row["against_truth"].items()}, flush=True)
    (args.out / "round_trip.json").write_text(json.dumps(rows, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
