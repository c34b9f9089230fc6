"""The set: what the sphere stands on, walls, crew, camera, and shiny things that are not the sphere."""

from pathlib import Path

import numpy as np

import meshes
import textures
from render import mi
from spheres import ball, bitmap, rgb, rough, smooth

CLOTHES = [(0.02, 0.02, 0.025), (0.05, 0.07, 0.12), (0.3, 0.3, 0.31), (0.25, 0.05, 0.04), (0.08, 0.1, 0.06), (0.45, 0.42, 0.36), (0.12, 0.08, 0.05), (0.5, 0.25, 0.02)]
SKIN = [(0.55, 0.35, 0.26), (0.42, 0.25, 0.17), (0.24, 0.13, 0.08), (0.12, 0.065, 0.045)]
BLACK = (0.018, 0.018, 0.02)


class Stage:
    """Shapes sorted into groups, so that pictures can be made with or without a group."""

    def __init__(self, folder: Path):
        self.folder, self.groups, self.count = folder, {}, 0

    def mesh_shape(self, mesh, bsdf):
        self.count += 1
        path = self.folder / f"{self.count:04d}.ply"
        meshes.write_ply(mesh, path)
        return {"type": "ply", "filename": str(path), "bsdf": bsdf}

    def put(self, group, name, shape):
        self.groups.setdefault(group, {})[f"{name}_{len(self.groups.get(group, {}))}" if name in self.groups.get(group, {}) else name] = shape

    def put_mesh(self, group, name, mesh, bsdf):
        self.put(group, name, self.mesh_shape(mesh, bsdf))

    def scene(self, *groups, more=None):
        shapes = {f"{g}_{n}": s for g in groups for n, s in self.groups.get(g, {}).items()}
        return {"type": "scene", **shapes, **(more or {})}


def matte(colour):
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": rgb(colour)}}


def pictured(pixels, metres):
    """Matte, with a texture that repeats (mirrored) every `metres`."""
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": bitmap(pixels, (1 / metres, 1 / metres))}}


def glossy(colour):
    return {"type": "plastic", "diffuse_reflectance": rgb(colour), "int_ior": 1.5}


def textured(name, rng, metres):
    return pictured(textures.reflectance(name, rng), metres)


def person(place, facing_deg, rng, height=None):
    """Meshes of a standing figure by material."""
    tall = (height or rng.uniform(1.55, 1.92)) / 1.75
    lift, spread = rng.uniform(-0.25, 0.9, 2), rng.uniform(0.04, 0.2)
    hands = [np.array([s * (0.3 + 0.1 * rng.uniform()), 0.85 + 0.45 * l, 0.12 + 0.32 * abs(l)]) for s, l in zip((-1, 1), lift)]
    shoulders = [np.array([s * 0.2, 1.42, 0]) for s in (-1, 1)]
    elbows = [(h + s) / 2 + [0.07 * np.sign(s[0]), -0.07, -0.07] for h, s in zip(hands, shoulders)]
    shirt = [meshes.ellipsoid([0, 1.18, 0], [0.165, 0.33, 0.115]), meshes.ellipsoid([0, 1.36, 0], [0.2, 0.12, 0.1]), meshes.ellipsoid([0, 0.97, 0], [0.165, 0.13, 0.115])]
    shirt += [meshes.capsule(s, e, 0.052, 0.043) for s, e in zip(shoulders, elbows)]
    shirt += [meshes.capsule(e, h + (e - h) * 0.15, 0.045, 0.036) for e, h in zip(elbows, hands)]
    legs = [meshes.capsule([s * 0.1, 0.92, 0], [s * (0.1 + spread / 2), 0.48, 0.02], 0.085, 0.065) for s in (-1, 1)]
    legs += [meshes.capsule([s * (0.1 + spread / 2), 0.48, 0.02], [s * (0.1 + spread), 0.07, 0], 0.062, 0.05) for s in (-1, 1)]
    legs += [meshes.ellipsoid([s * (0.1 + spread), 0.045, 0.06], [0.05, 0.045, 0.13]) for s in (-1, 1)]
    bare = [meshes.ellipsoid([0, 1.62, 0.01], [0.077, 0.115, 0.095]), meshes.capsule([0, 1.45, 0], [0, 1.56, 0], 0.055)]
    bare += [meshes.ellipsoid(h, [0.045, 0.05, 0.06]) for h in hands]
    bare += [meshes.ellipsoid([s * 0.078, 1.61, 0], [0.01, 0.03, 0.02]) for s in (-1, 1)] + [meshes.ellipsoid([0, 1.6, 0.105], [0.014, 0.024, 0.018])]
    hair = [meshes.ellipsoid([0, 1.67, -0.018], [0.086, 0.09, 0.098])]
    hair += [meshes.ellipsoid([s * 0.03, 1.635, 0.088], [0.012, 0.007, 0.012]) for s in (-1, 1)] + [meshes.ellipsoid([0, 1.565, 0.09], [0.022, 0.005, 0.012])]
    turn = meshes.turned_about_y(facing_deg)
    return {name: meshes.merged(parts).moved(turn * tall, place) for name, parts in (("shirt", shirt), ("legs", legs), ("skin", bare), ("hair", hair))}


