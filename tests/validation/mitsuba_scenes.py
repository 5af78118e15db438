"""A raylab scene as a scene of `mitsuba`, a general-purpose renderer that shares no code with raylab.

Everything is told in the stone's frame: the mesh stays, the camera and the light turn. What lies outside the stone (sky,
zones, lamps, head and tray) is baked into one equirectangular map. mitsuba reads such a map with its first and last row at
the poles and its columns half a column inside, bilinear between; `baked_light` samples at just these nodes, so the only
difference from the exact light is what a sharp edge does within one node's distance.

Paths have the same end: `max_bounces` internal hits, then the rest is dark, and no Russian roulette. mitsuba works in single
precision. Where the LLVM library that its compiled variants need is missing, its plain ones are used.
"""

from __future__ import annotations

import functools
from typing import Any

import drjit as dr
import mitsuba as mi
import numpy as np
from scipy.spatial import ConvexHull
from small_scenes import scene_of

from raylab.lighting.dome import Dome
from raylab.optics.materials import Material
from raylab.scene.pixel_grid import PixelGrid
from raylab.scene.view import View, silhouette
from raylab.stone.inclusions.inclusion import Inclusion
from raylab.stone.stone import Stone
from raylab.tracers.ledger import LUMINANCE
from raylab.tracers.sampled.view_rays import sample_points

WAVELENGTH_NM = 589.3
END = 1e-6
"""Weight at which our paths end: darkens a pixel by less than this, far below the standard errors of these images."""
DIRECTIONS = 1 << 14
"""Nodes of a light map that are looked at together."""
LLVM_SEEN_WORKING = 19
"""Major version of the LLVM library; version 15 was seen to abort while compiling mitsuba's code, 14 is refused by mitsuba."""


def use_variant(polarized: bool) -> str:
    """Set mitsuba to compiled code where this machine has the LLVM library for it, else to plain; returns the variant.

    Unpolarized variants average s and p at every bounce.
    """
    try:
        mi.set_variant("llvm_ad_mono_polarized" if polarized else "llvm_ad_mono")
        compiled = dr.detail.llvm_version()[0] >= LLVM_SEEN_WORKING
    except ImportError:  # how mitsuba tells that there is no LLVM library at all
        compiled = False
    if not compiled:
        mi.set_variant("scalar_spectral_polarized" if polarized else "scalar_rgb")
    return str(mi.variant())


def random_stone(seed: int, n: float, facets: int = 20) -> Stone:
    """An irregular convex polyhedron about the origin, 4 to 6 mm across, of constant index n."""
    random = np.random.default_rng(seed)
    normals = random.normal(size=(facets, 3))
    return Stone.from_planes(
        normals, random.uniform(1.8, 3.0, facets), material=Material.constant(n), redundant="drop", name=f"random {seed}"
    )


def baked_light(dome: Dome, view: View, rows: int, columns: int) -> np.ndarray:
    """(rows, columns) radiance at mitsuba's nodes, all that lies outside the stone, stone's frame.

    Row 0 looks along +z, the last along -z; columns run clockwise from azimuth 180 as in `Dome.image`.
    """
    polar = np.linspace(0.0, np.pi, rows)
    polar[[0, -1]] += 1e-9, -1e-9  # a pole has an azimuth too: its row may differ from column to column
    azimuth = 2.0 * np.pi * (0.5 - (np.arange(columns) + 0.5) / columns)
    light, most = np.empty((rows, columns)), max(1, DIRECTIONS // columns)
    for first in range(0, rows, most):
        theta = polar[first : first + most, None]
        parts = np.sin(theta) * np.cos(azimuth), np.sin(theta) * np.sin(azimuth), np.cos(theta)
        directions = np.stack(np.broadcast_arrays(*parts), axis=-1)
        in_dome = directions @ view.rotation().T
        found = dome.radiance(in_dome.reshape(-1, 3)).reshape(in_dome.shape[:2])
        found = np.where(directions[..., 2] < 0.0, dome.table.tray, found)
        light[first : first + most] = np.where(in_dome[..., 2] > np.cos(np.radians(dome.head_half_angle_deg)), 0.0, found)
    return light


def emitter(light: np.ndarray) -> dict[str, Any]:
    """The baked light as an `envmap`; mitsuba's map has its pole along +y, ours along +z."""
    to_world = np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]], dtype=float)
    bitmap = mi.Bitmap(np.ascontiguousarray(light[:, :, None], dtype=np.float32))
    return {"type": "envmap", "bitmap": bitmap, "to_world": mi.ScalarTransform4f(to_world)}


