"""One shot from recipe to folder: build, render, photograph, CG, sheet and truth."""

from dataclasses import asdict

import cv2
import numpy as np

import camera
import cg
import files
import light
import photograph
import render
import staging
import truth
import view as views
from make_shots import write_json

EXPOSURE_TIMES = [1 / t for t in (15, 24, 30, 48, 60, 100, 125, 200, 250, 400, 500)]
APERTURES = [2.0, 2.8, 4.0, 5.6, 8.0, 11.0]
SENSOR_WIDTHS = [36.0, 24.89, 23.5, 17.3, 13.2]


def make(recipe, geometry, folder):
    files.check_curves()
    built, full, ellipse, hidden = staged(recipe, geometry)
    seed = recipe.seed % 1000 + recipe.index * 64
    frame, depth, plate, plate_depth, empty, full = photograph.take(built, ellipse, seed)
    rng = recipe.rng("camera")
    unit = exposure_unit(recipe, plate, rng)
    captured = render.surroundings(empty, built.target, built.view.rotation, *cg.ENVIRONMENT_SIZE, (3, 3) if recipe.half == "smoke" else (7, 7), seed + 40)
    kit = camera_kit(recipe, rng)
    names = record(recipe, built, kit, frame * unit, depth, plate * unit, plate_depth, folder, rng)
    made = make_cg(recipe, built, captured, unit, ellipse, plate * unit, folder, seed + 50)
    files.write_exr(folder / "truth_env.exr", files.rgb_planes(truth.halved(captured * unit)), half=False)
    files.write_exr(folder / "cg_env.exr", files.rgb_planes(truth.halved(made["surroundings"])), half=False)
    write_json(folder / "shot.json", sheet(recipe, built, kit, names, made))
    write_json(folder / "truth.json", everything_true(recipe, built, kit, ellipse, hidden, made, empty, unit))


def staged(recipe, geometry):
    """Builds the set; where chance hid too much of the sphere or stood the camera in something, builds another."""
    for attempt in range(6):
        recipe.attempt = attempt
        place = geometry / str(attempt)
        place.mkdir()
        built = staging.build(recipe, place)
        full = built.scene(*photograph.SCENE)
        ellipse = views.outline(built.view, built.target, built.radius)
        hidden = truth.hidden_rim(built, full, ellipse)
        if acceptable(recipe, built, full, hidden):
            return built, full, ellipse, hidden
    return built, full, ellipse, hidden


def acceptable(recipe, built, full, hidden):
    covered, cut = hidden
    if covered - cut > 0.4 or (recipe.hiding == "object" and covered < 0.04):
        return False
    width, height = built.view.width, built.view.height
    points = np.random.default_rng(0).uniform([0, 0], [width, height], (400, 2))
    distance, _ = render.hits(full, *views.rays(built.view, points))
    return np.mean(distance < min(0.3, 0.4 * recipe.distance)) < 0.03


def exposure_unit(recipe, plate, rng):
    """Plate value per radiance and channel: exposure by the plate's mean log luminance, white balance by its colour."""
    small = cv2.resize(plate, (96, 64), interpolation=cv2.INTER_AREA)
    grey = np.exp(np.mean(np.log(small @ light.LUMINANCE + 1e-4)))
    offset = {"good": rng.uniform(-0.3, 0.3), "over": rng.uniform(1, 2), "under": rng.uniform(-2.7, -1)}[recipe.exposure]
    recipe.exposure_offset = float(offset)
    colour = np.clip(small, 0, np.percentile(small, 97)).mean((0, 1))
    balance = np.clip((colour[1] / (colour + 1e-6)) ** rng.uniform(0.4, 0.95), 0.55, 1.9) * np.exp(rng.normal(0, 0.02, 3))
    balance /= balance @ light.LUMINANCE
    return (balance * 0.16 / grey * 2.0 ** offset).astype(np.float32)