def dress(stage, group, figure, rng):
    shirt, legs = CLOTHES[rng.integers(len(CLOTHES))], CLOTHES[rng.integers(5)]
    colours = {"shirt": shirt, "legs": legs, "skin": SKIN[rng.integers(len(SKIN))], "hair": (0.02, 0.015, 0.01)}
    for part, mesh in figure.items():
        stage.put_mesh(group, part, mesh, matte(np.array(colours[part]) * rng.uniform(0.8, 1.3)))


def crew(stage, rng, count, view, target, walls):
    """Figures beside and behind the camera that look at the sphere, rarely one beside the sphere itself."""
    back = view.position - target
    back = back * [1, 0, 1] / np.linalg.norm(back * [1, 0, 1])
    side = np.array([back[2], 0, -back[0]])
    for number in range(count):
        if number == 3:
            place = target - back * rng.uniform(0.4, 1.6) + side * rng.choice([-1, 1]) * rng.uniform(0.8, 1.7)
        else:
            place = view.position + back * rng.uniform(0.15, 1.4) + side * rng.choice([-1, 1]) * rng.uniform(0.38, 1.6)
        place = np.clip(place * [1, 0, 1], [walls["left"] + 0.4, 0, walls["back"] + 0.4], [walls["right"] - 0.4, 0, 60])
        toward = target - place
        dress(stage, "crew", person(place, np.degrees(np.arctan2(toward[0], toward[2])) + rng.normal(0, 12), rng), rng)


def camera_body(stage, view):
    """Body, lens and tripod, all behind the pinhole."""
    parts = [meshes.box([-0.075, -0.085, 0.1], [0.075, 0.085, 0.36]), meshes.box([-0.05, 0.085, 0.14], [0.03, 0.13, 0.3])]
    barrel = meshes.lathe([(0.001, 0), (0.048, 0), (0.048, 0.1), (0.001, 0.1)], 32)
    parts.append(barrel.moved(np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]]), [0, 0, 0.005]))
    stage.put_mesh("camera", "body", meshes.merged([p.moved(view.rotation, view.position) for p in parts]), matte(BLACK))
    head = view.position + view.rotation @ [0, -0.1, 0.22]
    if head[1] > 0.35:
        flat = view.rotation[:, 2] * [1, 0, 1]
        turn = np.degrees(np.arctan2(flat[0], flat[2]))
        feet = [head * [1, 0, 1] + meshes.turned_about_y(turn + a) @ [0, 0.01, 0.28 * head[1] + 0.1] for a in (60, 180, 300)]
        stage.put_mesh("camera", "tripod", meshes.merged([meshes.capsule(head - [0, 0.05, 0], f, 0.017) for f in feet]), matte((0.06, 0.06, 0.065)))


