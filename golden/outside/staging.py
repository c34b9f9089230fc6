"""Builds the set of one shot from its recipe: geometry in groups, lamps, environment, view."""

from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np

import light
import meshes
import set_pieces as pieces
import spheres
import view as views
from render import mi

STANDING = {"table": (0.7, 0.8), "stand": (1.0, 1.6), "floor": (0, 0), "plain": (1.1, 1.4), "post": (0.9, 1.25), "box": (0.25, 0.5), "hand": (1.05, 1.4)}


@dataclass
class Set:
    recipe: object
    stage: object
    view: object
    target: np.ndarray
    radius: float
    surface: dict
    environment: np.ndarray
    environment_rotation: np.ndarray
    lamps: list
    floor: str = "none"
    others: list = field(default_factory=list)

    def scene(self, *groups, lamps=None, environment_turn=np.eye(3), extra=None):
        lamps = self.lamps if lamps is None else lamps
        more = {"environment": light.envmap(self.environment, environment_turn @ self.environment_rotation)}
        for lamp in lamps:
            more |= self.lamp_shapes(lamp)
        return mi.load_dict(self.stage.scene(*groups, more=more | (extra or {})))

    def lamp_shapes(self, lamp):
        shape = self.stage.mesh_shape(light.face_mesh(lamp, self.target), pieces.matte((0.5, 0.5, 0.5)))
        shape["emitter"] = light.emitting(lamp)
        shapes = {f"lamp_{lamp.name}": shape}
        if lamp.kind in ("panel", "spot"):
            shapes[f"housing_{lamp.name}"] = self.stage.mesh_shape(light.housing_mesh(lamp, self.target), pieces.matte(pieces.BLACK))
        return shapes


def build(recipe, folder):
    rng = recipe.rng("set")
    stage = pieces.Stage(folder)
    low, high = STANDING[recipe.setting]
    support = rng.uniform(low, high)
    radius = recipe.sphere_radius
    target = np.array([0.0, support + radius, 0.0])
    view = views.place(recipe, target)
    outdoors = recipe.environment in light.OUTDOORS
    ground = set_ground(recipe, rng, stage, target, support, view, outdoors)
    surface = spheres.draw_surface(recipe.rng("surface"), recipe.surface)
    for name, shape in spheres.real_sphere(target, radius, surface, stage.mesh_shape).items():
        stage.put("sphere", name, shape)
    pieces.camera_body(stage, view)
    pieces.crew(stage, recipe.rng("crew"), recipe.crew, view, target, ground.walls)
    if recipe.hiding == "object":
        pieces.obstacle(stage, recipe.rng("obstacle"), view, target, radius, 0)
    built = Set(recipe, stage, view, target, radius, surface, light.read_environment(recipe.environment), environment_turn(recipe, outdoors), [], ground.floor, ground.others)
    built.lamps = lamps(recipe, built, ground.walls, outdoors)
    return built


def environment_turn(recipe, outdoors):
    rng = recipe.rng("turn")
    return light.environment_rotation(rng.uniform(0, 360), rng.normal(0, 1.5))


def set_ground(recipe, rng, stage, target, support, view, outdoors):
    if recipe.setting == "plain":
        return plain_ground(recipe, rng, stage, target)
    ground = SimpleNamespace(floor=pieces.floor(stage, rng, outdoors), walls=None, others=[])
    ground.walls = pieces.walls(stage, rng, target, recipe.distance, not outdoors and recipe.setting != "post")
    region = ((-1.6, 1.6), (max(-2.5, ground.walls["back"] + 0.3), 0.6))
    level, size = 0.0, 1.6
    if recipe.setting == "table":
        low, high = pieces.table(stage, rng, target, support)
        region, level, size = ((low[0] + 0.1, high[0] - 0.1), (low[2] + 0.1, high[2] - 0.1)), support, 1.0
    elif recipe.setting == "post":
        pieces.post(stage, rng, support)
    elif recipe.setting == "box":
        pieces.crate(stage, rng, target, support)
    elif recipe.setting == "stand":
        pieces.stand(stage, rng, target, recipe.sphere_radius)
    elif recipe.setting == "hand":
        pieces.hand(stage, rng, target, recipe.sphere_radius)
    if recipe.setting in ("table", "floor", "box", "post") and rng.uniform() < 0.4:
        pieces.foot_ring(stage, rng, target, recipe.sphere_radius)
    taken = pieces.things(stage, rng, int(rng.integers(1, 8)), region, level, view, target, recipe.sphere_radius, size)
    if recipe.setting != "table" and rng.uniform() < 0.45:
        background_table(stage, rng, ground, view, target, recipe.sphere_radius)
    extras(recipe, rng, stage, ground, region, level, view, target, taken)
    return ground


