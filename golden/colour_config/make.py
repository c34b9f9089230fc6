"""Colour configs of an invented show, and what OpenColorIO's own library makes of code values by them.

    python golden/colour_config/make.py

Writes the tables, `expected.json` and nothing else; `config.ocio` and the others are written by hand. Needs opencolorio (2.6.0 was used) and
numpy.
"""

import json
import pathlib

import numpy
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).parent


def tables():
    folder = HERE / "tables"
    folder.mkdir(exist_ok=True)
    codes = numpy.linspace(0, 1, 257)
    light = 0.18 * 2 ** ((codes - 0.4) * 18) - 0.001
    lines = "\n".join(f"    {v:.9g}" for v in light)
    (folder / "salt.spi1d").write_text(f"Version 1\nFrom 0.0 1.0\nLength {len(light)}\nComponents 1\n{{\n{lines}\n}}\n")
    side = 17
    steps = numpy.linspace(0, 1, side)
    cube = ["TITLE \"harbour\"", f"LUT_3D_SIZE {side}"]
    for blue in steps:
        for green in steps:
            for red in steps:
                mixed = [0.9 * red + 0.07 * green + 0.03 * blue, 0.04 * red + 0.92 * green + 0.04 * blue, 0.02 * red + 0.08 * green + 0.9 * blue]
                cube.append(" ".join(f"{v ** 2.2:.8f}" for v in mixed))
    (folder / "harbour.cube").write_text("\n".join(cube) + "\n")
    (folder / "gangway.clf").write_text(
        """<?xml version="1.0" encoding="UTF-8"?>
<ProcessList compCLFversion="3" id="gangway">
    <Log inBitDepth="32f" outBitDepth="32f" style="cameraLogToLin">
        <LogParams base="10" logSideSlope="0.25" logSideOffset="0.39" linSideSlope="5.6" linSideOffset="0.05" linSideBreak="0.01" />
    </Log>
    <Matrix inBitDepth="32f" outBitDepth="32f">
        <Array dim="3 3">0.7 0.2 0.1  0.1 0.85 0.05  0.02 0.08 0.9</Array>
    </Matrix>
</ProcessList>
"""
    )


def codes():
    grey = [[v, v, v] for v in numpy.linspace(-0.05, 1.05, 12)]
    random = numpy.random.default_rng(7).uniform(0, 1, (24, 3)).tolist()
    return numpy.array(grey + random, dtype=numpy.float32)


def through(processor, values):
    out = values.copy()
    processor.getDefaultCPUProcessor().applyRGB(out)
    return out


def main():
    tables()
    values = codes()
    expected = {"library": f"OpenColorIO {ocio.__version__}", "codes": values.tolist(), "to_aces2065_1": {}, "to_scene_linear": {}, "file_rules": {}}
    config = ocio.Config.CreateFromFile(str(HERE / "config.ocio"))
    config.validate()
    names = list(config.getColorSpaceNames()) + ["dock_log", "compositing_log", "scene_linear"]
    for name in names:
        space = config.getColorSpace(name)
        if space.isData() or space.getReferenceSpaceType() == ocio.REFERENCE_SPACE_DISPLAY:
            continue
        expected["to_aces2065_1"][name] = through(config.getProcessor(name, "aces_interchange"), values).tolist()
    for path in ["plates/ferry_slog3.0001.dpx", "renders/ferry.exr", "stills/ferry.tif"]:
        expected["file_rules"][path] = config.getColorSpaceFromFilepath(path)[0]
    old = ocio.Config.CreateFromFile(str(HERE / "old.ocio"))
    for name in ["salt", "harbour"]:
        expected["to_scene_linear"][name] = through(old.getProcessor(name, "scene_linear"), values).tolist()
    (HERE / "expected.json").write_text(json.dumps(expected, indent=1) + "\n")


if __name__ == "__main__":
    main()
