"""Headers of OpenEXR files, written by hand from the file layout that the OpenEXR project publishes."""

import struct


def attribute(name, kind, value):
    return name.encode() + b"\0" + kind.encode() + b"\0" + struct.pack("<I", len(value)) + value


def exr_header(names, width, height, compression, more=()):
    channel = lambda name: name + b"\0" + struct.pack("<4I", 1, 0, 1, 1)
    window = struct.pack("<4i", 0, 0, width - 1, height - 1)
    version = 2 | (0x200 if more else 0)
    parts = [
        attribute("channels", "chlist", b"".join(channel(name.encode()) for name in sorted(names)) + b"\0"),
        attribute("compression", "compression", bytes([compression])),
        attribute("dataWindow", "box2i", window),
        attribute("displayWindow", "box2i", window),
        attribute("lineOrder", "lineOrder", b"\0"),
        attribute("pixelAspectRatio", "float", struct.pack("<f", 1)),
        attribute("screenWindowCenter", "v2f", bytes(8)),
        attribute("screenWindowWidth", "float", struct.pack("<f", 1)),
        *more,
        b"\0",
    ]
    return struct.pack("<II", 20000630, version) + b"".join(parts)
