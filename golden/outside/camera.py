"""From linear radiance to what a camera records: lens, sensor, development. Values are in units where the plate's
scene-linear mid grey is 0.18 before exposure offsets."""

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass
class Lens:
    blur: float
    defocus_px: float
    background_px: float
    glare: float
    blades: int
    blade_turn: float
    streaks: float
    vignette: float
    fringe: float


@dataclass
class Sensor:
    clip: float
    full_well: float
    read_noise: float
    white_balance: np.ndarray
    demosaic: str
    keep_pink: bool


def draw_lens(rng, recipe, scale):
    """`scale` is the frame's width over 1600: bigger frames are softer per pixel."""
    defocus = {"sharp": 0.0, "soft": rng.uniform(0.8, 2.0), "out": rng.uniform(2.0, 4.5)}[recipe.focus]
    defocus = min(defocus, recipe.radius_px * 0.05)
    return Lens(
        blur=rng.uniform(0.35, 0.8) * min(1.6, max(0.8, scale)), defocus_px=defocus,
        background_px=rng.choice([0.0, rng.uniform(1, 8)]) * scale, glare=float(np.exp(rng.uniform(np.log(0.004), np.log(0.05)))),
        blades=int(rng.choice([6, 7, 8, 9])), blade_turn=rng.uniform(0, np.pi), streaks=rng.uniform(0, 0.5),
        vignette=rng.uniform(0, 0.5), fringe=rng.uniform(-6e-4, 6e-4),
    )


def disc(radius):
    size = int(np.ceil(radius)) * 2 + 3
    y, x = np.mgrid[:size, :size] - size // 2
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return kernel / kernel.sum()


