"""Checks the rendered files against a prediction that shares nothing with the renderer but the surroundings.

    python check_shots.py [prefix ...]

For each mirror and CG frame: the sphere's pixels are predicted by the closed-form reflection (8 x 8 points a pixel, same
bilinear look-up) and each light's centroid in the rendered frame is compared with the predicted one. Also the plate's
background, the outline in the alpha channel, and the total size. Exits with 1 where a limit is exceeded.
"""

import sys
from pathlib import Path

import numpy as np

import exr_out
import geometry as geo
from environment import HEIGHT, LUMINANCE, WIDTH
from make_shots import HERE, Cache
from shots import shots

CENTROID_LIMIT_PX = 0.1
MEDIAN_LIMIT_STOPS = 0.005
OUTLINE_LIMIT_PX = 0.05
SIZE_LIMIT = 12 * 2**20


def look_up(picture, d):
    u = (180 - np.degrees(np.arctan2(d[..., 0], d[..., 2]))) / 360 * WIDTH - 0.5
    v = np.clip((90 - np.degrees(np.arcsin(np.clip(d[..., 1], -1, 1)))) / 180 * HEIGHT - 0.5, 0, HEIGHT - 1.001)
    u0, v0 = np.floor(u).astype(int), np.floor(v).astype(int)
    fu, fv = (u - u0)[..., None], (v - v0)[..., None]
    rows = [picture[v0 + k, u0 % WIDTH] * (1 - fu) + picture[v0 + k, (u0 + 1) % WIDTH] * fu for k in (0, 1)]
    return rows[0] * (1 - fv) + rows[1] * fv


def predicted(camera, sphere, picture, reflectance, window, points=8):
    """The sphere over its background (or the background alone where `sphere` is None), box-filtered."""
    x0, y0, x1, y1 = window
    total = 0
    for oy in (np.arange(points) + 0.5) / points:
        for ox in (np.arange(points) + 0.5) / points:
            y, x = np.mgrid[y0:y1, x0:x1].astype(float)
            d = camera.rays(x + ox, y + oy)
            rgb = look_up(picture, d)
            if sphere is not None:
                seen, on = geo.reflect(camera, sphere, x + ox, y + oy)
                rgb = np.where(on[..., None], look_up(picture, seen) * reflectance, rgb)
            total = total + rgb
    return total / points**2


def stored(path, camera):
    pixels, header = exr_out.read(path)
    full = np.zeros((camera.height, camera.width, pixels.shape[2]))
    (x0, y0), (x1, y1) = header["dataWindow"]
    full[y0 : y1 + 1, x0 : x1 + 1] = pixels
    return full


def centroid(window_pixels, x0, y0, threshold):
    weight = np.maximum(window_pixels @ LUMINANCE - threshold, 0)
    y, x = np.mgrid[: weight.shape[0], : weight.shape[1]]
    return np.array([(weight * (x + x0 + 0.5)).sum(), (weight * (y + y0 + 0.5)).sum()]) / weight.sum(), weight.sum()


def check_light(shot, light, camera, picture, frame, reflectance, scale):
    sphere = shot.sphere()
    px, py = geo.seen_at(camera, sphere, light.towards)
    reach = int(np.ceil(light.radius_deg / 1.2 + 4)) if shot.radius_px < 150 else int(light.radius_deg * 2 + 6)
    x0, x1 = max(int(px) - reach, 0), min(int(px) + reach + 1, camera.width)
    y0, y1 = max(int(py) - reach, 0), min(int(py) + reach + 1, camera.height)
    points = 64 if light.radius_deg < 1 else 8
    model = predicted(camera, sphere, picture, reflectance, (x0, y0, x1, y1), points) * scale
    if shot.clip_level is not None and frame is not None:
        model = np.minimum(model, shot.clip_level)
    seen = frame[y0:y1, x0:x1, :3]
    threshold = 0.15 * float((model @ LUMINANCE).max())
    (a, sum_a), (b, sum_b) = centroid(seen, x0, y0, threshold), centroid(model, x0, y0, threshold)
    return float(np.hypot(*(a - b))), float(np.log2(sum_a / sum_b))


