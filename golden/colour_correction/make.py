"""Has OpenColorIO read `correction.cc` and apply it to a few values, shadows and highlights among them.

Needs numpy and opencolorio; the version used is written into expected.json.
"""
import json
import pathlib

import numpy
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).parent


def apply(path, pixels):
    """Float pixels of three channels through the file, as its defaults have it."""
    processor = ocio.Config.CreateRaw().getProcessor(ocio.FileTransform(str(path)))
    flat = numpy.ascontiguousarray(pixels, dtype=numpy.float32).reshape(-1, 3).copy()
    processor.getDefaultCPUProcessor().applyRGB(flat)
    return flat.reshape(pixels.shape)


def main():
    values = numpy.array([[0, 0, 0], [0.18, 0.18, 0.18], [1, 1, 1], [0.003, 0.4, 12.5], [150, 80, 20], [-0.01, 0.2, 0.5]])
    out = apply(HERE / "correction.cc", values)
    document = {"opencolorio": ocio.GetVersion(), "input": values.tolist(), "output": out.astype(float).tolist()}
    (HERE / "expected.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