def meshes(stone: Stone, n: float) -> dict[str, Any]:
    """The stone's triangles with flat normals, those of each finish as a mesh of their own."""
    _, triangles = stone.triangles()
    kinds = list(map(str, stone.finishes))
    of_triangle = np.repeat(kinds, [len(loop) - 2 for loop in stone.polyhedron.loops])
    found = enumerate(dict.fromkeys(kinds))
    return {f"stone {k}": _mesh(stone, triangles[of_triangle == kind], surface(kind, n)) for k, kind in found}


def surface(finish: str, n: float) -> dict[str, Any]:
    """A finish as a surface of mitsuba's: smooth, black, diffuse on both sides, or microfacets as in Walter et al. 2007."""
    kind, *amount = finish.split()
    glass = {"int_ior": n, "ext_ior": 1.0}
    if kind == "polished":
        return {"type": "dielectric", **glass}
    if kind == "rough":
        return {"type": "roughdielectric", "distribution": "ggx", "alpha": float(amount[0]), **glass}
    reflectance = float(amount[0]) if amount else 0.0
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": {"type": "uniform", "value": reflectance}}}


def _mesh(stone: Stone, triangles: np.ndarray, of: dict[str, Any]) -> Any:
    corners = stone.vertices_mm
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(of)
    properties["face_normals"] = True
    body = mi.Mesh("stone", len(corners), len(triangles), properties)
    numbers = mi.traverse(body)
    numbers["vertex_positions"] = corners.astype(np.float32).ravel()
    numbers["faces"] = triangles.astype(np.uint32).ravel()
    numbers.update()
    return body


def black_sphere(inclusion: Inclusion) -> dict[str, Any]:
    """An opaque sphere, as a surface that reflects nothing."""
    black = {"type": "diffuse", "reflectance": {"type": "spectrum", "value": 0.0}}
    return {"type": "sphere", "center": list(inclusion.center_mm), "radius": inclusion.shape.reach_mm, "bsdf": black}


def sensor(stone: Stone, view: View, grid: PixelGrid) -> dict[str, Any]:
    """A camera whose pixels are the frame's; its first row is the frame's last (mitsuba counts from the top)."""
    side = grid.pixel_mm * grid.resolution
    center = np.array([grid.x0_mm, grid.y0_mm]) + side / 2.0
    camera = np.diag([-1.0, 1.0, -1.0, 1.0])  # camera axes in the dome's frame: it looks down, its x runs to the left
    if view.distance_mm is None:
        camera[:2, :2] *= side / 2.0
        camera[:3, 3] = *center, 2.0 * float(np.abs(stone.vertices_mm).max())
        kind = {"type": "orthographic"}
    else:
        camera[2, 3] = view.distance_mm
        kind = {
            "type": "perspective",
            "fov": float(np.degrees(2.0 * np.arctan(side / 2.0 / view.distance_mm))),
            "principal_point_offset_x": float(center[0] / side),
            "principal_point_offset_y": float(-center[1] / side),
        }
    turn = np.eye(4)
    turn[:3, :3] = view.rotation().T
    film = {
        "type": "hdrfilm",
        "width": grid.resolution,
        "height": grid.resolution,
        "pixel_format": "luminance",
        "component_format": "float32",
        "rfilter": {"type": "box"},
    }
    to_world = mi.ScalarTransform4f(turn @ camera)
    return {**kind, "to_world": to_world, "near_clip": 0.01, "film": film, "sampler": {"type": "independent"}}


