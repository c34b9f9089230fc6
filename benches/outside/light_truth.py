"""What is true of a shot's light: from the surroundings of both spheres, never from a picture of a sphere."""

import json

import numpy as np

from pictures import frame_size, pixels

LUMINANCE = np.array([0.21263901, 0.71516868, 0.07219232])
CAP_DEG = 75.0


def axes(height, width):
    azimuth = np.radians(180 - 360 * (np.arange(width) + 0.5) / width)[None]
    elevation = np.radians(90 - 180 * (np.arange(height) + 0.5) / height)[:, None]
    directions = np.stack([np.cos(elevation) * np.sin(azimuth), np.sin(elevation) + 0 * azimuth, np.cos(elevation) * np.cos(azimuth)], -1)
    steradian = np.cos(elevation) * (np.pi / height) * (2 * np.pi / width) + 0 * azimuth
    return directions.reshape(-1, 3), steradian.reshape(-1)


def cap_normals(towards, count=700):
    i = np.arange(count) + 0.5
    cosine = 1 - i / count * (1 - np.cos(np.radians(CAP_DEG)))
    turn = i * np.pi * (3 - np.sqrt(5))
    sine = np.sqrt(1 - cosine**2)
    side = np.cross(towards, [0, 1, 0.1])
    side /= np.linalg.norm(side)
    up = np.cross(side, towards)
    return cosine[:, None] * towards + sine[:, None] * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up)


def towards_camera(truth, width, height):
    x, y = truth["sphere"]["outline_px"][:2]
    focal = width / 2 / np.tan(np.radians(truth["camera"]["horizontal_fov_deg"]) / 2)
    v = np.array([-(x - width / 2), y - height / 2, focal])
    return v / np.linalg.norm(v)


def rotation_about(axis, degrees):
    a = np.radians(degrees)
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.eye(3) + np.sin(a) * k + (1 - np.cos(a)) * k @ k


def key_of(light, directions, steradian):
    """Direction of the strongest light: largest flux within 5 degrees above its surroundings."""
    best, found = -1, None
    brightest = np.argsort(light)[-len(light) // 20 :][::6]
    for d in directions[brightest]:
        cosine = directions @ d
        near = np.flatnonzero(cosine > np.cos(np.radians(13)))
        inner, ring = near[cosine[near] > np.cos(np.radians(5))], near[cosine[near] < np.cos(np.radians(7))]
        flux = (light[inner] * steradian[inner]).sum() - np.median(light[ring]) * steradian[inner].sum()
        if flux > best:
            best, found = flux, inner
    weight = np.clip(light[found] - np.median(light), 0, None) * steradian[found]
    d = (directions[found] * weight[:, None]).sum(0)
    return d / np.linalg.norm(d)


def angle_deg(a, b):
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))


def azimuth_elevation_deg(d):
    return np.degrees([np.arctan2(d[0], d[2]), np.arcsin(np.clip(d[1], -1, 1))])


def direction_of_deg(azimuth, elevation):
    a, e = np.radians([azimuth, elevation])
    return np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])


