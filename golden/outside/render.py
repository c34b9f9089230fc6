"""Rays into the path tracer and pixels out of it. Every picture of the bench is made by the rays generated here."""

import glob
import os

import numpy as np


def choose_library():
    """The JIT needs an LLVM; versions before 16 fail on some processors, so the newest installed one is taken."""
    found = sorted(glob.glob("/usr/lib/*/libLLVM*.so*"), key=llvm_version)
    if found and "DRJIT_LIBLLVM_PATH" not in os.environ:
        os.environ["DRJIT_LIBLLVM_PATH"] = found[-1]


def llvm_version(path):
    digits = "".join(c if c.isdigit() or c == "." else " " for c in os.path.basename(path)).split()
    return float(digits[0].split(".")[0]) if digits and digits[0].strip(".") else 0.0


choose_library()
import drjit as dr  # noqa: E402
import mitsuba as mi  # noqa: E402

mi.set_variant("llvm_ad_rgb")
mi.set_log_level(mi.LogLevel.Error)

RAYS_AT_ONCE = 3_000_000


def transform(rotation=np.eye(3), shift=(0, 0, 0)):
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = rotation, shift
    return mi.ScalarTransform4f(matrix)


def use_threads(count):
    dr.set_thread_count(count)


def opaque(value):
    """A number that the compiler cannot see, so that one compiled kernel serves all pictures."""
    return dr.opaque(mi.Float, float(value))


def integrator(depth):
    return mi.load_dict({"type": "path", "max_depth": depth, "rr_depth": 5})


