"""The same shots with something done to their pictures before they are judged."""

import json

import numpy as np
import OpenEXR

from pictures import pixels, save

CG_VARIANTS = ("flopped", "upside-down", "half-size", "cropped", "no-alpha")


def changed(folder, sheet, variant, out, rng):
    """Sheet and photographs of a variant; None where it does not apply."""
    if variant in CG_VARIANTS:
        return changed_cg(folder, sheet, variant, out)
    drop_clip(sheet)
    if variant == "untold":
        return sheet
    frames = [e["frame"] if isinstance(e, dict) else e for e in mirror_frames(sheet)]
    if not all(f.endswith(".exr") for f in frames) or "log" in json.dumps(sheet.get("plate", "")) or "encoding" in json.dumps(sheet["mirrors"]):
        return None
    if variant == "late-cut-bracket":
        return late_cut_bracket(folder, sheet, frames, out)
    if len(frames) != 1:
        return None
    path = frames[0]
    rgb = pixels(path)
    x, y, a = json.load(open(f"{folder}/truth.json"))["sphere"]["outline_px"][:3]
    yy, xx = np.mgrid[: rgb.shape[0], : rgb.shape[1]] + 0.5
    inside = np.hypot(xx - x, yy - y) < a
    level = float(np.quantile(rgb[inside].max(-1), 0.98))
    cut = np.minimum(rgb, level * (np.array([1.31, 1.0, 0.87]) if variant == "cut-gain" else 1.0))
    if variant == "cut-resampled":
        import cv2

        cut = resampled(cut, cv2.INTER_LANCZOS4 if rng.integers(2) else cv2.INTER_CUBIC)
    if variant == "cut-grain":
        cut = cut * (1 + 0.01 * rng.standard_normal(cut.shape)) + 0.002 * rng.standard_normal(cut.shape)
    save(f"{out}/cut.exr", cut, path)
    replace_frames(sheet, [f"{out}/cut.exr"])
    return sheet


def changed_cg(folder, sheet, variant, out):
    """A right CG with its picture mirrored about the sphere's middle, turned by half a circle, at half the size, cut to a square
    about its sphere, or laid over the plate without alpha."""
    truth = json.load(open(f"{folder}/truth.json"))
    if truth["cg"]["error"]["kind"] != "right" or truth["cg"]["delivery"]["crop"]:
        return None
    path = f"{folder}/cg.exr"
    with OpenEXR.File(path) as f:
        name = next(n for n in ("RGBA", "RGB") if n in f.channels())
        picture = f.channels()[name].pixels.astype(np.float32)
    x, y, a, b, angle = truth["cg"]["outline_px"]
    height, width = picture.shape[:2]
    sphere = sheet["cg"]["spheres"][0]
    if variant == "half-size":
        picture = picture[: height // 2 * 2, : width // 2 * 2]
        picture = (picture[::2, ::2] + picture[1::2, ::2] + picture[::2, 1::2] + picture[1::2, 1::2]) / 4
        outline = [x / 2, y / 2, a / 2, b / 2, angle]
    elif variant == "cropped":
        side = min(int(3.0 * a) // 2 * 2, width, height)
        left, top = int(np.clip(x - side / 2, 0, width - side)), int(np.clip(y - side / 2, 0, height - side))
        picture = picture[top : top + side, left : left + side]
        outline = [x - left, y - top, a, b, angle]
    elif variant == "no-alpha":
        import cv2

        plates = [sheet["plate"]["frame"]] if "plate" in sheet else []
        if truth["cg"]["delivery"]["comp"] != "alpha" or not plates or not plates[0].endswith(".exr") or truth["classes"]["format"] != "linear":
            return None
        behind = cv2.resize(pixels(plates[0]).astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
        picture, name = picture[..., :3] + behind * (1 - picture[..., 3:]), "RGB"
        sphere.pop("alpha", None)
        outline = [x, y, a, b, angle]
    else:
        shift = int(round(2 * x - width))
        picture, x, angle = np.roll(picture[:, ::-1], shift, 1), width - x + shift, -angle
        if variant == "upside-down":
            shift = int(round(2 * y - height))
            picture, y, angle = np.roll(picture[::-1], shift, 0), height - y + shift, -angle
        outline = [x, y, a, b, angle % 180]
    with OpenEXR.File({}, {name: np.ascontiguousarray(picture).astype(np.float16)}) as f:
        f.write(f"{out}/cg.exr")
    sphere["frame"] = f"{out}/cg.exr"
    if name == "RGB":
        sphere["outline_px"] = outline
    return sheet


def resampled(rgb, cv2_kind):
    import cv2

    small = (rgb.shape[1] * 95 // 100, rgb.shape[0] * 95 // 100)
    low = cv2.resize(rgb.astype(np.float32), small, interpolation=cv2_kind)
    return cv2.resize(low, rgb.shape[1::-1], interpolation=cv2_kind)


def late_cut_bracket(folder, sheet, frames, out):
    if len(frames) != 1:
        return None
    path = frames[0]
    rgb = pixels(path)
    level = float(np.quantile(rgb.max(-1), 0.995)) if rgb.max() > 0 else 1.0
    entries = []
    for stops in (0, -4, -8):
        name = f"{out}/b{-stops}.exr"
        save(name, np.minimum(rgb * 2.0**stops, level), path)
        entries.append({"frame": name, "exposure_stops": stops})
    sheet["mirrors"][0]["bracket"] = entries
    sheet["mirrors"][0].pop("frame", None)
    return sheet


def mirror_frames(sheet):
    mirror = sheet["mirrors"][0]
    return mirror["bracket"] if isinstance(mirror, dict) and "bracket" in mirror else [mirror]


def replace_frames(sheet, names):
    mirror = sheet["mirrors"][0]
    if "bracket" in mirror:
        mirror["bracket"] = [{**(e if isinstance(e, dict) else {}), "frame": n} for e, n in zip(mirror["bracket"], names)]
    else:
        mirror["frame"] = names[0]


def drop_clip(node):
    if isinstance(node, dict):
        node.pop("clip_level", None)
        for value in node.values():
            drop_clip(value)
    if isinstance(node, list):
        for value in node:
            drop_clip(value)
