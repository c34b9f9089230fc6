"""Applies the correction of a demo shot by OpenColorIO to its CG sphere and checks the shot again.

    python check_again.py path/to/plateproof

Exposure and colour-balance have to come out as `match`. Needs numpy, opencolorio and OpenEXR.
"""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy
import OpenEXR

from make import apply

SHOT = "SF_0210.v003"


def check(program, *words):
    return subprocess.run([program, "check", *words, "--no-picture"], capture_output=True, text=True)


def verdicts(folder):
    report = json.loads((folder / f"{SHOT}.report.json").read_text())
    return {f["check"]: (f["verdict"], f["value"]) for f in report["findings"] if f["check"] in ("exposure", "colour-balance")}


def main(program):
    folder = pathlib.Path(tempfile.mkdtemp())
    subprocess.run([program, "demo", "--out", str(folder / "ferry"), "--no-picture"], check=True, capture_output=True)
    sheet = folder / "ferry/SF_0210/shot.json"
    check(program, str(sheet), "--write-fixes", "--out", str(folder / "before"))
    with OpenEXR.File(str(sheet.parent / "cg_sphere.v003.1001.exr")) as file:
        channels = file.channels()
        for name, channel in channels.items():
            rgb = channel.pixels
            rgb[..., :3] = apply(folder / f"before/{SHOT}.fix.cc", rgb[..., :3].astype(numpy.float32)).astype(rgb.dtype)
        file.write(str(sheet.parent / "graded.exr"))
    check(program, str(sheet), "--cg", str(sheet.parent / "graded.exr"), "--out", str(folder / "after"))
    print("before", verdicts(folder / "before"))
    after = verdicts(folder / "after")
    print("after ", after)
    assert all(verdict == "match" for verdict, _ in after.values()), after


if __name__ == "__main__":
    main(str(pathlib.Path(sys.argv[1]).resolve()))
