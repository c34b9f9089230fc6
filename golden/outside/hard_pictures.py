"""Draws twelve hard pictures with the true outline (green) and the one found (red, dashed).

    cargo bench --bench outside -- --shots DIR --half report --given shot --list > list.txt
    python hard_pictures.py DIR list.txt ../../docs/finder_hard.jpg

Each is a window of 3.2 radii about the sphere, in the exposure of the middle; taken are the shots with the longest
distance between both outlines, then those in which nothing was found.
"""
import json
import math
import re
import sys
from pathlib import Path

import cv2
import numpy as np
import OpenEXR
from PIL import Image, ImageDraw

SIDE = 300
LINE = re.compile(r"(?P<shot>\w+_\d+) +(?P<outcome>\w+) +r +(?P<radius>[\d.]+) off +(?P<centre>[\d.]+) +(?P<size>-?[\d.]+).*?(?P<outline>\[[^]]*\])?$")


def read_frame(path):
    if path.suffix == ".exr":
        with OpenEXR.File(str(path)) as file:
            channels = file.channels()
            light = next(channels[name] for name in ("RGB", "RGBA") if name in channels).pixels[..., :3].astype(float)
        light = np.clip(np.nan_to_num(light) / np.nanpercentile(light, 98), 0, 1) ** (1 / 2.2)
        return Image.fromarray((255 * light).astype(np.uint8))
    codes = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., ::-1]
    return Image.fromarray((codes / np.iinfo(codes.dtype).max * 255).astype(np.uint8))


def ellipse(outline, window):
    x, y, a, b, turn = outline
    left, top, scale = window
    angles = np.linspace(0, 2 * math.pi, 145)
    turn = math.radians(turn)
    u, v = a * np.cos(angles), b * np.sin(angles)
    px = x + u * math.cos(turn) - v * math.sin(turn)
    py = y + u * math.sin(turn) + v * math.cos(turn)
    return list(zip((px - left) * scale, (py - top) * scale))


def tile(folder, line):
    shot = folder / line["shot"]
    truth = json.loads((shot / "truth.json").read_text())
    frames = sorted(shot.glob("sphere*"))
    middle = len(frames) // 2
    outline = list(truth["sphere"]["outline_px"])
    shift = truth["bracket"]["shift_px"][middle] if len(frames) > 1 else (0, 0)
    outline[0], outline[1] = outline[0] + shift[0], outline[1] + shift[1]
    picture = read_frame(frames[middle])
    reach = 1.6 * outline[2]
    left, top = outline[0] - reach, outline[1] - reach
    window = picture.crop([int(v) for v in (left, top, left + 2 * reach, top + 2 * reach)]).resize((SIDE, SIDE))
    place = (left, top, SIDE / (2 * reach))
    draw = ImageDraw.Draw(window)
    draw.line(ellipse(outline, place), fill=(60, 220, 90))
    if line["outline"] and line["outcome"] != "refused":
        points = ellipse(json.loads(line["outline"]), place)
        for i in range(0, len(points) - 2, 4):
            draw.line(points[i:i + 3], fill=(255, 70, 60), width=2)
    draw.rectangle((0, SIDE - 16, SIDE, SIDE), fill=(0, 0, 0))
    draw.text((4, SIDE - 14), f"{line['shot']}  {line['outcome']}", fill=(255, 255, 255))
    return window


def main():
    folder, listed, target = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]
    lines = [m.groupdict() for m in map(LINE.match, listed.read_text().splitlines()) if m]
    def off(line):
        return (float(line["centre"]) + abs(float(line["size"]))) / float(line["radius"])
    found = sorted((l for l in lines if l["outcome"] != "refused"), key=off, reverse=True)
    refused = [l for l in lines if l["outcome"] == "refused"][:6]
    found = found[:12 - len(refused)]
    sheet = Image.new("RGB", (4 * SIDE, 3 * SIDE))
    for i, line in enumerate(found + refused):
        sheet.paste(tile(folder, line), (i % 4 * SIDE, i // 4 * SIDE))
    sheet.save(target, quality=85)


if __name__ == "__main__":
    main()
