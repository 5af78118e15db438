"""What a scan was, how well each facet of its stone is known, and where the surface is off its facets."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..measuring.plane_uncertainty import Uncertainty
from ..recognition import Recognition
from ..stone import Stone
from ..tier import GIRDLE
from .candidates import DRAWN
from .envelope import CUTOFF, envelope
from .facets import Found
from .mesh import Mesh
from .stone_pose import Pose

FLAT_MM = 0.005
"""A vertex this close to its facet's plane, mm, is on it however small the noise."""

MOST_PATCHES = 50
"""Most unexplained patches that are listed."""


ROOM, ROOM_UM = 4.0, 20.0
"""A wall of a girdle is uncertain if its distance is known so many times worse than the median wall's, and to no less than
this, um."""


LEAN_DEG = 5.0
"""A wall's lean is open if its own points tell it no better than this (a standard error): what leans by less is upright."""


@dataclass(frozen=True)
class FacetFit:
    """How well one facet is known: area, number of vertices, rms and largest distance of the vertices from the plane, and
    the standard errors of slope, azimuth (NaN for a level facet), tilt about the steepest line, and distance of the facet's
    middle along its normal. A girdle wall's distance is at least as uncertain as the points beside it that are on no facet are
    off it. `lean_error_deg`: how well a wall's own points tell its lean, where walls are "upright flats": all may lean
    together, which `slope_error_deg` is of, none by itself. NaN of other facets."""

    name: str
    area_mm2: float
    vertices: int
    rms_um: float
    max_um: float
    slope_error_deg: float
    azimuth_error_deg: float
    across_error_deg: float
    distance_error_um: float
    lean_error_deg: float


@dataclass(frozen=True)
class Unexplained:
    """A patch of surface off the facets: ``"below"`` (a chip, a natural, a rounded edge) or ``"above"`` (dust, a burr), its
    area, its middle in the stone's frame, and its largest distance from the facet planes."""

    kind: str
    area_mm2: float
    position_mm: tuple[float, float, float]
    depth_um: float


@dataclass(frozen=True)
class ScanReport:
    """The report on the reconstruction of a stone from a scan.

    `vertices`, `triangles`: of the mesh after joining equal vertices. `unit`: unit of length of the file.
    `noise_um`: standard deviation of a vertex, `noise_stated` if the user gave it; NaN, and with it the errors of the facets,
    where the mesh is too coarse to show it. `rounding_um`: half-width of the strip in
    which edges are rounded or blurred; 0 where they are sharp. `explained_pct`: share of the surface within 5 um or 5 noise
    standard deviations of its facet, whichever is more. `girdle`: "flats" (each fitted by itself), "upright
    flats" (walls of the girdle's plan, each fitted by two numbers), "even flats" (an even wheel, fitted as one), "round"
    (tangent planes) or "none". Place in the stone = `rotation` @ place in the scan (mm) +
    `shift_mm`. `facets`: one entry per facet of the stone, in its order. `unexplained`: the largest patches off the facets.
    `extra`: facets beyond the pattern. `recognition`: how surely the shape says the cut; None for a stone of no known cut.
    """

    vertices: int
    triangles: int
    unit: str
    noise_um: float
    noise_stated: bool
    rounding_um: float
    explained_pct: float
    girdle: str
    rotation: np.ndarray
    shift_mm: np.ndarray
    facets: tuple[FacetFit, ...]
    unexplained: tuple[Unexplained, ...]
    extra: tuple[str, ...]
    recognition: Recognition | None

    @property
    def edge_radius_um(self) -> float:
        """Radius, um, at which `rounded` gives edges of 50 degrees (crown to girdle) strips within `rounding_um`; 0 for sharp.

        The strip of a cylinder of radius r reaches r tan(25 degrees) to both sides of where the facets would meet. A scanner's
        blur looks the same, so that the stone's own radius may be smaller.
        """
        return self.rounding_um / math.tan(math.radians(25.0))

    @property
    def uncertain_walls(self) -> tuple[FacetFit, ...]:
        """Walls of the girdle beside which the points leave room for another: their distances are known `ROOM` times worse than
        the median wall's, and to no better than `ROOM_UM`. Where they stand at an end, so is the stone's length."""
        walls = [fit for fit in self.facets if fit.name.startswith(f"{GIRDLE.name} ") and math.isfinite(fit.distance_error_um)]
        if not walls:
            return ()
        least = max(ROOM * float(np.median([fit.distance_error_um for fit in walls])), ROOM_UM)
        return tuple(fit for fit in walls if fit.distance_error_um > least)

    @property
    def open_leans(self) -> tuple[FacetFit, ...]:
        """Walls of the girdle whose lean is open, and which count as upright: their own points tell it no better than to
        `LEAN_DEG`."""
        return tuple(fit for fit in self.facets if fit.lean_error_deg > LEAN_DEG)

    def uncertainty(self, device: Uncertainty) -> Uncertainty:
        """Standard uncertainties of the stone's planes: those of the device, with the scan's own scatter facet by facet.

        Where the noise is not known, those of the device alone, which says so.
        """
        if math.isnan(self.noise_um):
            return replace(device, scatter_left_out=True)
        errors = [(fit.slope_error_deg, fit.across_error_deg, fit.distance_error_um) for fit in self.facets]
        return replace(device.with_scatter(*np.array(errors).T), unsure_walls=len(self.uncertain_walls))

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings and lists, ready for JSON; a number that isn't known is None."""
        plain = asdict(self)
        plain |= {"recognition": None if self.recognition is None else self.recognition.to_dict()}
        plain |= {"open_leans": [fit.name for fit in self.open_leans]}
        plain |= {"rotation": self.rotation.tolist(), "shift_mm": self.shift_mm.tolist()}
        for row in (plain, *plain["facets"]):
            row |= {key: None for key, value in row.items() if isinstance(value, float) and not math.isfinite(value)}
        return plain