class Scene:
    """Both surroundings on one grid of directions, camera axes."""

    def __init__(self, folder):
        self.truth = json.load(open(f"{folder}/truth.json"))
        ours, theirs = (pixels(f"{folder}/{n}_env.exr") for n in ("truth", "cg"))
        self.height, self.width = ours.shape[:2]
        self.directions, self.steradian = axes(self.height, self.width)
        self.ours, self.theirs = ours.reshape(-1, 3), theirs.reshape(-1, 3)
        self.rotation_to_world = np.array(self.truth["camera"]["rotation_to_world"])
        self.up = self.rotation_to_world.T @ np.array([0, 1, 0.0])
        towards = towards_camera(self.truth, *frame_size(folder))
        self.cap = cap_normals(towards)
        self.kind = self.truth["cg"]["error"]["kind"]

    def looked_up(self, light, directions):
        """A surrounding's values in other directions."""
        azimuth = (180 - np.degrees(np.arctan2(directions[:, 0], directions[:, 2]))) / 360 * self.width - 0.5
        elevation = (90 - np.degrees(np.arcsin(np.clip(directions[:, 1], -1, 1)))) / 180 * self.height - 0.5
        rows, columns = np.clip(np.round(elevation).astype(int), 0, self.height - 1), np.round(azimuth).astype(int) % self.width
        return light.reshape(self.height, self.width, 3)[rows, columns].reshape(-1, 3)

    def turned_deg(self):
        """Turn of the whole about the world's up, where one is meant."""
        turn = self.truth["cg"]["rotation_deg"]
        return 0.0 if self.kind in ("right", "gain", "colour") else turn if self.kind != "flopped" else None

    def on_cap(self, luminances):
        """What patches of the cap receive of each surrounding."""
        flux = np.stack(luminances) * self.steradian
        parts = [flux @ np.clip(self.directions @ some.T, 0, None) for some in np.array_split(self.cap, 12)]
        return np.concatenate(parts, axis=1)

    def numbers(self, theirs, home):
        """Every signed number, CG minus plate, of a CG under the light `theirs`; `home` is the same with any turn of the whole undone."""
        a, b = self.ours @ LUMINANCE, theirs @ LUMINANCE
        stops = lambda x, y: float(np.log2(max(x, 1e-12) / max(y, 1e-12)))
        ea, eb = self.on_cap([a, b])
        out = {"key-fill-ratio": stops(eb.max() / eb.min(), ea.max() / ea.min())}
        dark = (a < np.quantile(a, 0.97)) & (home @ LUMINANCE < np.quantile(home @ LUMINANCE, 0.97))
        ratio = np.log2((home @ LUMINANCE + 1e-6) / (a + 1e-6))[dark]
        order = np.argsort(ratio)
        weight = np.cumsum(self.steradian[dark][order])
        out["surroundings"] = float(ratio[order][np.searchsorted(weight, weight[-1] / 2)])
        out["illuminance"] = stops(eb.mean(), ea.mean())
        out["exposure"] = max((out["surroundings"], out["illuminance"]), key=abs)
        mean = [(x * self.steradian[:, None]).sum(0) for x in (self.ours, home)]
        out["tint"] = (np.log2(np.maximum(mean[1], 1e-12) / mean[0]) - stops(mean[1] @ LUMINANCE, mean[0] @ LUMINANCE)).tolist()
        out["colour-balance"] = float(max(out["tint"], key=abs))
        return out

    def turned_home(self, theirs):
        turn = self.truth["cg"]["rotation_deg"]
        if self.kind != "environment_turned":
            return theirs
        return self.looked_up(theirs, self.directions @ rotation_about(self.up, turn))

    def moved_lamp(self):
        """Where the moved lamp stands on both sides, camera axes."""
        error = self.truth["cg"]["error"]
        lamp = next(l for l in self.truth["lights"] if l["name"] == error["lamp"])
        ours = direction_of_deg(lamp["azimuth_deg"], lamp["elevation_deg"])
        d = self.rotation_to_world @ ours
        if error["about"] == "vertical":
            flat = max(np.hypot(d[0], d[2]), 0.2)
            moved = rotation_about(np.array([0, 1.0, 0]), min(error["move_deg"] / flat, 60, key=abs)) @ d
        else:
            axis = np.cross(d, [0, 1, 0])
            axis /= np.linalg.norm(axis)
            angle = np.radians(abs(error["move_deg"]))
            lift = -1 if np.degrees(np.arcsin(d[1])) + abs(error["move_deg"]) > 80 else 1
            moved = d * np.cos(angle) + lift * np.cross(axis, d) * np.sin(angle)
        return ours, self.rotation_to_world.T @ moved

    def keys(self):
        """Directions of both keys; `None` where the error leaves open which they are."""
        if self.kind in ("environment_turned", "flopped", "upside_down"):
            return tuple(key_of(side @ LUMINANCE, self.directions, self.steradian) for side in (self.ours, self.theirs))
        return self.moved_lamp() if self.kind == "key_moved" else None

    def true(self):
        out = self.numbers(self.theirs, self.turned_home(self.theirs))
        turn = self.turned_deg()
        out["environment-rotation"] = None if turn is None else abs(turn)
        out["keys"] = self.keys()
        if self.kind in ("right", "gain", "colour"):
            out["highlight-direction"] = 0.0
        elif self.kind == "key_moved":
            out["highlight-direction"] = self.truth["cg"]["key_direction_error_deg"]
        else:
            out["highlight-direction"] = None if out["keys"] is None else angle_deg(*out["keys"])
        return out
