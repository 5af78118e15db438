"""Fire: the spread of white light into colours, as an angle, and the colourfulness of the picture, as chroma.

**Angular spread.** White light that reaches the eye along one path through the stone came from slightly different directions
at different wavelengths. For each virtual facet the path along which most leaves (`paths.strongest_paths`, at sodium D) is
replayed with the index at the Fraunhofer lines F (486.1 nm) and C (656.3 nm): Snell's law at the entry, mirrors, Snell's law
at the exit. The spread is the angle between the two directions outside, in degrees. Light that the first surface reflects has
none. There is no spread where light is scattered, where most is still untraced, and where one of the lines is totally
reflected at the exit; the share of such areas is stated.

The spread is the potential fire; the visible fire depends on the lamps. **Chroma** measures the fire in a colour picture:

* ``chroma_lab``: area mean of C*_ab = sqrt(a*^2 + b*^2), CIELAB (CIE 015:2018), against the picture's white at its exposure.
* ``chroma_uv``: distance of u' = 4X/(X + 15Y + 3Z), v' = 9Y/(X + 15Y + 3Z) (CIE 1976 UCS, CIE 015:2018) from the white's,
  averaged with luminance as weight; independent of exposure.

Both are taken pixel by pixel before any gamut is applied: a pixel that holds several colours counts as their mixture, so the
number depends on the size of the pixels, which is stated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..optics.color import xyz_to_lab
from ..optics.materials import FRAUNHOFER_NM
from ..results.paths import Paths, strongest_paths
from ..scene.pixel_grid import PixelGrid, grid_around
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.exact.pixel_coverage import rasterize
from ..tracers.exact.tracer import trace_beams
from ..tracers.ledger import SCATTERED, SKY, UNTRACED
from ..tracing import Result
from .picture import Picture

SHORT_NM, LONG_NM = FRAUNHOFER_NM["F"], FRAUNHOFER_NM["C"]


@dataclass(frozen=True, eq=False)
class Fire:
    """Angular spread between two lines of the strongest exits of a view.

    Attributes
    ----------
    spread_deg : (ny, nx) mean over the part of each pixel that has a spread, y rising; nan where there is none.
    mean_deg : area mean over all of the outline that has a spread; exact, whatever the pixels.
    sky_mean_deg : the same over what leaves to the sky, from where lamps shine; nan if nothing does.
    without_share : share of the outline without a spread.
    paths, path_spread_deg : the strongest paths, largest area first, and the spread of each (P,).
    grid : the pixels. lines_nm : the two wavelengths, the shorter first.
    """

    spread_deg: np.ndarray
    mean_deg: float
    sky_mean_deg: float
    without_share: float
    paths: Paths
    path_spread_deg: np.ndarray
    grid: PixelGrid
    lines_nm: tuple[float, float]


def fire_map(subject: Scene | Result, short_nm: float = SHORT_NM, long_nm: float = LONG_NM) -> Fire:
    """The angular spread of the strongest exits of a parallel view.

    Parameters
    ----------
    subject : a `Scene` or a `Result`.
    short_nm, long_nm : the two wavelengths; the F and C lines by default.

    Raises UnsupportedScene for a perspective view, InputError for wavelengths outside the data of the material.
    """
    scene = subject.scene if isinstance(subject, Result) else subject
    scene = scene.with_settings(wavelengths_nm=FRAUNHOFER_NM["D"])
    whole, grid = trace_beams(scene, FRAUNHOFER_NM["D"]).unfolded(), grid_around(scene.stone, scene.view, scene.resolution)
    paths = strongest_paths(whole)
    spread = path_spread_deg(paths.facets, scene.stone, scene.view, short_nm, long_nm)
    spread[(paths.entry == UNTRACED) | (paths.entry == SCATTERED)] = np.nan
    known = np.isfinite(spread)
    each = spread[paths.which]
    drawn = rasterize(
        whole.vertices_mm, whole.starts, np.column_stack([np.nan_to_num(each), np.isfinite(each).astype(float)]), grid
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        pixels = np.where(drawn.sums[..., 1] > 0.0, drawn.sums[..., 0] / drawn.sums[..., 1], np.nan)
    return Fire(
        pixels,
        _mean(spread, paths.areas_mm2, known),
        _mean(spread, paths.areas_mm2, known & (paths.entry == SKY)),
        float(paths.areas_mm2[~known].sum() / paths.areas_mm2.sum()),
        paths,
        spread,
        grid,
        (min(short_nm, long_nm), max(short_nm, long_nm)),
    )


def _mean(values: np.ndarray, weights: np.ndarray, where: np.ndarray) -> float:
    total = weights[where].sum()
    return float(values[where] @ weights[where] / total) if total > 0.0 else float("nan")


def path_spread_deg(facets: np.ndarray, stone: Stone, view: View, short_nm: float, long_nm: float) -> np.ndarray:
    """(P,) angle between the exits of paths at two wavelengths, degrees; nan where one of them is totally reflected.

    Parameters
    ----------
    facets : (P, D) facet numbers that each path meets, the entry first, the exit last, padded with -1.
    view : a parallel view, which says along which direction all paths enter.
    """
    directions = [
        exit_directions(facets, stone, view, stone.material.n(wavelength_nm)) for wavelength_nm in (short_nm, long_nm)
    ]
    # 2 asin(chord / 2): exact for small angles, where the cosine says nothing.
    chord = np.linalg.norm(directions[0] - directions[1], axis=1)
    return np.degrees(2.0 * np.arcsin(np.minimum(1.0, chord / 2.0)))


def exit_directions(facets: np.ndarray, stone: Stone, view: View, n: float) -> np.ndarray:
    """(P, 3) unit directions outside, stone's frame, in which light leaves at the end of paths (P, D); nan: it does not.

    A path of one facet is the reflection off the first surface.
    """
    paths = np.atleast_2d(np.asarray(facets))
    direction = np.broadcast_to(-view.rotation()[2], (len(paths), 3))
    normal = stone.normals[paths[:, 0]]
    cos = -np.einsum("pk,pk->p", direction, normal)
    out = np.full((len(paths), 3), np.nan)
    alone = paths[:, 1] < 0 if paths.shape[1] > 1 else np.ones(len(paths), bool)
    out[alone] = (direction + 2.0 * cos[:, None] * normal)[alone]
    direction = direction / n + ((cos / n) - np.sqrt(1.0 - (1.0 - cos**2) / n**2))[:, None] * normal
    for k in range(1, paths.shape[1]):
        here = paths[:, k] >= 0
        last = here & (paths[:, k + 1] < 0 if k + 1 < paths.shape[1] else True)
        normal = np.where(here[:, None], stone.normals[paths[:, k]], 0.0)
        cos = np.einsum("pk,pk->p", direction, normal)
        cos_t2 = 1.0 - n**2 * (1.0 - cos**2)
        leaves = last & (cos_t2 > 0.0)
        refracted = n * direction + (np.sqrt(np.maximum(cos_t2, 0.0)) - n * cos)[:, None] * normal
        out[leaves] = refracted[leaves]
        direction = direction - 2.0 * cos[:, None] * normal
    return out


@dataclass(frozen=True)
class Chroma:
    """How colourful a picture is; definitions in the module.

    Attributes: `chroma_lab`, `chroma_uv`, and `pixel_mm`, the pixel over which colours were mixed.
    """

    chroma_lab: float
    chroma_uv: float
    pixel_mm: float


def chroma(seen: Picture) -> Chroma:
    """The chroma of a colour picture, over the stone, weighted by the covered share of each pixel."""
    covered = seen.coverage > 0.0
    share, xyz = seen.coverage[covered], seen.xyz[covered]
    lab = xyz_to_lab(seen.exposure * xyz, seen.white)
    light = share * xyz[:, 1]
    off = np.hypot(*(_uv(xyz[light > 0.0]) - _uv(seen.white)).T)
    total = light.sum()
    return Chroma(
        float(share @ np.hypot(lab[:, 1], lab[:, 2]) / share.sum()),
        float(light[light > 0.0] @ off / total) if total > 0.0 else float("nan"),
        seen.grid.pixel_mm,
    )


def _uv(xyz: np.ndarray) -> np.ndarray:
    """u', v' of XYZ (..., 3)."""
    x, y, z = np.moveaxis(xyz, -1, 0)
    return np.stack([4.0 * x, 9.0 * y], axis=-1) / (x + 15.0 * y + 3.0 * z)[..., None]
