"""What the same work costs with numpy, OpenCV and the OpenEXR Python package.

    python_peer.py read  plate.exr mirror.exr cg.exr    seconds of a full read of the three frames, after the start
    python_peer.py check plate.exr mirror.exr cg.exr    the core of the comparison, with seconds and versions
    python_peer.py seconds 5 plate.exr mirror.exr cg.exr    seconds of the same for one shot, when it is done 5 times

`check` makes the program's numbers the way a careful script would: both spheres' outlines (mirror: edges on
rays about the CG's place, then a fit; CG: coverage), both unwrapped by direction, their lights, key/fill over patches, exposure as
the weighted median of the blurred ratio, overall colour, the turn that maps one on the other, and the drift on the
background after a registration at full resolution. It knows neither uncertainties nor rivals, nor any of the program's
refusals, and makes no report.
"""

import sys
import time

import numpy as np
import OpenEXR

if sys.argv[1:2] != ["read"]:
    import cv2


def read(path):
    """All channels of a file as float32, red, green, blue and coverage."""
    channels = OpenEXR.File(path).channels()
    if "RGBA" in channels:
        pixels = channels["RGBA"].pixels
        return pixels[..., :3], pixels[..., 3]
    if "RGB" in channels:
        return channels["RGB"].pixels, None
    planes = [channels[name].pixels for name in "RGB"]
    return np.dstack(planes), channels["A"].pixels if "A" in channels else None


def circle_of_alpha(alpha):
    """Centre and radius from the area and the centroid of coverage."""
    alpha = alpha.astype(np.float32)
    moments = cv2.moments(alpha)
    area = moments["m00"]
    return moments["m10"] / area + 0.5, moments["m01"] / area + 0.5, np.sqrt(area / np.pi)


def circle_of_picture(rgb, near, rays=360):
    """The circle near another one along which lightness changes most, by edges on rays and robust least squares."""
    circle = np.array(near[:3], dtype=np.float64)
    for reach in (0.12, 0.04):
        radii = circle[2] * np.linspace(1 - reach, 1 + reach, 241)
        turn = np.radians(np.arange(rays) * 360 / rays)
        map_x = (circle[0] - 0.5 + np.outer(np.cos(turn), radii)).astype(np.float32)
        map_y = (circle[1] - 0.5 + np.outer(np.sin(turn), radii)).astype(np.float32)
        level = np.cbrt(cv2.remap(rgb.astype(np.float32), map_x, map_y, cv2.INTER_LINEAR) @ WEIGHTS)
        change = np.abs(np.gradient(cv2.GaussianBlur(level, (0, 0), 2), axis=1))
        edge = radii[np.argmax(change, axis=1)]
        weight = np.ones(rays)
        model = np.stack([np.cos(turn), np.sin(turn), np.ones(rays)], axis=1)
        for _ in range(15):
            step = np.linalg.lstsq(model * weight[:, None], (edge - circle[2]) * weight, rcond=None)[0]
            left = edge - circle[2] - model @ step
            spread = 1.4826 * np.median(np.abs(left)) + 1e-3
            weight = np.sqrt(np.maximum(1 - (left / (4.685 * spread)) ** 2, 0) ** 2)
        circle += step
    return circle


