"""Pictures of the outside bench, read and written."""

import os

import numpy as np
import OpenEXR


def pixels(path):
    with OpenEXR.File(path) as f:
        channels = f.channels()
        return np.nan_to_num(next(channels[n].pixels for n in ("RGB", "RGBA") if n in channels).astype(np.float64))


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