def floor(stage, rng, outdoors):
    name = rng.choice(["grass", "gravel", "concrete", "gravel"] if outdoors else ["planks", "tiles", "concrete", "brick", "cloth"])
    metres = {"grass": 1.3, "gravel": 1.0, "brick": 0.8, "planks": 1.1, "tiles": 1.6, "cloth": 0.5, "concrete": 2.5}[name]
    stage.put_mesh("set", "floor", meshes.quad([-14, 0, 14], [28, 0, 0], [0, 0, -28]), textured(name, rng, metres))
    return str(name)


def walls(stage, rng, target, camera_distance, indoors):
    """A wall behind the sphere, often one beside it and a ceiling; open towards the camera's side, where light comes in."""
    sizes = {"left": -rng.uniform(1.6, 4.5), "right": rng.uniform(1.6, 4.5), "back": target[2] - rng.uniform(0.8, 4.5)}
    room = {"left": -30.0, "right": 30.0, "back": -30.0}
    if not indoors:
        return room
    near = camera_distance + rng.uniform(0.5, 2)
    name, tall = str(rng.choice(["plaster", "brick", "plaster", "planks", "concrete"])), rng.uniform(2.4, 3.6)
    cover = textured(name, rng, 0.75 if name == "brick" else 1.5)
    room["back"] = sizes["back"]
    left, right = (sizes["left"], sizes["right"]) if rng.uniform() < 0.6 else (-7.0, 7.0)
    stage.put_mesh("set", "back_wall", meshes.quad([left, 0, room["back"]], [right - left, 0, 0], [0, tall, 0]), cover)
    stage.put_mesh("set", "skirting", meshes.box([left, 0, room["back"]], [right, 0.11, room["back"] + 0.018]), matte([rng.uniform(0.1, 0.6)] * 3))
    for side, at in (("left", sizes["left"]), ("right", sizes["right"])):
        if rng.uniform() < 0.4:
            room[side] = at
            stage.put_mesh("set", f"{side}_wall", meshes.quad([at, 0, room["back"]], [0, 0, near - room["back"]], [0, tall, 0]), cover)
    posters(stage, rng, room, left, right)
    return room


def posters(stage, rng, room, left, right):
    for _ in range(rng.integers(0, 4)):
        picture = textures.photograph(str(rng.choice(textures.POSTERS)))
        wide = rng.uniform(0.4, 1.5)
        tall = wide * picture.shape[0] / picture.shape[1]
        x, y = rng.uniform(left + 0.2, max(left + 0.3, right - wide - 0.2)), rng.uniform(0.7, 1.5)
        sheet = meshes.quad([x, y, room["back"] + 0.012], [wide, 0, 0], [0, tall, 0])
        sheet.uvs[:] = [[0, 1], [1, 1], [1, 0], [0, 0]]
        stage.put_mesh("set", "poster", sheet, pictured(np.clip(picture * 0.8, 0, 0.8), 1.0))
        stage.put_mesh("set", "frame", meshes.box([x - 0.02, y - 0.02, room["back"]], [x + wide + 0.02, y + tall + 0.02, room["back"] + 0.01]), matte([rng.uniform(0.01, 0.5)] * 3))


def table(stage, rng, target, height):
    wide, deep = rng.uniform(0.5, 1.0), rng.uniform(0.35, 0.6)
    x, z = target[0] + rng.uniform(-0.3, 0.3) * wide, target[2] + rng.uniform(-0.3, 0.3) * deep
    low, high = np.array([x - wide, height - 0.035, z - deep]), np.array([x + wide, height, z + deep])
    name = str(rng.choice(["planks", "dark_wood", "cloth", "planks", "tiles", "plaster"]))
    metres = {"dark_wood": 0.35, "cloth": 0.3, "tiles": 0.6}.get(name, 0.7)
    stage.put_mesh("set", "table", meshes.box(low, high), textured(name, rng, metres))
    legs = [meshes.box([a - 0.03, 0, b - 0.03], [a + 0.03, height - 0.035, b + 0.03]) for a in (low[0] + 0.06, high[0] - 0.06) for b in (low[2] + 0.06, high[2] - 0.06)]
    stage.put_mesh("set", "table_legs", meshes.merged(legs), matte((0.08, 0.05, 0.03)))
    if rng.uniform() < 0.35:
        papers(stage, rng, low, high)
    return low, high


