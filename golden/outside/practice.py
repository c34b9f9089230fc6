"""Small shots on which the look of a mirror sphere is learned (learn_look.py): frames of about 0.3 megapixels, the sphere in two
developments and the same view without it. No CG and no surroundings; everything else is as in the bench, with seeds of its own."""

import numpy as np

import camera
import photograph
import shot
import staging
import truth
import view as views
from make_shots import write_json
from recipe import PRACTICE, drawn

def make(recipe, geometry, folder):
    built, _, ellipse, hidden = shot.staged(recipe, geometry)
    seed = recipe.seed % 1000 + recipe.index * 64
    frame, depth, plate, plate_depth, _, _ = photograph.take(built, ellipse, seed)
    rng, names = recipe.rng("camera"), []
    for number in (1, 2):
        recipe.format, recipe.exposure = drawn(rng, PRACTICE["format"]), drawn(rng, PRACTICE["exposure"])
        unit = shot.exposure_unit(recipe, plate, rng)
        kit = shot.camera_kit(recipe, rng)
        through = camera.through_lens(frame * unit, depth, recipe.distance - built.radius, kit["lens"])
        names.append(f"sphere_{number}.{kit['ending']}")
        shot.write_frame(recipe, kit, through, 0.0, folder / names[-1], rng)
    empty = camera.through_lens(plate * unit, plate_depth, recipe.distance - built.radius, kit["lens"])
    shot.write_frame(recipe, kit, empty, 0.0, folder / f"plate.{kit['ending']}", rng)
    write_json(folder / "shot.json", sheet(recipe, kit, names))
    write_json(folder / "truth.json", {
        "half": recipe.half, "shot": recipe.name, "classes": shot.classes(recipe, kit, hidden, built.floor), "cg": {"error": {"kind": "right"}},
        "sphere": {"outline_px": ellipse, "hidden_rim": hidden[0], "cut_by_frame": hidden[1], "surface": built.surface},
        "bracket": {"exposure_stops": [0.0, 0.0], "shift_px": [[0, 0], [0, 0]]},
        "other_spheres": [other | {"outline_px": views.outline(built.view, np.array(other["centre"]), other["radius"])} for other in built.others],
    })


def sheet(recipe, kit, names):
    """Enough of a shot sheet to name the frames; the two developments are no bracket."""
    def entry(name):
        log = {"encoding": kit["curve"], "colour_space": "rec709"}
        return {"frame": name} | (log if recipe.format == "log" and name.endswith(kit["ending"]) else {})

    result = {"format": "plateproof-shot/1", "shot": f"SALT_P{recipe.index:05d}", "plate": entry(f"plate.{kit['ending']}"),
              "mirrors": [{"name": "m1", "bracket": [entry(name) for name in names]}], "cg": {"version": "v001", "spheres": [{"mirror": "m1", "frame": "none.exr"}]}}
    if recipe.lens_given:
        width = kit["settings"]["sensor_width_mm"]
        size = [recipe.width, recipe.height]
        focal = width / 2 / np.tan(np.radians(recipe.fov_deg) / 2)
        result["camera"] = {"focal_length_mm": round(focal, 2), "sensor_mm": [width, round(width * recipe.height / recipe.width, 4)],
                            "sensor_px": size, "used_px": size, "recorded_px": size}
    return result