def defocused(pixels, radius):
    if radius < 0.3:
        return pixels
    if radius > 12:
        small = cv2.resize(pixels, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        return cv2.resize(defocused(small, radius / 2), pixels.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return cv2.filter2D(pixels, -1, disc(radius), borderType=cv2.BORDER_REPLICATE)


def depth_blur(pixels, depth, focus_depth, strongest):
    """Blurs by distance from the focal plane. What is nearer does not bleed into the blurred background."""
    if strongest < 0.5:
        return pixels
    nearest = cv2.erode(depth, np.ones((3, 3), np.uint8))
    circle = strongest * np.clip(np.abs(1 / nearest - 1 / focus_depth) * focus_depth - 0.06, 0, 1)
    result = pixels
    for level in strongest * np.array([0.25, 0.5, 1.0]):
        weight = np.clip((circle / level - 0.3) / 0.4, 0, 1).astype(np.float32)
        blurred = defocused(np.dstack([pixels * weight[..., None], weight]), level)
        filled = blurred[..., :3] / np.maximum(blurred[..., 3:], 1e-4)
        share = np.clip((circle / level - 0.5) * 2, 0, 1)[..., None].astype(np.float32)
        result = result * (1 - share) + filled * share
    return result


def glare_kernel(size, lens):
    y, x = np.mgrid[:size, :size] - size // 2
    distance = np.hypot(x, y) + 1.0
    halo = distance ** -2.4
    angle = np.arctan2(y, x) + lens.blade_turn
    rays = lens.blades if lens.blades % 2 == 0 else 2 * lens.blades
    spikes = np.maximum(np.cos(angle * rays / 2) ** 2, 0) ** 60 * distance ** -1.7
    kernel = halo / halo.sum() * (1 - lens.streaks) + spikes / spikes.sum() * lens.streaks
    return kernel.astype(np.float32)


def with_glare(pixels, lens):
    """A small part of all light is spread wide; it shows round what is very bright."""
    height, width = pixels.shape[:2]
    step = max(2, int(round(width / 800)))
    small = cv2.resize(pixels, (width // step, height // step), interpolation=cv2.INTER_AREA)
    size = 2 * max(small.shape[:2]) // 2 + 1
    kernel = glare_kernel(size, lens)
    shape = [cv2.getOptimalDFTSize(n + size) for n in small.shape[:2]]
    transfer = np.fft.rfft2(kernel, shape)
    spread = [np.fft.irfft2(np.fft.rfft2(small[..., c], shape) * transfer, shape) for c in range(3)]
    half = size // 2
    spread = np.stack(spread, -1)[half:half + small.shape[0], half:half + small.shape[1]].astype(np.float32)
    spread = cv2.resize(np.maximum(spread, 0), (width, height), interpolation=cv2.INTER_LINEAR)
    return pixels * (1 - lens.glare) + spread * lens.glare


def vignetted(pixels, amount):
    height, width = pixels.shape[:2]
    y, x = np.mgrid[:height, :width].astype(np.float32)
    square = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width ** 2 / 4)
    return pixels / (1 + amount * 0.5 * square[..., None]) ** 2


def fringed(pixels, amount):
    """Red and blue are magnified differently about the picture's centre; green stays."""
    height, width = pixels.shape[:2]
    result = pixels.copy()
    for channel, sign in ((0, 1), (2, -1)):
        scale = 1 + sign * amount
        matrix = np.array([[scale, 0, (1 - scale) * (width - 1) / 2], [0, scale, (1 - scale) * (height - 1) / 2]])
        result[..., channel] = cv2.warpAffine(np.ascontiguousarray(pixels[..., channel]), matrix, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return result


def through_lens(pixels, depth, focus_depth, lens):
    pixels = depth_blur(pixels, depth, focus_depth, lens.background_px)
    pixels = defocused(pixels, lens.defocus_px)
    pixels = cv2.GaussianBlur(pixels, (0, 0), lens.blur, borderType=cv2.BORDER_REPLICATE)
    pixels = with_glare(pixels, lens)
    return vignetted(fringed(pixels, lens.fringe), lens.vignette)


def shaken(pixels, shift):
    if not np.any(shift):
        return pixels
    matrix = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], float)
    return cv2.warpAffine(pixels, matrix, pixels.shape[1::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE).clip(0)


def bayer_masks(height, width):
    masks = np.zeros((3, height, width), np.float32)
    masks[0, ::2, ::2] = masks[1, ::2, 1::2] = masks[1, 1::2, ::2] = masks[2, 1::2, 1::2] = 1
    return masks


def mosaic(pixels):
    raw = np.empty(pixels.shape[:2], np.float32)
    raw[::2, ::2], raw[1::2, 1::2] = pixels[::2, ::2, 0], pixels[1::2, 1::2, 2]
    raw[::2, 1::2], raw[1::2, ::2] = pixels[::2, 1::2, 1], pixels[1::2, ::2, 1]
    return raw


def noisy(raw, sensor, rng):
    electrons = np.maximum(raw, 0) * sensor.full_well
    spread = np.sqrt(electrons + sensor.read_noise ** 2)
    return (electrons + rng.standard_normal(raw.shape, np.float32) * spread) / sensor.full_well


def interpolated(values, mask, kernel):
    return cv2.filter2D(values * mask, -1, kernel, borderType=cv2.BORDER_REFLECT_101)


CROSS = np.array([[0, 1, 0], [1, 4, 1], [0, 1, 0]], np.float32) / 4
SQUARE = np.array([[1, 2, 1], [2, 4, 2], [1, 2, 1]], np.float32) / 4


def bilinear(raw):
    masks = bayer_masks(*raw.shape)
    return np.dstack([interpolated(raw, masks[0], SQUARE), interpolated(raw, masks[1], CROSS), interpolated(raw, masks[2], SQUARE)])


def gradient_corrected(raw):
    """Green along the weaker gradient with a second-difference correction; red and blue by their difference to green."""
    masks = bayer_masks(*raw.shape)

    def shifted(dx, dy):
        return cv2.copyMakeBorder(raw, 2, 2, 2, 2, cv2.BORDER_REFLECT_101)[2 + dy:2 + dy + raw.shape[0], 2 + dx:2 + dx + raw.shape[1]]

    left, right, up, down = shifted(-1, 0), shifted(1, 0), shifted(0, -1), shifted(0, 1)
    bend_x, bend_y = 2 * raw - shifted(-2, 0) - shifted(2, 0), 2 * raw - shifted(0, -2) - shifted(0, 2)
    rough_x, rough_y = np.abs(left - right) + np.abs(bend_x), np.abs(up - down) + np.abs(bend_y)
    flat_x, flat_y = (left + right) / 2 + bend_x / 4, (up + down) / 2 + bend_y / 4
    mixed = np.where(rough_x < rough_y, flat_x, np.where(rough_y < rough_x, flat_y, (flat_x + flat_y) / 2))
    green = np.where(masks[1] > 0, raw, mixed)
    red = green + interpolated(raw - green, masks[0], SQUARE)
    blue = green + interpolated(raw - green, masks[2], SQUARE)
    return np.dstack([red, green, blue])


def exposed(pixels, stops, sensor, rng):
    """Sensor picture at an exposure offset, white-balanced, back in scene-linear units of that exposure."""
    raw = mosaic(pixels * np.float32(2.0 ** stops) / (sensor.clip * sensor.white_balance.astype(np.float32)))
    raw = np.clip(noisy(raw, sensor, rng), -0.02, 1)
    picture = bilinear(raw) if sensor.demosaic == "bilinear" else gradient_corrected(raw)
    picture = picture * (sensor.clip * sensor.white_balance.astype(np.float32))
    return picture if sensor.keep_pink else np.minimum(picture, sensor.clip)


def draw_sensor(rng, recipe):
    clip = {"jpeg": 1.0, "linear": float(rng.choice([1.0, 4.0, 8.0, 12.5, 20.0])), "log": float(rng.choice([6.0, 10.0, 16.0]))}[recipe.format]
    white_balance = np.array([rng.uniform(1.0, 2.0), 1.0, rng.uniform(1.0, 2.0)])
    quality = np.exp(rng.uniform(np.log(5000), np.log(60000)))
    return Sensor(clip, float(quality), float(rng.uniform(2, 12)), white_balance, str(rng.choice(["bilinear", "gradient"])), recipe.format == "linear" and not recipe.clip_given and rng.uniform() < 0.5)


@dataclass
class Development:
    """A camera's own picture style: sigmoid mixed with a power curve, blacks pushed down; 0.18 comes out as mid grey."""
    mix: float
    contrast: float
    toe: float
    saturation: float
    sharpen: float
    sharpen_radius: float
    quality: int
    subsampling: int


def draw_development(rng):
    return Development(
        mix=rng.uniform(0.3, 1), contrast=rng.uniform(0.95, 1.45), toe=rng.uniform(0, 0.5), saturation=rng.uniform(0.9, 1.3),
        sharpen=rng.uniform(0.2, 0.9), sharpen_radius=rng.uniform(0.6, 1.2), quality=int(rng.integers(80, 96)), subsampling=int(rng.choice([0, 2])),
    )


MID_GREY_CODE = 0.4613561


def tone_curve(light, style):
    light = np.clip(light, 0, 1)
    power, middle = light ** style.contrast, 0.18 ** style.contrast
    shape = middle * (1 - MID_GREY_CODE) / (MID_GREY_CODE - middle)
    sigmoid = power * (1 + shape) / (power + shape)
    plain = light ** (np.log(MID_GREY_CODE) / np.log(0.18))
    return (style.mix * sigmoid + (1 - style.mix) * plain) * (1 - style.toe * np.exp(-light / 0.03))


def developed(picture, style):
    grey = picture @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    picture = grey[..., None] + (picture - grey[..., None]) * np.float32(style.saturation)
    codes = tone_curve(picture, style).astype(np.float32)
    soft = cv2.GaussianBlur(codes, (0, 0), style.sharpen_radius)
    return np.clip(codes + style.sharpen * (codes - soft), 0, 1)