def camera_kit(recipe, rng):
    """Lens, sensor, style, exposure settings, file kind."""
    scale = recipe.width / 1600
    step, count = float(rng.choice([1, 1.5, 2, 2.67])), int(rng.integers(3, 6)) if recipe.bracket else 1
    sensor_width = float(rng.choice(SENSOR_WIDTHS))
    focal = sensor_width / 2 / np.tan(np.radians(recipe.fov_deg) / 2)
    settings = {"time": float(rng.choice(EXPOSURE_TIMES)), "aperture": float(rng.choice(APERTURES)), "iso": int(rng.choice([100, 200, 400, 800, 1600])), "focal_length_mm": float(round(focal, 2)), "sensor_width_mm": sensor_width}
    return {
        "lens": camera.draw_lens(rng, recipe, scale), "sensor": camera.draw_sensor(rng, recipe), "style": camera.draw_development(rng), "settings": settings,
        "stops": [step * (i - count // 2) for i in range(count)], "shaky": bool(recipe.bracket and rng.uniform() < 0.5),
        "curve": str(rng.choice(list(files.CURVES))), "ending": {"jpeg": "jpg", "linear": "exr", "log": str(rng.choice(["tif", "png", "exr"]))}[recipe.format],
        "exif": bool(rng.uniform() < 0.85), "stops_in_sheet": bool(rng.uniform() < 0.5),
    }


def record(recipe, built, kit, frame, depth, plate, plate_depth, folder, rng):
    """Photographs the sphere (every exposure) and the plate; gives their file names."""
    focus = recipe.distance - built.radius
    frame = camera.through_lens(frame, depth, focus, kit["lens"])
    names, kit["shifts"] = [], []
    for number, stops in enumerate(kit["stops"]):
        shift = rng.uniform(-1, 1, 2) * rng.uniform(0, 3) * 0.7 if kit["shaky"] and stops else np.zeros(2)
        kit["shifts"].append(shift.tolist())
        names.append(f"sphere_{number + 1}.{kit['ending']}" if recipe.bracket else f"sphere.{kit['ending']}")
        write_frame(recipe, kit, camera.shaken(frame, shift), stops, folder / names[-1], rng)
    if recipe.plate_given:
        plate = camera.through_lens(plate, plate_depth, focus, kit["lens"])
        write_frame(recipe, kit, plate, 0.0, folder / f"plate.{kit['ending']}", rng)
    return names


def write_frame(recipe, kit, pixels, stops, path, rng):
    picture = camera.exposed(pixels, stops, kit["sensor"], rng)
    settings = kit["settings"] | {"time": kit["settings"]["time"] * 2.0 ** stops}
    if recipe.format == "jpeg":
        files.write_jpeg(path, camera.developed(picture, kit["style"]), kit["style"], settings if kit["exif"] else None)
    elif recipe.format == "log":
        files.write_log(path, files.CURVES[kit["curve"]](picture).astype(np.float32))
    else:
        files.write_exr(path, files.rgb_planes(picture), files.exposure_header(settings) if kit["exif"] else None)


def make_cg(recipe, built, captured, unit, ellipse, plate, folder, seed):
    rng = recipe.rng("cg")
    error = cg.draw_error(recipe, built, rng)
    if error["kind"] == "extra_light":
        direction = cg.extra_lamp(error, built).direction
        error["irradiance"] = cg.irradiance_on(captured, built.view.rotation.T @ direction)
    if error["kind"] in ("key_moved", "lamp_gain", "missing_light") and "lamp" not in error:
        error = {"kind": "right"}
    form = cg_form(recipe, rng)
    view = built.view.resized(form["scale"])
    outline = views.outline(view, built.target, built.radius)
    window = photograph.window_round(outline, view, 4)
    strata = (5, 5) if recipe.half == "smoke" or outline[2] > 250 else max((8, 8), photograph.sphere_strata(recipe))
    beauty, around = cg.pictures(built, error, captured, unit, form["crew"], form["reflectance"], view, window, strata, seed)
    write_cg(folder / "cg.exr", beauty, window, view, plate, form)
    return {"error": error, "form": form, "outline": outline, "surroundings": around, "size": [view.width, view.height]}


def cg_form(recipe, rng):
    """How the CG frame is delivered."""
    largest = min(1.0, (2.2e6 / (recipe.width * recipe.height)) ** 0.5)
    scale = largest if rng.uniform() < 0.8 else largest * float(rng.choice([0.5, 0.75]))
    if recipe.radius_px * scale < 24:
        scale = min(1.0, 24 / recipe.radius_px)
    return {
        "scale": float(scale), "comp": str(rng.choice(["alpha", "black", "over_plate"], p=[0.72, 0.14, 0.14])),
        "crop": bool(rng.uniform() < 0.25), "half_float": bool(rng.uniform() < 0.7), "crew": bool(rng.uniform() < 0.6),
        "reflectance": [1.0, 1.0, 1.0] if recipe.reflectance_given and rng.uniform() < 0.4 else None,
    }


def write_cg(path, beauty, window, view, plate, form):
    left, top, width, height = window
    canvas = np.zeros((view.height, view.width, 4), np.float32)
    canvas[top:top + height, left:left + width] = beauty
    if form["comp"] == "over_plate":
        behind = cv2.resize(plate, (view.width, view.height), interpolation=cv2.INTER_AREA)
        canvas[..., :3] += behind * (1 - canvas[..., 3:])
    planes, header = files.rgb_planes(canvas), {}
    if form["comp"] == "alpha":
        planes["A"] = canvas[..., 3]
    if form["crop"] and form["comp"] != "over_plate":
        planes = {n: p[top:top + height, left:left + width] for n, p in planes.items()}
        header = {"dataWindow": (np.array([left, top], np.int32), np.array([left + width - 1, top + height - 1], np.int32)),
                  "displayWindow": (np.array([0, 0], np.int32), np.array([view.width - 1, view.height - 1], np.int32))}
    files.write_exr(path, planes, header, form["half_float"])


def frame_entry(recipe, kit, name):
    entry = {"frame": name}
    if recipe.format == "log":
        entry |= {"encoding": kit["curve"], "colour_space": "rec709"}
    if recipe.format == "linear" and recipe.clip_given:
        entry["clip_level"] = kit["sensor"].clip
    return entry


def sheet(recipe, built, kit, names, made):
    stated = recipe.bracket and (recipe.format == "log" or kit["stops_in_sheet"] or not kit["exif"])
    bracket = [frame_entry(recipe, kit, n) | ({"exposure_stops": s} if stated else {}) for n, s in zip(names, kit["stops"])]
    mirror = {"name": "m1", "bracket": bracket, "diameter_mm": round(2000 * built.radius, 1)}
    if recipe.reflectance_given:
        mirror["reflectance"] = built.surface["reflectance"]
    sphere = {"mirror": "m1", "frame": "cg.exr"}
    if made["form"]["comp"] == "alpha":
        sphere["alpha"] = "premultiplied"
    if made["form"]["reflectance"]:
        sphere["reflectance"] = made["form"]["reflectance"]
    result = {"format": "plateproof-shot/1", "shot": f"SALT_{recipe.half[0].upper()}{recipe.index * 10:04d}"}
    if recipe.plate_given:
        result["plate"] = frame_entry(recipe, kit, f"plate.{kit['ending']}")
    result |= {"mirrors": [mirror], "cg": {"version": "v001", "spheres": [sphere]}}
    if recipe.lens_given:
        size, width = [recipe.width, recipe.height], kit["settings"]["sensor_width_mm"]
        sensor = [width, round(width * recipe.height / recipe.width, 4)]
        result["camera"] = {"focal_length_mm": kit["settings"]["focal_length_mm"], "sensor_mm": sensor, "sensor_px": size, "used_px": size, "recorded_px": size}
    return result


def classes(recipe, kit, hidden, floor):
    return {
        "setting": recipe.setting, "floor": floor, "surface": recipe.surface, "environment": recipe.environment, "format": recipe.format,
        "curve": kit["curve"] if recipe.format == "log" else None, "focus": recipe.focus, "exposure": recipe.exposure,
        "radius_px": recipe.radius_px, "fov_deg": recipe.fov_deg, "megapixels": recipe.width * recipe.height / 1e6,
        "bracket": len(kit["stops"]), "shaken": kit["shaky"], "plain": recipe.setting == "plain", "hiding": recipe.hiding, "hidden_rim": hidden[0],
        "cut_by_frame": hidden[1], "crew": recipe.crew, "lamps": recipe.lamps, "lens_given": recipe.lens_given, "plate_given": recipe.plate_given,
    }


def everything_true(recipe, built, kit, ellipse, hidden, made, empty, unit):
    return {
        "half": recipe.half, "shot": recipe.name, "classes": classes(recipe, kit, hidden, built.floor),
        "sphere": {"outline_px": ellipse, "hidden_rim": hidden[0], "cut_by_frame": hidden[1], "radius_m": built.radius, "distance_m": recipe.distance, "surface": built.surface},
        "bracket": {"exposure_stops": kit["stops"], "shift_px": kit["shifts"]},
        "camera": {"horizontal_fov_deg": recipe.fov_deg, "rotation_to_world": built.view.rotation, "exposure_offset_stops": recipe.exposure_offset, "value_per_radiance": unit,
                   "lens": asdict(kit["lens"]), "sensor": asdict(kit["sensor"]), "style": asdict(kit["style"]) if recipe.format == "jpeg" else None},
        "lights": truth.lamp_truth(built, built.lamps, empty, unit),
        "other_spheres": [other | {"outline_px": views.outline(built.view, np.array(other["centre"]), other["radius"])} for other in built.others],
        "cg": {"error": made["error"], "baked": recipe.cg_baked, "delivery": made["form"], "size": made["size"], "outline_px": made["outline"]} | truth.cg_truth(built, made["error"]),
        "surroundings": {"plate_side": "truth_env.exr", "cg_side": "cg_env.exr", "mapping": "column u of W: azimuth 180 - 360 (u + 0.5) / W; row v of H: elevation 90 - 180 (v + 0.5) / H; camera axes; plate units"},
    }
