"""Writes Common LUT Format files and what OpenColorIO makes of a few values through each.

colour-science's reader (colour-clf-io) reads each file too and has to find the same number of nodes.
Needs numpy, opencolorio and colour-clf-io; the versions used are written into expected.json.
"""
import importlib.metadata
import json
import pathlib

import colour_clf_io
import numpy
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).parent
D = 'inBitDepth="32f" outBitDepth="32f"'


def array(values, dim):
    rows = "\n".join(" ".join(f"{v:.7g}" for v in row) for row in values)
    return f'<Array dim="{dim}">\n{rows}\n</Array>'


def cube(side, scale=1.0):
    at = numpy.linspace(0, 1, side)
    r, g, b = numpy.meshgrid(at, at, at, indexing="ij")
    bent = numpy.stack([r**1.4 * 0.9 + 0.1 * g, g**0.8 * (1 - 0.1 * b), 0.2 * r * g + 0.8 * b**1.1], axis=-1)
    return bent.reshape(-1, 3) * scale


MATRIX = [[0.6954522414, 0.1406786965, 0.1638690622], [0.0447945634, 0.8596711185, 0.0955343182],
          [-0.0055258826, 0.0040252103, 1.0015006723]]
WITH_OFFSET = [row + [o] for row, o in zip(MATRIX, [0.01, -0.02, 0.03])]
CURVE = [[x**2.2 * 1023, x**2.0 * 1023, x**1.8 * 1023] for x in numpy.linspace(0, 1, 33)]

LISTS = {
    "matrix.clf": f"<Matrix {D}>{array(MATRIX, '3 3')}</Matrix><Matrix {D}>{array(WITH_OFFSET, '3 4')}</Matrix>",
    "range.clf": f"<Range {D}><minInValue>0.0625</minInValue><maxInValue>0.92</maxInValue><minOutValue>0</minOutValue>"
    f"<maxOutValue>1</maxOutValue></Range><Range {D} style=\"noClamp\"><minInValue>0</minInValue><maxInValue>1</maxInValue>"
    "<minOutValue>-0.1</minOutValue><maxOutValue>2</maxOutValue></Range>",
    "integer_depths.clf": '<Range inBitDepth="10i" outBitDepth="12i"><minInValue>64</minInValue><maxInValue>940</maxInValue>'
    "<minOutValue>0</minOutValue><maxOutValue>4095</maxOutValue></Range>"
    f'<Matrix inBitDepth="12i" outBitDepth="32f">{array([[v / 4095 for v in row] for row in MATRIX], "3 3")}</Matrix>',
    "lut1d.clf": f'<LUT1D inBitDepth="10i" outBitDepth="10i">{array(CURVE, "33 3")}</LUT1D>',
    "lut3d_trilinear.clf": f'<LUT3D {D} interpolation="trilinear">{array(cube(5), "5 5 5 3")}</LUT3D>',
    "lut3d_tetrahedral.clf": f'<LUT3D {D} interpolation="tetrahedral">{array(cube(6), "6 6 6 3")}</LUT3D>',
    "log_plain.clf": f'<Log {D} style="antiLog2"/><Log {D} style="log10"/>',
    "log_camera.clf": f'<Log {D} style="cameraLogToLin"><LogParams base="10" logSideSlope="0.247190" logSideOffset="0.385537"'
    ' linSideSlope="5.555556" linSideOffset="0.052272" linSideBreak="0.010591"/></Log>',
    "log_camera_slope.clf": f'<Log {D} style="cameraLinToLog"><LogParams base="2" logSideSlope="0.0570776"'
    ' logSideOffset="0.5547945" linSideBreak="0.0078125" linearSlope="10.5402377"/></Log>',
    "log_channels.clf": f'<Log {D} style="linToLog"><LogParams channel="R" base="10" linSideOffset="0.1"/>'
    '<LogParams channel="G" base="10" logSideSlope="0.3" linSideOffset="0.05"/>'
    '<LogParams channel="B" base="10" logSideOffset="0.2" linSideSlope="3" linSideOffset="0.2"/></Log>',
    "exponent_basic.clf": f'<Exponent {D} style="basicFwd"><ExponentParams exponent="2.4"/></Exponent>'
    f'<Exponent {D} style="basicRev"><ExponentParams exponent="1.8"/></Exponent>',
    "exponent_negative.clf": f'<Exponent {D} style="basicMirrorFwd"><ExponentParams exponent="2.2"/></Exponent>'
    f'<Exponent {D} style="basicPassThruRev"><ExponentParams exponent="1.7"/></Exponent>',
    "exponent_foot.clf": f'<Exponent {D} style="monCurveFwd"><ExponentParams exponent="2.4" offset="0.055"/></Exponent>'
    f'<Exponent {D} style="monCurveMirrorRev"><ExponentParams exponent="2.2222222222222222" offset="0.099"/></Exponent>',
    "cdl.clf": f'<ASC_CDL {D} style="Fwd"><SOPNode><Slope>1.1 0.95 0.9</Slope><Offset>0.02 -0.01 0.03</Offset>'
    "<Power>0.9 1.1 1.05</Power></SOPNode><SatNode><Saturation>0.85</Saturation></SatNode></ASC_CDL>",
}


def inputs():
    random = numpy.random.default_rng(20261125)
    inside = random.random((20, 3))
    outside = numpy.array([[0, 0, 0], [1, 1, 1], [-0.1, 0.5, 1.2], [1.5, -0.3, 0.02], [0.003, 0.01, 0.0004]])
    return numpy.concatenate([inside, outside]).astype(numpy.float32)


def through_ocio(path, values):
    transform = ocio.FileTransform(str(path))
    processor = ocio.Config.CreateRaw().getProcessor(transform)
    # Unoptimised, so that nothing is merged or approximated beyond its own arithmetic.
    cpu = processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE)
    return [cpu.applyRGB([float(v) for v in row]) for row in values]


def main():
    values = inputs()
    files = []
    for name, steps in LISTS.items():
        path = HERE / name
        head = '<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList xmlns="urn:AMPAS:CLF:v3.0" compCLFversion="3.0" '
        path.write_text(f'{head}id="{name}">\n{steps}\n</ProcessList>\n')
        nodes = len(colour_clf_io.read_clf_from_file(str(path)).process_nodes)
        outputs = through_ocio(path, values)
        files.append({"name": name, "nodes": nodes, "inputs": [[float(v) for v in row] for row in values],
                      "outputs": [[float(v) for v in row] for row in outputs]})
    versions = {p: importlib.metadata.version(p) for p in ["opencolorio", "colour-clf-io", "numpy"]}
    (HERE / "expected.json").write_text(json.dumps({"versions": versions, "files": files}) + "\n")
    print(versions, len(files))


main()