def build(stone: Stone, view: View, grid: PixelGrid, light: np.ndarray, *, n: float, max_bounces: int = 64) -> Any:
    """The whole scene, in the variant that is set. A path of B internal hits has B + 2 legs."""
    path = {"type": "path", "max_depth": max_bounces + 2, "rr_depth": 100_000}
    parts = {"integrator": path, "sensor": sensor(stone, view, grid), **meshes(stone, n), "light": emitter(light)}
    parts |= {f"inclusion {k}": black_sphere(one) for k, one in enumerate(stone.inclusions)}
    return mi.load_dict({"type": "scene", **parts})


def render(scene: Any, samples: int, seed: int) -> np.ndarray:
    """(ny, nx) luminance, rows as in the frame, of `samples` independent paths per pixel."""
    image = np.array(mi.render(scene, spp=samples, seed=seed), dtype=float)
    return image[::-1, :, 0] / _white(str(mi.variant()))


@functools.cache
def _white(variant: str) -> float:
    """What a variant calls white: the mean of an empty scene of radiance 1 (1.0003 in the spectral one, else 1)."""
    light = emitter(np.ones((3, 2)))
    film = {"type": "hdrfilm", "width": 256, "height": 256, "pixel_format": "luminance", "rfilter": {"type": "box"}}
    parts = {"light": light, "sensor": {"type": "perspective", "film": film}, "integrator": {"type": "path"}}
    return float(np.mean(mi.render(mi.load_dict({"type": "scene", **parts}), spp=64)))


def mitsuba_images(scene: Any, samples: int, repeats: int, first_seed: int = 1) -> np.ndarray:
    """(repeats, ny, nx) luminance of independent renders."""
    return np.array([render(scene, samples, seed=first_seed + repeat) for repeat in range(repeats)])


def raylab_images(
    stone: Stone, dome: Dome, view: View, grid: PixelGrid, samples: int, repeats: int, **options: Any
) -> np.ndarray:
    """(repeats, ny, nx) luminance by raylab's rays, `samples` independent points in each pixel; 0 beside the stone.

    raylab's own sampling is stratified; here it is not, so that the scatter of samples is the error.
    """
    n = grid.resolution
    corners = np.stack(np.meshgrid(grid.x_mm, grid.y_mm), axis=-1) - grid.pixel_mm / 2.0
    scene, images = scene_of(stone, dome, view, min_weight=END, **options), np.empty((repeats, n, n))
    for repeat in range(repeats):
        random = np.random.default_rng((1, repeat)).random((n, n, samples, 2))
        points = (corners[:, :, None, :] + random * grid.pixel_mm).reshape(-1, 2)
        rows, _ = sample_points(points, scene, WAVELENGTH_NM, first_key=repeat * len(points))
        images[repeat] = rows[:, LUMINANCE].reshape(n, n, samples).mean(axis=2)
    return images


def covered(stone: Stone, view: View, grid: PixelGrid) -> np.ndarray:
    """(ny, nx) bool: pixels whose four corners lie inside the stone's silhouette."""
    hull = ConvexHull(silhouette(stone, view)).equations
    edges_x = grid.x0_mm + np.arange(grid.resolution + 1) * grid.pixel_mm
    edges_y = grid.y0_mm + np.arange(grid.resolution + 1) * grid.pixel_mm
    corners = np.stack(np.meshgrid(edges_x, edges_y), axis=-1)
    inside = np.all(corners @ hull[:, :2].T + hull[:, 2] < 0.0, axis=-1)
    return inside[:-1, :-1] & inside[1:, :-1] & inside[:-1, 1:] & inside[1:, 1:]