def background_table(stage, rng, ground, view, target, radius):
    spot = np.array([rng.uniform(-1.8, 1.8), 0, max(ground.walls["back"] + 0.7, -rng.uniform(1.0, 3.0))])
    if spot[2] > -0.8:
        return
    low, high = pieces.table(stage, rng, spot, rng.uniform(0.7, 0.8))
    pieces.things(stage, rng, 5, ((low[0] + 0.1, high[0] - 0.1), (low[2] + 0.1, high[2] - 0.1)), high[1], view, target, radius)


def extras(recipe, rng, stage, ground, region, level, view, target, taken):
    wanted = []
    if recipe.second_mirror:
        wanted.append(("second_mirror", spheres.smooth([rng.uniform(0.5, 0.9)] * 3)))
    if recipe.grey_sphere:
        wanted.append(("grey_sphere", {"type": "diffuse", "reflectance": spheres.rgb([0.18, 0.18, 0.18])}))
    for name, material in wanted:
        found = pieces.extra_ball(stage, rng, name, material, region, level, view, target, recipe.sphere_radius, taken)
        if found:
            ground.others.append(found)


def plain_ground(recipe, rng, stage, target):
    """A backdrop of one colour, or nothing but the environment; sphere on a rod."""
    walls = {"left": -30.0, "right": 30.0, "back": -30.0}
    backing = rng.choice(["cyclorama", "cloth", "none"], p=[0.5, 0.25, 0.25])
    if backing != "none":
        cover = pieces.matte([rng.uniform(0.03, 0.7)] * 3) if backing == "cyclorama" else pieces.textured("cloth", rng, 0.6)
        walls["back"] = -rng.uniform(0.8, 3.0)
        stage.put_mesh("set", "backdrop", meshes.quad([-9, -1, walls["back"]], [18, 0, 0], [0, 9, 0]), cover)
        stage.put_mesh("set", "floor", meshes.quad([-9, 0, 9], [18, 0, 0], [0, 0, walls["back"] - 9]), cover)
    pieces.stand(stage, rng, target, recipe.sphere_radius)
    return SimpleNamespace(floor="plain_" + str(backing), walls=walls, others=[])


def direction(azimuth_deg, elevation_deg):
    a, e = np.radians([azimuth_deg, elevation_deg])
    return np.array([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)])


def inside(place, walls):
    return walls["left"] + 0.25 < place[0] < walls["right"] - 0.25 and place[2] > walls["back"] + 0.25 and place[1] > 0.15


def lamps(recipe, built, walls, outdoors):
    rng, found = recipe.rng("lamps"), []
    for number in range(recipe.lamps):
        kind = "sun" if outdoors and number == 0 and rng.uniform() < 0.6 else str(rng.choice(["panel", "spot", "bulb"], p=[0.45, 0.35, 0.2]))
        lamp = place_lamp(rng, f"{kind}{number}", kind, built, walls, found)
        if lamp:
            found.append(lamp)
    return found


def place_lamp(rng, name, kind, built, walls, found):
    for _ in range(80):
        spread = rng.uniform(25, 165) if kind != "bulb" else rng.uniform(70, 178)
        aim = direction(rng.choice([-1, 1]) * spread, rng.uniform(8, 65) if kind != "bulb" else rng.uniform(-5, 30))
        lamp = light.draw_lamp(rng, name, "spot" if kind == "bulb" else kind, aim, rng.uniform(1.1, 3.6))
        apart = all(np.degrees(np.arccos(np.clip(aim @ other.direction, -1, 1))) > 28 for other in found)
        if kind == "bulb":
            lamp.radius, lamp.illuminance, lamp.in_frame = rng.uniform(0.02, 0.05), rng.uniform(0.15, 0.8), True
            lamp.kind = "bulb"
        if apart and (kind == "sun" or inside(lamp.place(built.target), walls)):
            return lamp
    return None