def unwrapped(rgb, circle, columns=360):
    """Radiance by direction (latitude, longitude), seen from far away."""
    azimuth = np.radians((np.arange(columns) + 0.5) / columns * 360 - 180)
    elevation = np.radians(90 - (np.arange(columns // 2) + 0.5) / (columns // 2) * 180)
    azimuth, elevation = np.meshgrid(azimuth, elevation)
    x, y, z = np.sin(azimuth) * np.cos(elevation), np.sin(elevation), np.cos(azimuth) * np.cos(elevation)
    half = np.sqrt(np.maximum(x * x + y * y + (z + 1) ** 2, 1e-9))
    map_x = (circle[0] + circle[2] * x / half - 0.5).astype(np.float32)
    map_y = (circle[1] - circle[2] * y / half - 0.5).astype(np.float32)
    return cv2.remap(rgb.astype(np.float32), map_x, map_y, cv2.INTER_LINEAR), (x, y, z), np.cos(elevation)


def key(picture, directions):
    """Mean direction of the brightest region."""
    bright = cv2.GaussianBlur(picture @ WEIGHTS, (0, 0), 4)
    mask = bright > 0.5 * bright.max()
    return np.array([np.average(axis[mask], weights=bright[mask]) for axis in directions])


def band(picture, circle):
    """The rows about the sphere, as the program reads them: 1.4 radii, and 0.18 of the height at least, to either side."""
    half = max(1.4 * circle[2], 0.18 * picture.shape[0])
    return slice(max(int(circle[1] - half), 0), min(int(circle[1] + half) + 1, picture.shape[0]))


def drift(plate, mirror, circle):
    """Median log ratio of the background, outside the sphere and the stand below it, after a registration to a few
    hundredths of a pixel: phase correlation, then a homography by enhanced correlation (ECC) at full resolution."""
    rows = band(plate, circle)
    levels = [np.log2(np.maximum(p[rows].astype(np.float32) @ WEIGHTS, 1e-4)) for p in (plate, mirror)]
    small = [cv2.resize(level, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA) for level in levels]
    (dx, dy), _ = cv2.phaseCorrelate(small[0], small[1])
    across = np.abs(np.arange(levels[0].shape[1]) - circle[0]) < 1.2 * circle[2]
    below = np.arange(rows.start, rows.stop) > circle[1] - 1.2 * circle[2]
    background = ~(below[:, None] & across[None, :])
    start = np.float32([[1, 0, 8 * dx], [0, 1, 8 * dy], [0, 0, 1]])
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 15, 1e-5)
    try:
        _, warp = cv2.findTransformECC(levels[0], levels[1], start, cv2.MOTION_HOMOGRAPHY, criteria,
                                       background.astype(np.uint8), 5)
    except cv2.error:
        warp = start
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(levels[1], warp, levels[1].shape[::-1], flags=flags, borderValue=float("nan"))
    ratio = (moved - levels[0])[background]
    return float(np.nanmedian(ratio)), warp[:2, 2]


def lights(picture, directions, weight):
    """Bright regions: direction, illuminance and mean colour of each, strongest first."""
    level = picture @ WEIGHTS
    count, labels = cv2.connectedComponents((level > 4 * np.median(level)).astype(np.uint8))
    found = []
    for label in range(1, count):
        mask = labels == label
        flux = level[mask] * weight[mask]
        direction = np.array([np.average(axis[mask], weights=flux) for axis in directions])
        colour = (picture[mask] * weight[mask][:, None]).sum(axis=0)
        found.append((flux.sum(), direction / np.linalg.norm(direction), colour))
    return sorted(found, key=lambda light: -light[0])


def key_fill_stops(picture, directions, weight, normals=800):
    """log2 of the largest over the smallest illuminance of patches within 75 degrees of the camera."""
    k = np.arange(normals) + 0.5
    z = 1 - k / normals * (1 - np.cos(np.radians(75)))
    turn = np.pi * (1 + 5**0.5) * k
    flat = np.sqrt(1 - z * z)
    patches = np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=1).astype(np.float32)
    rays = np.stack([axis.ravel() for axis in directions]).astype(np.float32)
    light = ((picture @ WEIGHTS) * weight).ravel().astype(np.float32)
    received = np.maximum(patches @ rays, 0) @ light
    return np.log2(received.max() / received.min())


def rotation(ours, theirs):
    """The turn of the second picture that best maps it on the first: a grid over all rotations, then finer about the
    best; angle in degrees."""
    rows, columns = 24, 48
    maps = [np.log2(np.maximum(cv2.resize(p @ WEIGHTS, (columns, rows), interpolation=cv2.INTER_AREA), 1e-4))
            for p in (ours, theirs)]
    azimuth = np.radians((np.arange(columns) + 0.5) / columns * 360 - 180)
    elevation = np.radians(90 - (np.arange(rows) + 0.5) / rows * 180)
    azimuth, elevation = np.meshgrid(azimuth, elevation)
    weight = np.cos(elevation).ravel()
    rays = np.stack([np.sin(azimuth) * np.cos(elevation), np.sin(elevation), np.cos(azimuth) * np.cos(elevation)])
    rays = rays.reshape(3, -1)

    def agreement(angles):
        matrix, _ = cv2.Rodrigues(np.array(angles, dtype=np.float64))
        x, y, z = matrix.T @ rays
        column = ((np.degrees(np.arctan2(x, z)) + 180) / 360 * columns).astype(int) % columns
        row = np.clip(((90 - np.degrees(np.arcsin(np.clip(y, -1, 1)))) / 180 * rows).astype(int), 0, rows - 1)
        a, b = maps[0].ravel(), maps[1][row, column]
        a, b = a - np.average(a, weights=weight), b - np.average(b, weights=weight)
        return np.sum(weight * a * b) / np.sqrt(np.sum(weight * a * a) * np.sum(weight * b * b))

    steps = np.radians(np.arange(-180, 180, 15))
    tilts = np.radians(np.arange(-90, 91, 15))
    best = max(((agreement((t, h, r)), (t, h, r)) for h in steps for t in tilts[::2] for r in tilts[::2]))[1]
    for width in np.radians([8, 4, 2, 1, 0.5]):
        near = [np.array(best) + width * np.array(o) for o in np.ndindex(3, 3, 3) for o in [np.array(o) - 1]]
        best = max((agreement(a), tuple(a)) for a in near)[1]
    return np.degrees(np.linalg.norm(best))


def overall_balance(ours, theirs, weight):
    """Red and blue against green of the mean light, second minus first, stops."""
    mean = [(p * weight[..., None]).sum(axis=(0, 1)) for p in (ours, theirs)]
    stops = np.log2(mean[1] / mean[0])
    return stops[0] - stops[1], stops[2] - stops[1]


WEIGHTS = np.float32([0.2126, 0.7152, 0.0722])


def compare(paths):
    """Time when all was read, and the numbers: angle between the keys, exposure, key/fill, colour, turn, drift."""
    (plate, _), (mirror, _), (cg, alpha) = (read(path) for path in paths)
    read_at = time.perf_counter()
    rendered = circle_of_alpha(alpha)
    photographed = circle_of_picture(mirror, rendered)
    (ours, directions, weight), (theirs, _, _) = unwrapped(mirror, photographed), unwrapped(cg, rendered)
    found = [lights(picture, directions, weight) for picture in (ours, theirs)]
    keys = [side[0][1] if side else key(picture, directions) for side, picture in zip(found, (ours, theirs))]
    angle = np.degrees(np.arccos(np.clip(np.dot(*keys), -1, 1)))
    blurred = [cv2.GaussianBlur(picture @ WEIGHTS, (0, 0), 5) for picture in (ours, theirs)]
    ratio = np.log2(np.maximum(blurred[1], 1e-6) / np.maximum(blurred[0], 1e-6)).ravel()
    order = np.argsort(ratio)
    middle = np.searchsorted(np.cumsum(weight.ravel()[order]), 0.5 * weight.sum())
    contrast = [key_fill_stops(picture, directions, weight) for picture in (ours, theirs)]
    numbers = {
        "key": angle,
        "exposure": ratio[order][middle],
        "key/fill": contrast[1] - contrast[0],
        "colour": overall_balance(ours, theirs, weight),
        "turn": rotation(ours, theirs),
        "drift": drift(plate, mirror, photographed),
    }
    return read_at, numbers


def check(paths):
    start = time.perf_counter()
    read_at, numbers = compare(paths)
    end = time.perf_counter()
    (stops_of_drift, shift) = numbers["drift"]
    print(
        f"  python {sys.version.split()[0]}, numpy {np.__version__}, OpenCV {cv2.__version__}, OpenEXR "
        f"{OpenEXR.__version__}: the comparison {1e3 * (end - start):.0f} ms, of it reading "
        f"{1e3 * (read_at - start):.0f} ms (keys {numbers['key']:.1f} deg apart, turned by {numbers['turn']:.1f} deg, CG "
        f"{numbers['exposure']:+.2f} stops, key/fill {numbers['key/fill']:+.2f}, red {numbers['colour'][0]:+.2f}, blue "
        f"{numbers['colour'][1]:+.2f}, drift {stops_of_drift:+.3f} stops at {shift[0]:+.2f}, {shift[1]:+.2f} px)"
    )


def main():
    what, paths = sys.argv[1], sys.argv[2:]
    if what == "check":
        check(paths)
        return
    if what == "seconds":
        start = time.perf_counter()
        for _ in range(int(paths[0])):
            compare(paths[1:])
        print((time.perf_counter() - start) / int(paths[0]))
        return
    start = time.perf_counter()
    for path in paths:
        read(path)
    print(time.perf_counter() - start)


main()
