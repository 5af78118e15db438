"""A stone from a scanned mesh: planar facets fitted to its triangles, turned into raylab's frame, with an honest report.

How: the mesh must be closed, of one body and right side out. Its triangles are grouped into planar patches and planes are
fitted to them (`facets`); the stone is turned so that its table faces +z (`stone_pose`), and its cut and tiers are recognised.
The facets' standard errors hold for noise that is independent from vertex to vertex; a scanner's common errors (scale,
calibration) come on top and can't be seen in one scan.

What the planes don't explain is reported with its place and area, and more than a stated share of it is refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ...convex_hulls import ConvexHull
from ...demo import own_or_demo
from ...errors import InputError, StoneError
from ...optics.materials import Material, get_material
from ...reading import reader
from ...units import number_in
from ..finish import POLISHED, Finish, get_finish
from ..polyhedron import intersect
from ..recognition import name_tiers
from ..stone import Stone
from ..tier import EXTRA, GIRDLE
from .facets import Found, find_facets
from .mesh import Mesh, closed_mesh
from .mesh_file import read_mesh
from .report import ScanReport, explained_pct, facet_fits, unexplained
from .stone_pose import Pose, stone_pose

MIN_EXPLAINED_PCT = 90.0
"""Least share of the surface, percent, that must lie on planar facets."""

MIN_HULL_PCT = 90.0
"""Least share of its convex hull, percent, that a body must fill; noise of 10 um costs a stone of 6.5 mm about 4."""

SIZES_MM = (0.1, 1000.0)
"""Sizes of a stone that are believed, mm."""


@dataclass(frozen=True)
class Scan:
    """A `stone` and the `report` of its reconstruction from a scan."""

    stone: Stone
    report: ScanReport


@reader
def load_scan(
    path: str | Path,
    *,
    unit: str | None = None,
    material: str | Material = "diamond",
    noise_um: float | None = None,
    girdle_finish: str | Finish = "polished",
    oriented: bool = False,
    min_explained_pct: float = MIN_EXPLAINED_PCT,
) -> Scan:
    """The stone in a mesh file (.stl, .obj, .ply, .glb, .3mf).

    Parameters
    ----------
    path : the file, or the name of a demo scan.
    unit : unit of length, "um", "mm", "cm", "m" or "in". Required for .stl, .obj and .ply; .glb (metres) and .3mf state
        their own.
    material, noise_um, girdle_finish, oriented, min_explained_pct : see `stone_from_mesh`.

    Raises
    ------
    InputError, StoneError : one line that names the file.
    """
    path = own_or_demo(path)
    mesh = read_mesh(path, unit=unit)
    try:
        scan = stone_from_mesh(
            mesh.vertices_mm,
            mesh.triangles,
            material=material,
            noise_um=noise_um,
            girdle_finish=girdle_finish,
            oriented=oriented,
            min_explained_pct=min_explained_pct,
            name=path.stem,
        )
    except InputError as error:
        raise error.within(file=str(path)) from error
    return Scan(scan.stone, replace(scan.report, unit=mesh.unit))


def stone_from_mesh(
    vertices_mm: np.ndarray,
    triangles: np.ndarray,
    *,
    material: str | Material = "diamond",
    noise_um: float | None = None,
    girdle_finish: str | Finish = "polished",
    oriented: bool = False,
    min_explained_pct: float = MIN_EXPLAINED_PCT,
    name: str = "scan",
) -> Scan:
    """The stone in a closed triangle mesh; the arrays are not changed.

    Parameters
    ----------
    vertices_mm, triangles : (V, 3) mm and (T, 3) indices, counter-clockwise from outside.
    noise_um : standard deviation of a vertex along the surface normal, um; estimated from the mesh if None.
    girdle_finish : finish of the girdle facets, ``"polished"`` or ``"absorbing"`` (a bruted girdle); see `Finish`.
    oriented : True to keep axes and origin of the mesh, which must be those of raylab.
    min_explained_pct : least share of the surface that must lie on planar facets.

    Raises
    ------
    InputError : invalid arrays. StoneError : a mesh that is open, inside out, not one body, not convex or not faceted.
    """
    if noise_um is not None:
        number_in("noise_um", noise_um, 0.0, 1000.0, "um")
    number_in("min_explained_pct", min_explained_pct, 0.0, 100.0, "%")
    substance, surface = get_material(material), get_finish(girdle_finish, "girdle_finish")
    mesh = closed_mesh(vertices_mm, triangles)
    _check_size(mesh)
    _check_hull(mesh)
    found = find_facets(mesh, None if noise_um is None else noise_um * 1e-3)
    explained = explained_pct(mesh, found)
    if explained < min_explained_pct:
        raise StoneError(
            f"only {explained:.1f} % of the surface lies on planar facets of a convex stone{_worst(mesh, found)}",
            expected=f"at least {min_explained_pct:g} %",
        )
    facets = _facets(found)
    normals, distances = found.planes.normals[facets], found.planes.distances[facets]
    pose = stone_pose(normals, distances)
    if oriented:
        pose = Pose(np.eye(3), np.zeros(3), name_tiers(normals, distances), pose.level)
    turned = normals @ pose.rotation.T
    tiers = pose.tiers.names
    stone = Stone.from_planes(
        turned,
        distances + turned @ pose.shift_mm,
        tiers=tiers,
        indices=pose.tiers.indices,
        material=substance,
        finishes=[surface if tier == GIRDLE.name else POLISHED for tier in tiers],
        symmetry=pose.tiers.symmetry,
        cut=None if pose.tiers.cut is None else pose.tiers.cut.name,
        name=name,
        measured=True,
    )
    girdle = found.girdle.kind if found.girdle else "flats" if GIRDLE.name in tiers else "none"
    report = ScanReport(
        vertices=len(mesh.vertices),
        triangles=len(mesh.triangles),
        unit="mm",
        noise_um=found.noise * 1e3 if found.noise_known else math.nan,
        noise_stated=noise_um is not None,
        rounding_um=found.rounding * 1e3,
        explained_pct=explained,
        girdle=girdle,
        rotation=pose.rotation,
        shift_mm=pose.shift_mm,
        facets=facet_fits(mesh, stone, facets, pose, found),
        unexplained=unexplained(mesh, found, pose.rotation, pose.shift_mm),
        extra=tuple(stone.facet_name(f) for f, tier in enumerate(tiers) if tier == EXTRA),
        recognition=pose.tiers.recognition,
    )
    return Scan(stone, report)


def _check_size(mesh: Mesh) -> None:
    low, high = SIZES_MM
    if not low <= mesh.size <= high:
        raise InputError(
            f"the stone is {mesh.size:.4g} mm across (wrong unit?)", key="unit", expected=f"{low:g} to {high:g} mm"
        )


def _check_hull(mesh: Mesh) -> None:
    """Refuse what is plainly not convex before planes are sought."""
    filled = 100.0 * mesh.volume / float(ConvexHull(mesh.vertices).volume)
    if filled < MIN_HULL_PCT:
        problem = f"not convex; the body fills {filled:.1f} % of its convex hull"
        raise StoneError(problem, expected=f"at least {MIN_HULL_PCT:g} %")


def _worst(mesh: Mesh, found: Found) -> str:
    """Where the largest patch off the facets is, in words."""
    patches = unexplained(mesh, found, np.eye(3), np.zeros(3))
    if not patches:
        return ""
    position = ", ".join(f"{x:.3f}" for x in patches[0].position_mm)
    return f": {patches[0].area_mm2:.3g} mm^2 at ({position}) mm are up to {patches[0].depth_um:.0f} um {patches[0].kind} them"


def _facets(found: Found) -> np.ndarray:
    """Numbers (F,) of the planes that are facets of the body.

    A girdle's tangent plane that a crown or pavilion plane cuts off entirely is no facet, and nothing is lost with it.
    """
    planes = found.planes
    area = intersect(planes.normals, planes.distances).areas
    return np.flatnonzero(area > 0.0)