def papers(stage, rng, low, high):
    page = textures.page(rng)
    for number in range(rng.integers(1, 4)):
        sheet = meshes.quad([-0.105, 0, 0.148], [0.21, 0, 0], [0, 0, -0.297])
        sheet.uvs[:] = [[0, 1], [1, 1], [1, 0], [0, 0]]
        spot = [rng.uniform(low[0] + 0.15, high[0] - 0.15), high[1] + 0.001 * (number + 1), rng.uniform(low[2] + 0.12, high[2] - 0.12)]
        stage.put_mesh("set", "paper", sheet.moved(meshes.turned_about_y(rng.uniform(0, 360)), spot), pictured(page, 1.0))


def post(stage, rng, top):
    wide = rng.uniform(0.05, 0.09)
    wood = textured("planks", rng, 0.5)
    stage.put_mesh("set", "post", meshes.box([-wide, 0, -wide], [wide, top, wide]), wood)
    for height in (top * 0.45, top * 0.85):
        stage.put_mesh("set", "rail", meshes.box([-6, height - 0.05, -wide - 0.03], [6, height + 0.05, -wide]), wood)
    others = [meshes.box([x - wide, 0, -wide], [x + wide, top * rng.uniform(0.9, 1.0), wide]) for x in (-4, -2, 2, 4)]
    stage.put_mesh("set", "posts", meshes.merged(others), wood)


def crate(stage, rng, target, top):
    wide, deep = rng.uniform(0.2, 0.4), rng.uniform(0.15, 0.35)
    stage.put_mesh("set", "crate", meshes.box([-wide, 0, -deep], [wide, top, deep]).moved(meshes.turned_about_y(rng.uniform(-35, 35)), target * [1, 0, 1]), textured("planks", rng, 0.45))


def stand(stage, rng, target, radius):
    rod = radius * rng.uniform(0.06, 0.22)
    bottom = np.array([target[0], 0.0, target[2]])
    parts = [meshes.capsule(bottom + [0, 0.25, 0], target - [0, radius * 0.97, 0], rod)]
    parts += [meshes.capsule(bottom + [0, 0.35, 0], bottom + meshes.turned_about_y(t) @ [0.4, 0.012, 0], 0.011) for t in (10, 130, 250)]
    if rng.uniform() < 0.5:
        cup = radius * rng.uniform(0.25, 0.45)
        parts.append(meshes.lathe([(rod, -radius * 1.15), (cup, -np.sqrt(radius ** 2 - cup ** 2) * 0.995), (cup * 0.9, -np.sqrt(radius ** 2 - cup ** 2))], 32).moved(shift=target))
    metal = rough([0.5, 0.5, 0.5], 0.2) if rng.uniform() < 0.4 else matte((0.03, 0.03, 0.03))
    stage.put_mesh("stand", "rod", meshes.merged(parts), metal)


def foot_ring(stage, rng, target, radius):
    """A ring that keeps the sphere from rolling off."""
    ring = meshes.torus(radius * rng.uniform(0.25, 0.45), radius * rng.uniform(0.03, 0.08), 48)
    stage.put_mesh("stand", "ring", ring.moved(shift=target - [0, radius * 0.96, 0]), matte([rng.uniform(0.02, 0.4)] * 3))