def check_frame(shot, role, camera, side, reflectance, scale, cache):
    picture = side.picture(cache)
    frame = stored(HERE / shot.folder / f"{role}.exr", camera)
    sphere = shot.sphere()
    clip = shot.clip_level if role == "mirror" else None
    worst = 0.0
    for light in side.lights:
        probe = shot if clip == shot.clip_level else type(shot)(**{**shot.__dict__, "clip_level": None})
        off, stops = check_light(probe, light, camera, picture, frame, reflectance, scale)
        worst = max(worst, off)
        print(f"  {role} {light.name}: centroid off {off:.3f} px, highlight sum {stops:+.4f} stop")
    cx, cy, a, b, _ = geo.outline(camera, sphere)
    window = (
        max(int(cx - a), 0),
        max(int(cy - a), 0),
        min(int(cx + a) + 1, camera.width),
        min(int(cy + a) + 1, camera.height),
    )
    model = predicted(camera, sphere, picture, reflectance, window, 4) * scale
    seen = frame[window[1] : window[3], window[0] : window[2], :3]
    y, x = np.mgrid[window[1] : window[3], window[0] : window[2]] + 0.5
    inner = np.hypot(x - cx, y - cy) < 0.9 * b
    ratio = np.log2(np.maximum(seen @ LUMINANCE, 1e-6) / (model @ LUMINANCE))[inner]
    median, spread = float(np.median(ratio)), float(np.median(np.abs(ratio - np.median(ratio))))
    print(f"  {role} sphere: median {median:+.4f} stop, spread {spread:.4f}")
    outline_off = check_alpha(frame, camera, sphere) if frame.shape[2] == 4 else 0.0
    return worst <= CENTROID_LIMIT_PX and abs(median) <= MEDIAN_LIMIT_STOPS and outline_off <= OUTLINE_LIMIT_PX


def check_alpha(frame, camera, sphere):
    """Area and centroid of the alpha channel against the closed-form ellipse."""
    cx, cy, a, b, _ = geo.outline(camera, sphere)
    alpha = frame[..., 3]
    y, x = np.mgrid[: camera.height, : camera.width] + 0.5
    total = alpha.sum()
    off = np.hypot((alpha * x).sum() / total - cx, (alpha * y).sum() / total - cy)
    radius_off = np.sqrt(total / np.pi) - np.sqrt(a * b)
    print(f"  alpha: centre off {off:.4f} px, radius off {radius_off:+.4f} px")
    return max(off, abs(radius_off))


def check_plate(shot, cache):
    camera = shot.camera
    picture = shot.mirror.picture(cache)
    frame = stored(HERE / shot.folder / "plate.exr", camera)
    dx, dy = shot.plate_shift_px
    model = predicted(camera, None, picture, 1, (0, 0, camera.width, camera.height), 2)
    best = {}
    for label, (sx, sy) in {"stated": (dx, dy), "opposite": (-dx, -dy)}.items():
        y, x = np.mgrid[8 : camera.height - 8, 8 : camera.width - 8] + 0.5
        moved = look_up(picture, camera.rays(x - sx, y - sy)) @ LUMINANCE
        best[label] = float(np.median(np.abs(np.log2(np.maximum(frame[8:-8, 8:-8, :3] @ LUMINANCE, 1e-4) / moved))))
    print(f"  plate: median |difference| {best}, texture spread {np.std(np.log2(model @ LUMINANCE)):.2f} stop")
    return best["stated"] <= best["opposite"]


def main():
    fine, cache = True, Cache()
    for shot in sorted(shots(), key=lambda s: s.mirror.ambience):
        if (sys.argv[1:] and not shot.folder.startswith(tuple(sys.argv[1:]))) or not (
            HERE / shot.folder / "cg.exr"
        ).exists():
            continue
        print(shot.folder)
        fine &= check_plate(shot, cache)
        fine &= check_frame(shot, "mirror", shot.camera, shot.mirror, shot.reflectance, 2.0**shot.mirror_stops, cache)
        fine &= check_frame(
            shot, "cg", shot.cg_camera or shot.camera, shot.cg, shot.cg_reflectance or shot.reflectance, 1.0, cache
        )
    size = sum(f.stat().st_size for f in Path(HERE).rglob("*") if f.is_file() and "__pycache__" not in f.parts)
    print(f"total {size / 2**20:.2f} MiB", "all within limits" if fine and size <= SIZE_LIMIT else "LIMIT EXCEEDED")
    return 0 if fine and size <= SIZE_LIMIT else 1


if __name__ == "__main__":
    sys.exit(main())
