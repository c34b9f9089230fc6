"""Writes two small OpenEXR files with camera attributes, by OpenEXR's own Python binding. Needs OpenEXR (3.3 or later) and numpy."""
import fractions
import pathlib

import numpy
import OpenEXR

HERE = pathlib.Path(__file__).parent
PIXELS = {"RGB": numpy.linspace(0, 1, 4 * 6 * 3, dtype=numpy.float16).reshape(4, 6, 3)}


def write(name, **attributes):
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage} | attributes
    with OpenEXR.File(header, PIXELS) as file:
        file.write(str(HERE / name))
    with OpenEXR.File(str(HERE / name)) as file:
        print(name, {key: value for key, value in file.header().items() if key in attributes})


write("camera.exr", colorInteropID="lin_ap1_scene", shutterAngle=172.8, captureRate=fractions.Fraction(24000, 1001), focus=3.25, tStop=2.9,
      entrancePupilOffset=128.5, sensorCenterOffset=numpy.array([118.8, -59.4], numpy.float32), sensorPhotositePitch=8.25,
      sensorAcquisitionRectangle=(numpy.array([0, 0], numpy.int32), numpy.array([2879, 1619], numpy.int32)))
write("contradicting.exr", colorInteropID="srgb_rec709_display", expTime=0.05, shutterAngle=180.0, captureRate=fractions.Fraction(24, 1),
      chromaticities=(0.708, 0.292, 0.170, 0.797, 0.131, 0.046, 0.3127, 0.3290))