def hand(stage, rng, target, radius):
    """Fingers that hold the sphere from below, forearm, and the person it belongs to."""
    heading = rng.uniform(-60, 60)
    turn = meshes.turned_about_y(heading)
    reach = min(0.085 / radius, 1.5)
    parts = []
    for spread in (-40, -14, 12, 38, 150):
        angles = np.linspace(0.1, 0.1 + reach * rng.uniform(0.75, 1.0), 4)
        spots = [meshes.turned_about_y(spread) @ [0, -np.cos(a), np.sin(a)] * (radius + 0.009) for a in angles]
        parts += [meshes.capsule(a, b, 0.0095, 0.0085) for a, b in zip(spots, spots[1:])]
    parts.append(meshes.ellipsoid([0, -radius - 0.028, -0.01], [0.042, 0.026, 0.048]))
    wrist, elbow = np.array([0, -radius - 0.05, -0.05]), np.array([0.05, -radius - 0.26, -0.2])
    parts.append(meshes.capsule(wrist, wrist + (elbow - wrist) * 0.4, 0.03, 0.034))
    skin = np.array(SKIN[rng.integers(len(SKIN))])
    stage.put_mesh("stand", "hand", meshes.merged(parts).moved(turn, target), matte(skin))
    sleeve = meshes.capsule(wrist + (elbow - wrist) * 0.35, elbow, 0.042, 0.055).moved(turn, target)
    stage.put_mesh("stand", "sleeve", sleeve, matte(CLOTHES[rng.integers(len(CLOTHES))]))
    place = (target + turn @ [0.42, 0, -0.35]) * [1, 0, 1]
    dress(stage, "stand", person(place, heading - 30, rng), rng)


PROFILES = {
    "bottle": [(0.001, 0), (0.034, 0), (0.037, 0.01), (0.037, 0.15), (0.03, 0.19), (0.014, 0.22), (0.013, 0.28), (0.001, 0.281)],
    "cup": [(0.001, 0), (0.026, 0), (0.036, 0.03), (0.041, 0.09), (0.039, 0.09), (0.033, 0.03), (0.001, 0.008)],
    "bowl": [(0.001, 0), (0.03, 0), (0.06, 0.025), (0.085, 0.07), (0.082, 0.07), (0.057, 0.028), (0.001, 0.01)],
    "can": [(0.001, 0), (0.033, 0), (0.034, 0.004), (0.034, 0.115), (0.028, 0.12), (0.001, 0.119)],
    "plate": [(0.001, 0), (0.06, 0), (0.12, 0.018), (0.118, 0.02), (0.06, 0.006), (0.001, 0.006)],
    "vase": [(0.001, 0), (0.04, 0), (0.075, 0.07), (0.08, 0.11), (0.05, 0.18), (0.03, 0.22), (0.042, 0.25), (0.04, 0.25), (0.001, 0.2)],
    "cone": [(0.15, 0), (0.13, 0.02), (0.02, 0.45), (0.001, 0.455)],
}


def smoothed(profile):
    """The profile with extra points close to its corners, so that shading normals stay crisp there."""
    profile = np.asarray(profile, float)
    fractions = [0, 0.04, 0.5, 0.96]
    dense = [a + (b - a) * f for a, b in zip(profile, profile[1:]) for f in fractions]
    return np.array(dense + [profile[-1]])


def thing_material(rng):
    colour = np.clip(rng.uniform(0.03, 0.55) * np.exp(rng.normal(0, 0.28, 3)), 0.01, 0.75)
    pick = rng.uniform()
    if pick < 0.45:
        return glossy(colour)
    if pick < 0.65:
        return matte(colour)
    if pick < 0.8:
        return {"type": "twosided", "bsdf": rough(np.clip(colour + 0.4, 0, 0.9), rng.uniform(0.08, 0.3))}
    return {"type": "twosided", "bsdf": smooth(np.clip(0.5 + 0.4 * colour, 0, 0.9))} if pick < 0.88 else glossy(colour * 0.3)


