"""The written OpenUSD layer, read with OpenUSD's own library: its dome and lights in camera axes.

Nothing here uses the program's code. `camera_from_stage` is worked out from the shot sheet alone.
"""

from dataclasses import dataclass

import numpy as np
from pxr import Gf, Usd, UsdGeom, UsdLux


def turn(axis, degrees):
    """Right-handed turn about an axis, column vectors."""
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    angle = np.radians(degrees)
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


def world_from_camera(camera):
    """From camera axes (x frame right, y up the frame, z back) to level ones, and on to the stage's: -z north, +x east.

    A camera that looks up by `tilt_deg` is turned about its own x by as much; `roll_deg` turns it counter-clockwise as the
    operator sees it, about its own z; looking along `heading_deg`, clockwise from north, is a turn by the opposite about y.
    """
    tilt, roll = camera.get("tilt_deg"), camera.get("roll_deg", 0)
    level = np.eye(3) if tilt is None else turn((1, 0, 0), tilt) @ turn((0, 0, 1), roll)
    return turn((0, 1, 0), -camera.get("heading_deg", 0)) @ level


def column_matrix(matrix):
    """OpenUSD multiplies row vectors; this is the same for columns."""
    return np.array(matrix).T


@dataclass
class Light:
    path: str
    kind: str
    towards: np.ndarray  # stage axes
    radiance: np.ndarray
    radius_rad: float
    place_mm: np.ndarray | None  # stage axes, from the stage's origin
    radius_mm: float | None


@dataclass
class Stage:
    dome_file: str
    dome_rotation: np.ndarray  # from the dome's axes to the stage's
    lights: list


def read(path):
    stage = Usd.Stage.Open(str(path))
    assert UsdGeom.GetStageUpAxis(stage) == "Y"
    mm = UsdGeom.GetStageMetersPerUnit(stage) * 1000
    cache = UsdGeom.XformCache()
    domes, lights = [], []
    for prim in stage.Traverse():
        matrix = column_matrix(cache.GetLocalToWorldTransform(prim))
        if prim.IsA(UsdLux.DomeLight):
            dome = UsdLux.DomeLight(prim)
            assert dome.GetIntensityAttr().Get() == 1 and dome.GetTextureFormatAttr().Get() == "latlong"
            domes.append((dome.GetTextureFileAttr().Get().resolvedPath, matrix[:3, :3]))
        elif prim.HasAPI(UsdLux.LightAPI):
            lights.append(light(prim, matrix, mm))
    assert len(domes) == 1, domes
    return Stage(*domes[0], lights)


def light(prim, matrix, mm):
    """Emission as the usdLux schema words it: intensity x 2^exposure x colour, over the size factor with `normalize`."""
    api = UsdLux.LightAPI(prim)
    emission = api.GetIntensityAttr().Get() * 2 ** api.GetExposureAttr().Get() * np.array(api.GetColorAttr().Get())
    towards = matrix[:3, 2] / np.linalg.norm(matrix[:3, 2])  # it shines along its own -z
    if prim.IsA(UsdLux.DistantLight):
        half = np.radians(UsdLux.DistantLight(prim).GetAngleAttr().Get()) / 2
        size = np.pi * np.sin(half) ** 2 if api.GetNormalizeAttr().Get() else 1
        return Light(str(prim.GetPath()), "DistantLight", towards, emission / size, half, None, None)
    assert prim.IsA(UsdLux.SphereLight) and not api.GetNormalizeAttr().Get(), prim
    radius, place = UsdLux.SphereLight(prim).GetRadiusAttr().Get() * mm, matrix[:3, 3] * mm
    half = np.arcsin(radius / np.linalg.norm(place))
    return Light(str(prim.GetPath()), "SphereLight", place / np.linalg.norm(place), emission, half, place, radius)
