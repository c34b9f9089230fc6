"""The mirror sphere's surface."""

import numpy as np

import meshes
import textures
from render import mi, transform

SURFACES = ("chrome", "real_chrome", "rough", "tinted", "globe", "dusty", "scratched", "seam")


def rgb(values):
    return {"type": "rgb", "value": [float(v) for v in values]}


def bitmap(pixels, scale=(1, 1)):
    pixels = pixels if pixels.ndim == 3 else pixels[..., None]
    to_uv = mi.ScalarTransform4f().scale([scale[0], scale[1], 1])
    return {"type": "bitmap", "bitmap": mi.Bitmap(np.ascontiguousarray(pixels, np.float32)), "raw": True, "wrap_mode": "mirror", "to_uv": to_uv}


def smooth(reflectance):
    return {"type": "conductor", "material": "none", "specular_reflectance": rgb(reflectance)}


def rough(reflectance, alpha):
    alpha = alpha if isinstance(alpha, dict) else float(alpha)
    return {"type": "roughconductor", "distribution": "ggx", "material": "none", "alpha": alpha, "specular_reflectance": rgb(reflectance)}


def draw_surface(rng, kind):
    """Numbers of a surface: reflectance in linear rec709, and what is special about it."""
    base = rng.uniform(0.5, 0.9) * np.exp(rng.normal(0, 0.025, 3))
    if kind == "tinted":
        base = rng.uniform(0.45, 0.8) * np.array([[1, 0.78, 0.42], [1, 0.66, 0.52], [0.6, 0.78, 1], [0.95, 0.5, 0.5], [0.6, 0.9, 0.65]][rng.integers(5)])
    if kind == "real_chrome":
        base = np.array([0.635, 0.662, 0.704])
    if kind == "globe":
        base = np.array([0.93, 0.93, 0.91])
    return {
        "kind": kind, "reflectance": np.clip(base, 0.05, 0.97).tolist(),
        "alpha": float(rng.uniform(0.02, 0.1)) if kind == "rough" else None,
        "dust": float(rng.uniform(0.04, 0.25)) if kind == "dusty" else None,
        "scratches": int(rng.integers(40, 220)) if kind == "scratched" else None,
        "texture_seed": int(rng.integers(1 << 30)), "turn": rng.uniform(0, 360, 2).tolist(),
    }


def material(surface):
    rng = np.random.default_rng(surface["texture_seed"])
    kind, reflectance = surface["kind"], surface["reflectance"]
    if kind == "real_chrome":
        return {"type": "conductor", "material": "Cr"}
    if kind == "rough":
        return rough(reflectance, surface["alpha"])
    if kind == "scratched":
        return rough(reflectance, bitmap(0.003 + 0.12 * textures.scratches(rng, surface["scratches"])))
    if kind == "dusty":
        powder = {"type": "diffuse", "reflectance": rgb([0.42, 0.38, 0.33])}
        return {"type": "blendbsdf", "weight": bitmap(textures.dust(rng, surface["dust"])), "first": smooth(reflectance), "second": powder}
    return smooth(reflectance)


def lean(surface):
    tilt = np.radians(surface["turn"][0] % 24 - 12)
    roll = np.array([[np.cos(tilt), -np.sin(tilt), 0], [np.sin(tilt), np.cos(tilt), 0], [0, 0, 1]])
    return roll @ meshes.turned_about_y(surface["turn"][1])


def ball(centre, radius, bsdf, rotation=np.eye(3)):
    to_world = transform(rotation, centre) @ mi.ScalarTransform4f().scale(float(radius))
    return {"type": "sphere", "to_world": to_world, "bsdf": bsdf}


def real_sphere(centre, radius, surface, add_mesh):
    """Shapes of the photographed sphere by name; `add_mesh(mesh, bsdf)` makes a shape of a mesh."""
    if surface["kind"] == "globe":
        glass = {"type": "dielectric", "int_ior": 1.52, "ext_ior": 1.0}
        return {"mirror": ball(centre, radius, glass), "silver": ball(centre, radius * 0.985, smooth(surface["reflectance"]))}
    shapes = {"mirror": ball(centre, radius, material(surface), lean(surface))}
    if surface["kind"] == "seam":
        ring = meshes.torus(radius * 0.9995, radius * 0.004).moved(lean(surface), centre)
        shapes["seam"] = add_mesh(ring, rough(np.array(surface["reflectance"]) * 0.5, 0.25))
    return shapes
