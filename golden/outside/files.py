"""Pictures into files: half-float EXR, log codes in 16-bit TIFF or PNG, camera JPEG with EXIF."""

import os


import cv2
import numpy as np
import OpenEXR
import tifffile
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

LOG10 = np.log10


def line_and_log(light, cut, line, log):
    light = np.asarray(light, np.float64)
    return np.where(light < cut, line(light), log(np.maximum(light, cut)))


def acescct(light):
    return line_and_log(light, 0.0078125, lambda x: 10.5402377416545 * x + 0.0729055341958355, lambda x: (np.log2(x) + 9.72) / 17.52)


def logc3(light):
    return line_and_log(light, 0.010591, lambda x: 5.367655 * x + 0.092809, lambda x: 0.247190 * LOG10(5.555556 * x + 0.052272) + 0.385537)


def logc4(light):
    a, b, c = (2 ** 18 - 16) / 117.45, (1023 - 95) / 1023, 95 / 1023
    slope, cut = 7 * np.log(2) * 2 ** (7 - 14 * c / b) / (a * b), (2 ** (14 * (-c / b) + 6) - 64) / a
    return line_and_log(light, cut, lambda x: (x - cut) / slope, lambda x: (np.log2(a * x + 64) - 6) / 14 * b + c)


def s_log3(light):
    return line_and_log(light, 0.01125, lambda x: (x * (171.2102946929 - 95) / 0.01125 + 95) / 1023, lambda x: (420 + LOG10((x + 0.01) / 0.19) * 261.5) / 1023)


def v_log(light):
    return line_and_log(light, 0.01, lambda x: 5.6 * x + 0.125, lambda x: 0.241514 * LOG10(x + 0.00873) + 0.598206)


def log3g10(light):
    return line_and_log(light, -0.01, lambda x: (x + 0.01) * 15.1927, lambda x: 0.224282 * LOG10((x + 0.01) * 155.975327 + 1))


CURVES = {"acescct": acescct, "logc3": logc3, "logc4": logc4, "s-log3": s_log3, "v-log": v_log, "log3g10": log3g10}
CODE_OF_MID_GREY = {"acescct": 0.41358840, "logc3": 0.39100683, "logc4": 0.27839584, "s-log3": 0.41055718, "v-log": 0.42331145, "log3g10": 0.33333291}


def check_curves():
    for name, code in CODE_OF_MID_GREY.items():
        assert abs(float(CURVES[name](0.18)) - code) < 1e-5, name


def renamed(path, write):
    """Writes beside the file and renames, so that what stands under the name is complete."""
    part = path.with_name(f"part_{path.name}")
    write(str(part))
    os.replace(part, path)


def write_exr(path, channels, header=None, half=True):
    kind = np.float16 if half else np.float32
    limit = 65504.0 if half else 3e38
    planes = {n: np.ascontiguousarray(np.clip(p, -limit, limit), kind) for n, p in channels.items()}
    full = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage} | (header or {})
    renamed(path, lambda part: OpenEXR.File(full, planes).write(part))


def rgb_planes(picture):
    return {name: picture[..., i] for i, name in enumerate("RGB")}


def exposure_header(settings):
    return {"expTime": float(settings["time"]), "aperture": float(settings["aperture"]), "isoSpeed": float(settings["iso"])}


def sixteen_bits(codes):
    return (np.clip(codes, 0, 1) * 65535 + 0.5).astype(np.uint16)


def write_log(path, codes):
    if path.suffix == ".tif":
        renamed(path, lambda part: tifffile.imwrite(part, sixteen_bits(codes), compression="zlib", photometric="rgb"))
    elif path.suffix == ".png":
        renamed(path, lambda part: cv2.imwrite(part, sixteen_bits(codes)[..., ::-1]))
    else:
        write_exr(path, rgb_planes(codes))


def rational(value):
    return IFDRational(int(round(value * 10000)), 10000)


def exif(settings):
    tags = Image.Exif()
    camera = tags.get_ifd(0x8769)
    camera[0x829A], camera[0x829D] = rational(settings["time"]), rational(settings["aperture"])
    camera[0x8827], camera[0x920A] = int(settings["iso"]), rational(settings["focal_length_mm"])
    camera[0xA405] = int(round(settings["focal_length_mm"] * 36 / settings["sensor_width_mm"]))
    return tags


def write_jpeg(path, codes, style, settings=None):
    picture = Image.fromarray((codes * 255 + 0.5).astype(np.uint8))
    extra = {"exif": exif(settings)} if settings else {}
    renamed(path, lambda part: picture.save(part, "JPEG", quality=style.quality, subsampling=style.subsampling, **extra))