def thing(stage, rng, spot, size):
    kind = str(rng.choice(list(PROFILES) + ["ball", "ball", "fruit"]))
    if kind in ("ball", "fruit"):
        radius = rng.uniform(0.025, 0.07) * size
        material = glossy([(0.5, 0.05, 0.03), (0.5, 0.3, 0.02), (0.7, 0.7, 0.68), (0.05, 0.1, 0.4), (0.02, 0.02, 0.02)][rng.integers(5)])
        stage.put("set", kind, ball(np.asarray(spot) + [0, radius, 0], radius, material))
        return radius
    stage.put_mesh("set", kind, meshes.lathe(smoothed(PROFILES[kind]) * size, 36).moved(shift=spot), thing_material(rng))
    return max(r for r, _ in PROFILES[kind]) * size


def clear_of(spot, taken, reach):
    return all(np.hypot(spot[0] - p[0], spot[2] - p[2]) > reach + r for p, r in taken)


def blocks_view(spot, reach, view, target, radius):
    """Whether a thing at the spot could come between camera and sphere."""
    line = (target - view.position) * [1, 0, 1]
    length = np.linalg.norm(line)
    along = (np.asarray(spot) - view.position) * [1, 0, 1] @ line / length
    off = np.linalg.norm((np.asarray(spot) - view.position) * [1, 0, 1] - along * line / length)
    return along < length + radius and off < reach + radius * 1.25 * max(0.2, along / length) + 0.02


def things(stage, rng, count, region, level, view, target, radius, size=1.0):
    taken = [(target, radius + 0.03)]
    for _ in range(count):
        for _ in range(30):
            spot = np.array([rng.uniform(*region[0]), level, rng.uniform(*region[1])])
            if clear_of(spot, taken, 0.13 * size) and not blocks_view(spot, 0.12 * size, view, target, radius):
                taken.append((spot, thing(stage, rng, spot, size)))
                break
    return taken


def extra_ball(stage, rng, name, material, region, level, view, target, radius, taken):
    """Another sphere on the same support, clear of the rest; its place and radius, or None."""
    for _ in range(60):
        size = radius * rng.choice([0.5, 0.7, 1.0, 1.3]) * rng.uniform(0.9, 1.1)
        spot = np.array([rng.uniform(*region[0]), level, rng.uniform(*region[1])])
        if clear_of(spot, taken, size + 0.02) and not blocks_view(spot, size, view, target, radius):
            taken.append((spot, size))
            stage.put("set", name, ball(spot + [0, size, 0], size, material))
            return {"name": name, "centre": (spot + [0, size, 0]).tolist(), "radius": float(size)}
    return None


def obstacle(stage, rng, view, target, radius, away_px):
    """Something out of focus or close that covers part of the rim: a cable, a leaf-like blade, a fingertip."""
    toward = view.position - target
    spot = target + toward * rng.uniform(0.06, 0.3)
    scale = np.linalg.norm(view.position - spot) / np.linalg.norm(toward)
    angle = rng.uniform(0, 2 * np.pi)
    offset = (view.rotation[:, 0] * np.cos(angle) + view.rotation[:, 1] * np.sin(angle)) * radius * scale * rng.uniform(0.75, 1.0)
    across = -view.rotation[:, 0] * np.sin(angle) + view.rotation[:, 1] * np.cos(angle)
    if rng.uniform() < 0.5:
        mesh = meshes.capsule(spot + offset - across * radius * 3, spot + offset + across * radius * 3, radius * scale * rng.uniform(0.06, 0.16))
        stage.put_mesh("obstacle", "cable", mesh, matte(BLACK if rng.uniform() < 0.6 else (0.3, 0.18, 0.04)))
        return
    blob = meshes.ellipsoid([0, 0, 0], np.array([0.35, 0.5, 0.3]) * radius * scale * rng.uniform(0.7, 1.2))
    stage.put_mesh("obstacle", "blob", blob.moved(shift=spot + offset * 1.15), glossy(rng.uniform(0.03, 0.5, 3)))