def jittered(first_row, rows, left, width, strata, sampler):
    """Pixel coordinates of stratified samples, all samples of a pixel in a run."""
    across, down = strata
    count = across * down
    index = dr.arange(mi.UInt32, width * rows * count)
    each, wide = dr.opaque(mi.UInt32, count), dr.opaque(mi.UInt32, width)
    pixel, sample = index // each, index % each
    in_x, in_y = sample % dr.opaque(mi.UInt32, across), sample // dr.opaque(mi.UInt32, across)
    x = mi.Float(pixel % wide) + opaque(left) + (mi.Float(in_x) + sampler.next_1d()) * opaque(1 / across)
    y = mi.Float(pixel // wide) + opaque(first_row) + (mi.Float(in_y) + sampler.next_1d()) * opaque(1 / down)
    return x, y


def turned(rotation, vector):
    rows = [[opaque(v) for v in row] for row in np.asarray(rotation)]
    return mi.Vector3f(*(r[0] * vector.x + r[1] * vector.y + r[2] * vector.z for r in rows))


def camera_ray(view, x, y):
    away = mi.Vector3f((x - opaque(view.width / 2)) * opaque(1 / view.focal), (opaque(view.height / 2) - y) * opaque(1 / view.focal), opaque(-1))
    origin = mi.Point3f(*(opaque(v) for v in view.position))
    return mi.RayDifferential3f(origin, turned(view.rotation, dr.normalize(away)))


def latlong_ray(origin, rotation, width, height, x, y):
    """Column x looks at azimuth 180 - 360 x / width, row y at elevation 90 - 180 y / height, in the rotated axes."""
    azimuth, elevation = dr.pi - x * opaque(2 * np.pi / width), dr.pi / 2 - y * opaque(np.pi / height)
    flat = dr.cos(elevation)
    direction = mi.Vector3f(flat * dr.sin(azimuth), dr.sin(elevation), flat * dr.cos(azimuth))
    return mi.RayDifferential3f(mi.Point3f(*(opaque(v) for v in origin)), turned(rotation, direction))


def fresh_sampler(seed, count):
    sampler = mi.load_dict({"type": "independent"})
    sampler.seed(seed, count)
    return sampler


def pixel_means(values, samples, rows, width):
    dr.eval(values)  # all at once: block_sum would trace every ray again for each of them
    means = [np.array(dr.block_sum(v, samples)) / samples for v in values]
    return np.stack(means, -1).reshape(rows, width, len(values)).astype(np.float32)


def in_strips(window, strata, seed, shade):
    """Calls shade(rays of a strip) from top to bottom; window is (left, top, width, height)."""
    left, top, width, height = window
    samples = strata[0] * strata[1]
    step = max(1, RAYS_AT_ONCE // (width * samples))
    strips = []
    for row in range(0, height, step):
        rows = min(step, height - row)
        sampler = fresh_sampler(seed * 4096 + row, width * rows * samples)
        x, y = jittered(top + row, rows, left, width, strata, sampler)
        strips.append(pixel_means(shade(x, y, sampler), samples, rows, width))
    return np.concatenate(strips)


def finite(colour, limit):
    ok = dr.isfinite(colour.x + colour.y + colour.z)
    return [dr.select(ok, dr.clip(c, 0, limit), 0) for c in (colour.x, colour.y, colour.z)]


def radiance(scene, view, window, strata, seed, depth=6):
    tracer = integrator(depth)

    def shade(x, y, sampler):
        colour, _, _ = tracer.sample(scene, sampler, camera_ray(view, x, y), None, mi.Bool(True))
        return finite(colour, 1e6)

    return in_strips(window, strata, seed, shade)


def radiance_at(scene, view, pixels, strata, seed, depth=6):
    """Radiance of single pixels, given as integer columns and rows (n x 2)."""
    tracer, across, down = integrator(depth), *strata
    samples = across * down
    at_once = max(1, RAYS_AT_ONCE // samples)
    strips = []
    for first in range(0, len(pixels), at_once):
        part = pixels[first:first + at_once]
        sampler = fresh_sampler(seed * 4096 + first // at_once, len(part) * samples)
        index = dr.arange(mi.UInt32, len(part) * samples)
        pixel, sample = index // dr.opaque(mi.UInt32, samples), index % dr.opaque(mi.UInt32, samples)
        column, row = (dr.gather(mi.Float, mi.Float(np.ascontiguousarray(part[:, k], np.float32)), pixel) for k in (0, 1))
        in_x, in_y = sample % dr.opaque(mi.UInt32, across), sample // dr.opaque(mi.UInt32, across)
        x = column + (mi.Float(in_x) + sampler.next_1d()) * opaque(1 / across)
        y = row + (mi.Float(in_y) + sampler.next_1d()) * opaque(1 / down)
        colour, _, _ = tracer.sample(scene, sampler, camera_ray(view, x, y), None, mi.Bool(True))
        strips.append(pixel_means(finite(colour, 1e6), samples, len(part), 1)[:, 0])
    return np.concatenate(strips)


def radiance_of(scene, wanted, view, window, strata, seed, depth=6):
    """Premultiplied radiance and coverage of one shape; rays that miss it count as nothing."""
    tracer, target = integrator(depth), mi.ShapePtr(wanted)

    def shade(x, y, sampler):
        ray = camera_ray(view, x, y)
        hit = scene.ray_intersect_preliminary(ray, True, mi.Bool(True))
        ours = hit.is_valid() & (hit.shape == target)
        colour, _, _ = tracer.sample(scene, sampler, ray, None, ours)
        return [dr.select(ours, c, 0) for c in finite(colour, 1e6)] + [dr.select(ours, mi.Float(1), 0)]

    return in_strips(window, strata, seed, shade)


def first_hit(scene, view, window, strata, seed):
    """Distance along the view axis (nothing hit: 1000 m), diffuse reflectance, and normal of what a pixel shows first."""
    back = [float(v) for v in view.rotation[:, 2]]

    def shade(x, y, sampler):
        ray = camera_ray(view, x, y)
        si = scene.ray_intersect(ray, mi.RayFlags.All, True, mi.Bool(True))
        hit = si.is_valid()
        along = -(ray.d.x * opaque(back[0]) + ray.d.y * opaque(back[1]) + ray.d.z * opaque(back[2]))
        albedo = si.bsdf(ray).eval_diffuse_reflectance(si, hit)
        return [dr.select(hit, si.t * along, 1000)] + [dr.select(hit, c, 0) for c in (albedo.x, albedo.y, albedo.z, si.n.x, si.n.y, si.n.z)]

    return in_strips(window, strata, seed, shade)


def surroundings(scene, origin, rotation, width, height, strata, seed, depth=6):
    tracer = integrator(depth)

    def shade(x, y, sampler):
        ray = latlong_ray(origin, rotation, width, height, x, y)
        colour, _, _ = tracer.sample(scene, sampler, ray, None, mi.Bool(True))
        return finite(colour, 1e7)

    return in_strips((0, 0, width, height), strata, seed, shade)


def hits(scene, origins, directions):
    """For each ray the distance (infinite where nothing is hit) and the name of the shape hit."""
    ray = mi.Ray3f(mi.Point3f(np.asarray(origins, np.float32).T), mi.Vector3f(np.asarray(directions, np.float32).T))
    hit = scene.ray_intersect_preliminary(ray, True, mi.Bool(True))
    distance = np.where(np.array(hit.is_valid()), np.array(hit.t), np.inf)
    index = np.array(dr.reinterpret_array(mi.UInt32, hit.shape))
    names = {int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(s)))[0]): s.id() for s in scene.shapes()}
    return distance, [names.get(int(i), "") for i in index]