def off_facets(found: Found) -> np.ndarray:
    """(V,) bool: vertices that lie on no facet."""
    return np.abs(found.under.height) > _tolerance(found)


def _tolerance(found: Found) -> float:
    return max(CUTOFF * found.noise, FLAT_MM)


def explained_pct(mesh: Mesh, found: Found) -> float:
    """Share of the surface on its facets, percent; of a drawn mesh, of triangles whose middle is on a facet too."""
    off = mesh.vertex_area[off_facets(found)].sum()
    if len(mesh.triangles) < DRAWN:
        height = envelope(mesh.centroid, found.planes).height
        off = max(off, mesh.area[np.abs(height) > _tolerance(found)].sum())
    return 100.0 * (1.0 - float(off / mesh.area.sum()))


def facet_fits(mesh: Mesh, stone: Stone, planes: np.ndarray, pose: Pose, found: Found) -> tuple[FacetFit, ...]:
    """One entry per facet of `stone`; `planes` (F,) are the numbers of their planes in `found`.

    A slope is measured from the table (of a rose cut, from the base), whose own uncertainty is therefore part of it; an azimuth
    from the mains' mean, whose uncertainty is left out.
    """
    fits, table = found.planes, planes[pose.level]
    noise = found.noise if found.noise_known else math.nan
    tilts = noise**2 * fits.covariance[planes]
    tilts[stone.on_girdle, 0, 0] += _beside(found)[planes[stone.on_girdle]]
    axes = np.einsum("ij,fjk->fik", pose.rotation, fits.axes[planes])
    across = np.stack([-stone.normals[:, 1], stone.normals[:, 0], np.zeros(len(stone))], axis=1)
    sine = np.linalg.norm(across, axis=1)
    level = sine < 1e-6
    across = np.where(level[:, None], axes[:, :, 0], across / np.where(level, 1.0, sine)[:, None])
    down = np.cross(across, stone.normals)  # in the facet, along its steepest line
    slope, azimuth = (_quadratic(np.einsum("fik,fi->fk", axes, u), tilts[:, 1:, 1:]) for u in (down, across))
    datum = pose.rotation @ fits.axes[table]
    downhill = np.where(level[:, None], 0.0, np.cross(across, [0.0, 0.0, 1.0]))
    slope += _quadratic(downhill @ datum, np.broadcast_to(noise**2 * fits.covariance[table, 1:, 1:], (len(stone), 2, 2)))
    of_table = planes == table
    slope[of_table] = azimuth[of_table] = 0.0  # by definition: the table is what slopes are measured from
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.where(level, np.nan, np.degrees(np.sqrt(azimuth)) / sine)
    height = np.abs(found.under.height)
    count = np.bincount(found.under.facet, minlength=len(fits))
    square = np.bincount(found.under.facet, height**2 * ~off_facets(found), len(fits))
    largest = np.zeros(len(fits))
    np.maximum.at(largest, found.under.facet, height)
    rms = np.sqrt(square / np.maximum(count, 1))
    lean = _lean_deg(mesh, planes, pose, found, noise)
    return tuple(
        FacetFit(
            stone.facet_name(f),
            float(stone.polyhedron.areas[f]),
            int(count[p]),
            float(rms[p]) * 1e3,
            float(largest[p]) * 1e3,
            math.degrees(math.sqrt(slope[f])),
            float(turn[f]),
            math.degrees(math.sqrt(azimuth[f])),
            math.sqrt(tilts[f, 0, 0]) * 1e3,
            float(lean[f]),
        )
        for f, p in enumerate(planes)
    )


