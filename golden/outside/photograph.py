"""One shot's frames as radiance: the full set and the empty plate, before any camera."""

import cv2
import numpy as np
import pyoidn

import render

SCENE = ("set", "stand", "sphere", "crew", "camera", "obstacle")
PLATE = ("set", "crew", "camera")


def background_scale(recipe):
    return {"smoke": 1.0, "practice": 0.5}.get(recipe.half) or {"normal": 0.6, "large": 0.36, "huge": 0.2}[recipe.size]


def window_round(ellipse, view, margin):
    """(left, top, width, height) of a frame's part round an outline."""
    x, y, a, b, _ = ellipse
    reach = max(a, b) + margin
    left, top = max(0, int(x - reach)), max(0, int(y - reach))
    right, bottom = min(view.width, int(np.ceil(x + reach))), min(view.height, int(np.ceil(y + reach)))
    return left, top, right - left, bottom - top


def clean(pixels, hit):
    """Takes the path tracer's noise out. Never used on a rim."""
    albedo, normal = np.clip(hit[..., 1:4], 0, 1), hit[..., 4:7]
    return pyoidn.denoise(np.ascontiguousarray(pixels), np.ascontiguousarray(albedo), np.ascontiguousarray(normal), hdr=True, quality="fast")


def enlarged(pixels, small_albedo, albedo):
    """Light at low resolution times reflectance at full resolution."""
    size = albedo.shape[1::-1]
    light = cv2.resize(pixels / (small_albedo + 0.02), size, interpolation=cv2.INTER_CUBIC)
    return np.maximum(light, 0) * (albedo + 0.02)


def background(scene, view, scale, strata, seed):
    """Radiance and depth of the whole frame."""
    small = view.resized(scale)
    everything = (0, 0, small.width, small.height)
    pixels = render.radiance(scene, small, everything, strata, seed)
    hit = render.first_hit(scene, small, everything, (2, 2), seed + 1)
    pixels = clean(pixels, hit)
    if scale == 1:
        return pixels, hit[..., 0]
    full = render.first_hit(scene, view, (0, 0, view.width, view.height), (2, 2) if scale > 0.5 else (1, 1), seed + 2)
    return enlarged(pixels, hit[..., 1:4], full[..., 1:4]).astype(np.float32), full[..., 0]


def outside_px(ellipse, window):
    """Distance from the outline in pixels, positive outside, for every pixel of a window."""
    left, top, width, height = window
    y, x = np.mgrid[top:top + height, left:left + width] + 0.5
    cx, cy, a, b, angle = ellipse
    turn = np.radians(angle)
    u = (x - cx) * np.cos(turn) + (y - cy) * np.sin(turn)
    v = (y - cy) * np.cos(turn) - (x - cx) * np.sin(turn)
    return (np.hypot(u / a, v / b) - 1) * min(a, b)


def insert_sphere(frame, scene, view, ellipse, recipe, seed):
    """Renders the part round the sphere finer. The rim itself gets the most samples and no denoising; single stray sparks
    there are held to what is brightest nearby."""
    window = window_round(ellipse, view, 0.3 * max(ellipse[2:4]) + 12)
    left, top, width, height = window
    strata, depth = sphere_strata(recipe), 10 if recipe.surface == "globe" else 7
    raw = render.radiance(scene, view, window, strata, seed, depth)
    many = strata[0] >= MANY_STRATA
    hit = render.first_hit(scene, view, window, (2, 2), seed + 1)
    away = outside_px(ellipse, window)
    # The denoiser takes small lamps for sparks, so it is left out where there are rays enough.
    smooth = raw if many else clean(raw, hit)
    patch = np.where(away[..., None] < 0, 0.8 * smooth + 0.2 * raw, smooth)
    rows, columns = np.nonzero(np.abs(away) < RIM_PX)
    rim = render.radiance_at(scene, view, np.stack([columns + left, rows + top], 1), rim_strata(len(rows), recipe), seed + 2, depth)
    brightest_near = cv2.dilate(smooth, np.ones((5, 5), np.uint8))
    patch[rows, columns] = np.minimum(rim, 1.2 * brightest_near[rows, columns])
    region = frame[top:top + height, left:left + width]
    blend = edge_fade(width, height, view, window)
    frame[top:top + height, left:left + width] = region * (1 - blend) + patch * blend


RIM_PX = 3.5
MANY_STRATA = 10


def rim_strata(pixels, recipe):
    if recipe.half == "practice":
        return (7, 7)
    return (14, 14) if pixels < 12_000 else (10, 10)


def edge_fade(width, height, view, window, pixels=8):
    """0 at those edges of a window that lie inside the frame, 1 from a few pixels inwards."""
    left, top = window[:2]
    across = np.minimum(np.arange(width) if left else np.full(width, 99), np.arange(width)[::-1] if left + width < view.width else 99)
    down = np.minimum(np.arange(height) if top else np.full(height, 99), np.arange(height)[::-1] if top + height < view.height else 99)
    return np.clip(np.minimum(across[None], down[:, None]) / pixels, 0, 1)[..., None].astype(np.float32)


def sphere_strata(recipe):
    if recipe.half == "practice":
        return (3, 3)
    if recipe.half != "smoke" and recipe.radius_px < SMALL_PX:
        # A pixel of a small sphere shows many degrees of the world, in which a lamp of half a degree is hit by few rays: a
        # light's strength would be that of the dice. Each sphere gets as many rays as one of the largest of these.
        each = int(np.ceil(5 * SMALL_PX / recipe.radius_px))
        return (each, each)
    if recipe.surface == "globe" and recipe.radius_px < 200:
        return (6, 6)
    return (5, 5) if recipe.radius_px < SMALL_PX else (4, 4)


SMALL_PX = 140


def take(built, ellipse, seed):
    """Radiance and depth with the sphere and without."""
    recipe = built.recipe
    scale = background_scale(recipe)
    strata = (2, 2) if recipe.half in ("smoke", "practice") else (3, 2)
    full = built.scene(*SCENE)
    frame, frame_depth = background(full, built.view, scale, strata, seed)
    insert_sphere(frame, full, built.view, ellipse, recipe, seed + 10)
    empty = built.scene(*PLATE)
    plate, plate_depth = background(empty, built.view, scale, strata, seed + 20)
    return frame, frame_depth, plate, plate_depth, empty, full
