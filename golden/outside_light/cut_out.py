"""Cuts the spheres out of two shots of the outside bench, so small that they can be kept here, and takes one shot's plate for its mirror frame.

    python cut_out.py SHOTS_DIR

Each picture keeps its display window, so that the field of view holds, and a data window of the sphere and a little round it.
"""

import json
import os
import shutil
import sys

import numpy as np
import OpenEXR

SHOTS = {"cut_off_bracket": "work_023", "pink_highlights": "work_052", "pink_lamp": "report_102"}
AROUND = 1.12


def cut(source, target, outline, flopped=False):
    with OpenEXR.File(source) as f:
        channels = f.channels()
        name = next(n for n in ("RGBA", "RGB") if n in channels)
        picture = channels[name].pixels
        (left, top), (right, bottom) = f.header()["displayWindow"]
        x0, y0 = f.header()["dataWindow"][0]
    x, y, reach = outline[0], outline[1], AROUND * max(outline[2:4])
    box = [max(int(x - reach), x0), max(int(y - reach), y0), min(int(x + reach), x0 + picture.shape[1] - 1), min(int(y + reach), y0 + picture.shape[0] - 1)]
    part = np.ascontiguousarray(picture[box[1] - y0 : box[3] + 1 - y0, box[0] - x0 : box[2] + 1 - x0]).astype(np.float16)
    part = np.ascontiguousarray(part[:, ::-1]) if flopped else part
    window = lambda a, b, c, d: (np.array([a, b], np.int32), np.array([c, d], np.int32))
    header = {"displayWindow": window(left, top, right, bottom), "dataWindow": window(*box), "compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    with OpenEXR.File(header, {name: part}) as f:
        f.write(target)


def main():
    for name, shot in SHOTS.items():
        source, target = f"{sys.argv[1]}/{shot}", os.path.join(os.path.dirname(os.path.abspath(__file__)), name)
        os.makedirs(target, exist_ok=True)
        truth, sheet = json.load(open(f"{source}/truth.json")), json.load(open(f"{source}/shot.json"))
        outline = truth["sphere"]["outline_px"]
        mirror, sphere = sheet["mirrors"][0], sheet["cg"]["spheres"][0]
        bracket = [e if isinstance(e, dict) else {"frame": e} for e in mirror["bracket"]]
        for entry, stops in zip(bracket, truth["bracket"]["exposure_stops"]):
            entry.pop("clip_level", None)
            entry["exposure_stops"] = stops
            cut(f"{source}/{entry['frame']}", f"{target}/{entry['frame']}", outline)
        if name == "pink_highlights":
            cut(f"{source}/{sphere['frame']}", f"{target}/cg_flopped.exr", truth["cg"]["outline_px"], True)
        mirror["bracket"], mirror["outline_px"] = bracket, outline
        cut(f"{source}/{sphere['frame']}", f"{target}/{sphere['frame']}", truth["cg"]["outline_px"])
        sheet.pop("plate", None)
        json.dump(sheet, open(f"{target}/shot.json", "w"), indent=1)
        keep = {k: truth["cg"][k] for k in ("error", "rotation_deg", "exposure_stops", "key_direction_error_deg", "colour_gain")}
        json.dump({"cg": keep, "clip": truth["camera"]["sensor"]["clip"], "white_balance": truth["camera"]["sensor"]["white_balance"], "environment": truth["classes"]["environment"]}, open(f"{target}/truth.json", "w"), indent=1)
    plate_as_mirror(f"{sys.argv[1]}/{PLATE_AS_MIRROR}", os.path.join(os.path.dirname(os.path.abspath(__file__)), "plate_as_mirror"))


PLATE_AS_MIRROR = "work_070"


def plate_as_mirror(source, target):
    """The mistake of giving the empty plate as the frame of the sphere."""
    os.makedirs(target, exist_ok=True)
    sheet = json.load(open(f"{source}/shot.json"))
    plate = sheet.pop("plate")["frame"]
    sheet["mirrors"][0]["bracket"] = [{"frame": plate}]
    for name in (plate, sheet["cg"]["spheres"][0]["frame"]):
        shutil.copy(f"{source}/{name}", f"{target}/{name}")
    json.dump(sheet, open(f"{target}/shot.json", "w"), indent=1)


main()