def _lean_deg(mesh: Mesh, planes: np.ndarray, pose: Pose, found: Found, noise: float) -> np.ndarray:
    """(F,) standard error of the lean of each upright wall by the heights of its own points, see `FacetFit`."""
    lean = np.full(len(planes), np.nan)
    if found.girdle is None or found.girdle.kind != "upright flats":
        return lean
    facet, height = found.under.facet, mesh.vertices @ pose.rotation[2]
    on, walls = ~off_facets(found), planes >= len(found.planes) - found.girdle.fixed
    count = np.bincount(facet, on, len(found.planes)).clip(1.0)
    arm = height - (np.bincount(facet, height * on, len(count)) / count)[facet]
    spread = np.sqrt(np.bincount(facet, arm**2 * on, len(count)))
    lean[walls] = np.degrees(np.arctan2(noise, spread[planes[walls]]))
    return lean


def _beside(found: Found) -> np.ndarray:
    """(F,) mm^2: squared heights over each plane of the points near it that are on no facet, over the number of points on it.

    For walls fitted one by one: beside them another may be lacking, and the outline there is off by about that.
    """
    squares = np.zeros(len(found.planes))
    if found.girdle is not None and found.girdle.kind not in ("flats", "upright flats"):
        return squares
    off = off_facets(found)
    for near, height in zip(found.under.order[off].T, found.under.heights[off].T, strict=True):
        squares += np.bincount(near[near >= 0], height[near >= 0] ** 2, len(squares))
    on = np.bincount(found.under.facet[~off], minlength=len(squares))
    return squares / np.maximum(on, 1)


def _quadratic(vector: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """(F,) v . M v of vectors (F, 2) and matrices (F, 2, 2)."""
    return np.einsum("fi,fij,fj->f", vector, matrix, vector)


def unexplained(mesh: Mesh, found: Found, rotation: np.ndarray, shift_mm: np.ndarray) -> tuple[Unexplained, ...]:
    """Patches of connected vertices off the facets, largest first; their places turned (3, 3) and shifted (3,)."""
    off = off_facets(found)
    above = found.under.height > 0.0
    a, b = mesh.edges.T
    join = off[a] & off[b] & (above[a] == above[b])
    links = coo_matrix((np.ones(join.sum(), dtype=np.int8), (a[join], b[join])), shape=(len(off), len(off)))
    _, patch = connected_components(links, directed=False)
    area = np.bincount(patch, mesh.vertex_area * off)
    patches = []
    for p in np.argsort(-area)[:MOST_PATCHES]:
        if area[p] == 0.0:
            break
        members = np.flatnonzero(patch == p)
        middle = rotation @ np.average(mesh.vertices[members], axis=0, weights=mesh.vertex_area[members]) + shift_mm
        position = (float(middle[0]), float(middle[1]), float(middle[2]))
        depth = float(np.abs(found.under.height[members]).max()) * 1e3
        patches.append(Unexplained("above" if above[members[0]] else "below", float(area[p]), position, depth))
    return tuple(patches)
