"""Where an inclusion lies that is plotted through a facet, as with a microscope.

The microscope looks straight down on the facet, along its normal, so that the inclusion lies straight below the point of the
facet through which it is seen. Focused first on the facet and then on the inclusion, the instrument moves by the apparent
depth. The light that it focuses leaves close to the normal, for which the real depth is the refractive index times the apparent
one (Snell's law in the first order of the angle).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...errors import InputError, nearest
from ...units import SODIUM_D_NM, number_in
from ..stone import Stone
from .shapes import LONGEST_MM, Point, point


def facet_axes(normal: np.ndarray) -> np.ndarray:
    """(2, 3) the unit vectors to the right and up in the plane of a facet that is looked at from outside, with its normal (3,).

    Up is the steepest way up; on a level facet it is +y as seen from above.
    """
    lifted = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    if np.linalg.norm(lifted) < 1e-9:
        lifted = np.array([0.0, 1.0, 0.0])
    up = lifted / np.linalg.norm(lifted)
    return np.array([np.cross(up, normal), up])


def point_below(
    stone: Stone,
    facet: str,
    at_mm: Sequence[float] = (0.0, 0.0),
    *,
    depth_mm: float | None = None,
    apparent_depth_mm: float | None = None,
    wavelength_nm: float = SODIUM_D_NM,
) -> Point:
    """The point in the stone that is seen straight down through a point of a facet, at a depth.

    Parameters
    ----------
    facet : its name (``"star 3"``), or its tier where that has a single facet (``"table"``).
    at_mm : (2,) mm to the right and up from the middle (centroid) of the facet, as seen from outside; see `facet_axes`.
    depth_mm : real depth below the facet, mm. apparent_depth_mm : the depth as it looks, which the index multiplies. Give one.
    wavelength_nm : of the index for an apparent depth, nm.

    Returns
    -------
    (3,) mm, in the stone's frame.

    Raises
    ------
    InputError : an unknown facet, a point beside the facet, no depth or two, a depth at which the stone has ended.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> stone = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> x, y, z = point_below(stone, "table", (0.4, 0.1), apparent_depth_mm=0.25)
    >>> round(x, 6), round(y, 6), round(float(stone.vertices_mm[:, 2].max()) - z, 4)
    (0.4, 0.1, 0.6043)
    """
    f = _facet(stone, facet)
    pair = list(at_mm)
    if len(pair) != 2:
        raise InputError("not a point of a facet", key="at_mm", value=at_mm, expected="two numbers, mm to the right and up")
    right, up, _ = point("at_mm", [*pair, 0.0])
    top = stone.polyhedron.centroids[f] + np.array([right, up]) @ facet_axes(stone.normals[f])
    beyond = float((stone.normals @ top - stone.distances_mm).max())
    if beyond > 1e-9:
        raise InputError(f"beside {facet} by about {beyond:.3g} mm", key="at_mm", value=pair, expected="a point of the facet")
    if (depth_mm is None) == (apparent_depth_mm is None):
        raise InputError("give one of depth_mm and apparent_depth_mm", key="depth_mm", value=depth_mm, expected="one depth")
    given = ("depth_mm", depth_mm, 1.0)
    if depth_mm is None:
        given = ("apparent_depth_mm", apparent_depth_mm, float(stone.material.n(wavelength_nm)))
    key, value, index = given
    depth = index * number_in(key, value, 0.0, LONGEST_MM, "mm", open_ends=True)  # type: ignore[arg-type]  # one is given
    away = stone.normals @ -stone.normals[f]
    ahead = away > 0.0
    through = float(((stone.distances_mm - stone.normals @ top)[ahead] / away[ahead]).min())
    if depth >= through:
        raise InputError("below the other side", key=key, value=value, expected=f"less than {through / index:.4g} mm there")
    x, y, z = (top - depth * stone.normals[f]).tolist()
    return x, y, z


def plotted_at(stone: Stone, facet: int, point_mm: np.ndarray) -> tuple[float, float]:
    """(right, up) mm, of a point (3,) in the plane of a facet, by its number: the `at_mm` of `point_below`.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> stone = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> top = stone.vertices_mm[:, 2].max()
    >>> [round(x, 9) for x in plotted_at(stone, stone.tiers.index("table"), np.array([0.4, 0.1, top]))]
    [0.4, 0.1]
    """
    right, up = (facet_axes(stone.normals[facet]) @ (point_mm - stone.polyhedron.centroids[facet])).tolist()
    return right, up


def _facet(stone: Stone, name: str) -> int:
    """The number of a facet by its name, or by its tier."""
    found = [f for f in range(len(stone)) if name in (stone.facet_name(f), stone.tiers[f])]
    if len(found) == 1:
        return found[0]
    if found:
        expected = f"one of {stone.facet_name(found[0])} to {stone.facet_name(found[-1])}"
        raise InputError("a tier of several facets", key="facet", value=name, expected=expected)
    known = nearest(str(name), {stone.facet_name(f) for f in range(len(stone))} if len(stone) < 30 else set(stone.tiers))
    raise InputError("unknown facet", key="facet", value=name, expected=known)
