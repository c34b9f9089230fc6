"""What `check` says of the outside shots with the true outline given, held against the truth of their surroundings.

    python benches/outside/judge_light.py --shots DIR [--half work] [--variant NAME] [--only 3,7] [--keep FILE]

Truth comes from `truth_env.exr` and `cg_env.exr` alone. A false match is a truth above 1.1 tolerances called `match`, a false
mismatch one below the tolerance called `mismatch`; decided counts findings whose truth is below half or above twice the tolerance.
`--variant` changes the photographs before they are judged: `untold` drops every clip level that a sheet states, `cut` cuts linear
frames off at one equal level, `cut-gain` at the levels that a white balance
after clipping leaves, `cut-resampled` and `cut-grain` do something more to them afterwards, `late-cut-bracket` takes single
linear exposures apart into a bracket of which all but the shortest frame are cut off.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import OpenEXR

LUMINANCE = np.array([0.21263901, 0.71516868, 0.07219232])
TOLERANCE = {"highlight-direction": 5.0, "key-fill-ratio": 0.33, "exposure": 0.25, "colour-balance": 0.1, "environment-rotation": 5.0}
CAP_DEG = 75.0


def pixels(path):
    with OpenEXR.File(path) as f:
        channels = f.channels()
        return np.nan_to_num(next(channels[n].pixels for n in ("RGB", "RGBA") if n in channels).astype(np.float64))


def axes(height, width):
    azimuth = np.radians(180 - 360 * (np.arange(width) + 0.5) / width)[None]
    elevation = np.radians(90 - 180 * (np.arange(height) + 0.5) / height)[:, None]
    directions = np.stack([np.cos(elevation) * np.sin(azimuth), np.sin(elevation) + 0 * azimuth, np.cos(elevation) * np.cos(azimuth)], -1)
    steradian = np.cos(elevation) * (np.pi / height) * (2 * np.pi / width) + 0 * azimuth
    return directions.reshape(-1, 3), steradian.reshape(-1)


def cap_normals(towards, count=1500):
    i = np.arange(count) + 0.5
    cosine = 1 - i / count * (1 - np.cos(np.radians(CAP_DEG)))
    turn = i * np.pi * (3 - np.sqrt(5))
    sine = np.sqrt(1 - cosine**2)
    side = np.cross(towards, [0, 1, 0.1])
    side /= np.linalg.norm(side)
    up = np.cross(side, towards)
    return cosine[:, None] * towards + sine[:, None] * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up)


def towards_camera(truth, width, height):
    x, y = truth["sphere"]["outline_px"][:2]
    focal = width / 2 / np.tan(np.radians(truth["camera"]["horizontal_fov_deg"]) / 2)
    v = np.array([-(x - width / 2), y - height / 2, focal])
    return v / np.linalg.norm(v)


def rotation_about(axis, degrees):
    a = np.radians(degrees)
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(a) * k + (1 - np.cos(a)) * k @ k


def key_of(light, directions, steradian):
    """Direction of the strongest light: largest flux within 5 degrees above its surroundings."""
    coarse = directions[::7]
    best, found = -1, None
    for d in coarse:
        cosine = directions @ d
        inner, ring = cosine > np.cos(np.radians(5)), (cosine < np.cos(np.radians(7))) & (cosine > np.cos(np.radians(13)))
        flux = (light[inner] * steradian[inner]).sum() - np.median(light[ring]) * steradian[inner].sum()
        if flux > best:
            best, found = flux, inner
    weight = np.clip(light[found] - np.median(light), 0, None) * steradian[found]
    d = (directions[found] * weight[:, None]).sum(0)
    return d / np.linalg.norm(d)


def truth_of(folder):
    truth = json.load(open(f"{folder}/truth.json"))
    ours, theirs = (pixels(f"{folder}/{n}_env.exr") for n in ("truth", "cg"))
    height, width = ours.shape[:2]
    directions, steradian = axes(height, width)
    ours, theirs = ours.reshape(-1, 3), theirs.reshape(-1, 3)
    a, b = ours @ LUMINANCE, theirs @ LUMINANCE
    sheet = json.load(open(f"{folder}/shot.json"))
    size = frame_size(folder)
    towards = towards_camera(truth, *size)
    cosines = np.clip(directions @ cap_normals(towards).T, 0, None) * steradian[:, None]
    ea, eb = a @ cosines, b @ cosines
    stops = lambda x, y: float(np.log2(x / y))
    kind = truth["cg"]["error"]["kind"]
    turn = truth["cg"]["rotation_deg"]
    up = np.array(truth["camera"]["rotation_to_world"]).T @ np.array([0, 1, 0.0])
    out = {"environment-rotation": abs(turn) if turn is not None and kind != "flopped" else None}
    out["key-fill-ratio"] = stops(eb.max() / eb.min(), ea.max() / ea.min())
    # The CG's surroundings brought home where the whole is turned.
    home = theirs
    if kind == "environment_turned":
        back = directions @ rotation_about(up, turn)  # source of each photographed direction
        az = (180 - np.degrees(np.arctan2(back[:, 0], back[:, 2]))) / 360 * width - 0.5
        el = (90 - np.degrees(np.arcsin(np.clip(back[:, 1], -1, 1)))) / 180 * height - 0.5
        home = theirs.reshape(height, width, 3)[np.clip(np.round(el).astype(int), 0, height - 1), np.round(az).astype(int) % width].reshape(-1, 3)
    dark = (a < np.quantile(a, 0.97)) & (home @ LUMINANCE < np.quantile(home @ LUMINANCE, 0.97))
    ratio = np.log2((home @ LUMINANCE + 1e-6) / (a + 1e-6))[dark]
    order = np.argsort(ratio)
    weight = np.cumsum(steradian[dark][order])
    out["surroundings"] = float(ratio[order][np.searchsorted(weight, weight[-1] / 2)])
    out["illuminance"] = stops(eb.mean(), ea.mean())
    out["exposure"] = max((out["surroundings"], out["illuminance"]), key=abs)
    mean = [(x * steradian[:, None]).sum(0) for x in (ours, home)]
    tint = np.log2(mean[1] / mean[0]) - stops(mean[1] @ LUMINANCE, mean[0] @ LUMINANCE)
    out["colour-balance"] = float(max(tint, key=abs))
    out["highlight-direction"] = None
    if kind in ("right", "gain", "colour"):
        out["highlight-direction"], out["environment-rotation"] = 0.0, 0.0
    elif kind == "key_moved":
        out["highlight-direction"] = truth["cg"]["key_direction_error_deg"]
    elif kind in ("environment_turned", "flopped", "upside_down"):
        k, l = key_of(a, directions, steradian), key_of(b, directions, steradian)
        out["highlight-direction"] = float(np.degrees(np.arctan2(np.linalg.norm(np.cross(k, l)), k @ l)))
    return truth, out


def frame_size(folder):
    name = next(n for n in sorted(os.listdir(folder)) if n.startswith("sphere"))
    path = f"{folder}/{name}"
    if name.endswith(".exr"):
        with OpenEXR.File(path, header_only=True) as f:
            low, high = f.header()["displayWindow"]
            return int(high[0] - low[0] + 1), int(high[1] - low[1] + 1)
    import cv2

    shape = cv2.imread(path, cv2.IMREAD_UNCHANGED).shape
    return shape[1], shape[0]


def save(path, rgb, source):
    with OpenEXR.File(source) as f:
        header = {k: v for k, v in f.header().items() if k not in ("channels", "dataWindow", "displayWindow", "type", "chunkCount")}
    with OpenEXR.File(header, {"RGB": rgb.astype(np.float16)}) as f:
        f.write(path)


def resampled(rgb, cv2_kind):
    import cv2

    small = (rgb.shape[1] * 95 // 100, rgb.shape[0] * 95 // 100)
    low = cv2.resize(rgb.astype(np.float32), small, interpolation=cv2_kind)
    return cv2.resize(low, rgb.shape[1::-1], interpolation=cv2_kind)


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


CG_VARIANTS = ("flopped", "upside-down", "half-size")


def changed_cg(folder, sheet, variant, out):
    """A right CG with its picture mirrored about the sphere's middle, turned by half a circle, or at half the size."""
    truth = json.load(open(f"{folder}/truth.json"))
    if truth["cg"]["error"]["kind"] != "right" or truth["cg"]["delivery"]["crop"]:
        return None
    path = f"{folder}/cg.exr"
    with OpenEXR.File(path) as f:
        name = next(n for n in ("RGBA", "RGB") if n in f.channels())
        picture = f.channels()[name].pixels.astype(np.float32)
    x, y, a, b, angle = truth["cg"]["outline_px"]
    height, width = picture.shape[:2]
    if variant == "half-size":
        picture = picture[: height // 2 * 2, : width // 2 * 2]
        picture = (picture[::2, ::2] + picture[1::2, ::2] + picture[::2, 1::2] + picture[1::2, 1::2]) / 4
        outline = [x / 2, y / 2, a / 2, b / 2, angle]
    else:
        shift = int(round(2 * x - width))
        picture, x, angle = np.roll(picture[:, ::-1], shift, 1), width - x + shift, -angle
        if variant == "upside-down":
            shift = int(round(2 * y - height))
            picture, y, angle = np.roll(picture[::-1], shift, 0), height - y + shift, -angle
        outline = [x, y, a, b, angle % 180]
    with OpenEXR.File({}, {name: np.ascontiguousarray(picture).astype(np.float16)}) as f:
        f.write(f"{out}/cg.exr")
    sphere = sheet["cg"]["spheres"][0]
    sphere["frame"] = f"{out}/cg.exr"
    if truth["cg"]["delivery"]["comp"] != "alpha":
        sphere["outline_px"] = outline
    return sheet


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


def absolute(node, folder):
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "frame" and isinstance(value, str):
                node[key] = os.path.join(folder, value)
            else:
                node[key] = absolute(value, folder)
        return node
    if isinstance(node, list):
        return [os.path.join(folder, v) if isinstance(v, str) and os.path.exists(os.path.join(folder, v)) else absolute(v, folder) for v in node]
    return node


def judge(arguments):
    folder, variant, program = arguments
    truth, true = truth_of(folder)
    sheet = absolute(json.load(open(f"{folder}/shot.json")), folder)
    with tempfile.TemporaryDirectory() as out:
        if variant:
            sheet = changed(folder, sheet, variant, out, np.random.default_rng(sum(map(ord, folder))))
            if sheet is None:
                return None
        for mirror in sheet["mirrors"]:
            mirror["outline_px"] = truth["sphere"]["outline_px"]
        if truth["cg"]["delivery"]["comp"] != "alpha":
            for sphere in sheet["cg"]["spheres"]:
                sphere.setdefault("outline_px", truth["cg"]["outline_px"])
        json.dump(sheet, open(f"{out}/shot.json", "w"))
        run = subprocess.run([program, "check", f"{out}/shot.json", "--out", f"{out}/reports", "--no-picture", "--format", "json"], capture_output=True, text=True)
        line = run.stdout.strip().splitlines()
        report = json.loads(line[-1]) if line else {"error": run.stderr}
    return os.path.basename(folder), truth, true, report


def verdicts(name, truth, true, report):
    for finding in report.get("findings", []):
        check = finding["check"]
        if check not in TOLERANCE or finding["verdict"] == "not-given":
            continue
        t, tolerance = true.get(check), TOLERANCE[check]
        verdict, value, sd = finding["verdict"], finding.get("value"), finding.get("value_sd")
        false = t is not None and ((verdict == "match" and abs(t) > 1.1 * tolerance) or (verdict == "mismatch" and abs(t) < tolerance))
        clear = t is not None and (abs(t) < tolerance / 2 or abs(t) > 2 * tolerance)
        yield {"shot": name, "check": check, "truth": t, "verdict": verdict, "value": value, "sd": sd, "false": false, "clear": clear, "kind": truth["cg"]["error"]["kind"],
               "class": input_class(truth), "reason": finding.get("reason", ""), "remedy": finding.get("remedy", "")}


def input_class(truth):
    c = truth["classes"]
    return f"{c['format']}{'-bracket' if c['bracket'] > 1 else ''}"


def number(value, digits=2):
    return "    -" if value is None else f"{value:+.{digits}f}"


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--shots", required=True)
    arguments.add_argument("--half", default="work")
    arguments.add_argument("--variant", default="")
    arguments.add_argument("--only", default="")
    arguments.add_argument("--largest-mp", type=float, default=3.0)
    arguments.add_argument("--program", default="target/release/plateproof")
    arguments.add_argument("--keep", default="")
    arguments.add_argument("--jobs", type=int, default=2)
    arguments.add_argument("--all", action="store_true", help="print every finding, not only false ones")
    a = arguments.parse_args()
    only = {int(n) for n in a.only.split(",") if n}
    folders = [f"{a.shots}/{n}" for n in sorted(os.listdir(a.shots)) if n.startswith(a.half + "_") and (not only or int(n[-3:]) in only)]
    folders = [os.path.abspath(f) for f in folders if json.load(open(f"{f}/truth.json"))["classes"]["megapixels"] <= a.largest_mp]
    with ThreadPoolExecutor(a.jobs) as pool:
        done = [d for d in pool.map(judge, [(f, a.variant, os.path.abspath(a.program)) for f in folders]) if d]
    rows = [row for d in done for row in verdicts(*d)]
    for name, _, _, report in done:
        if report.get("error"):
            print(name, "error:", str(report["error"])[:200])
    for row in rows:
        if row["false"] or a.all:
            print(f"{'FALSE' if row['false'] else '     '} {row['shot']} {row['class']:14} {row['kind']:18} {row['check']:20} truth {number(row['truth'])} {row['verdict']:9} {number(row['value'])} +/- {number(row['sd'])}"
                  + (f"\n        {row['reason'][:200]}\n        {row['remedy'][:200]}" if row["false"] or a.only else ""))
    table(rows)
    if a.keep:
        json.dump(rows, open(a.keep, "w"))


def table(rows):
    groups = sorted({(r["check"], "all") for r in rows} | {("all", r["class"]) for r in rows} | {("all", "all")})
    for check, kind in groups:
        part = [r for r in rows if check in ("all", r["check"]) and kind in ("all", r["class"])]
        known, clear = [r for r in part if r["truth"] is not None], [r for r in part if r["clear"]]
        z = [(abs(r["value"]) - abs(r["truth"])) / r["sd"] for r in known if r["value"] is not None and r["sd"]]
        z = np.array(z) if z else np.array([np.nan])
        print(f"{check:20} {kind:14} findings {len(part):4} false {sum(r['false'] for r in part):3} decided {sum(r['verdict'] != 'unsure' for r in clear):3}/{len(clear):<3}"
              f" within 2 sd {np.mean(np.abs(z) < 2):.2f} mean z2 {np.mean(z**2):7.2f} beyond 4 sd {np.mean(np.abs(z) > 4):.3f}")


if __name__ == "__main__":
    sys.exit(main())
