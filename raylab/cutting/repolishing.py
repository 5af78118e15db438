"""`repolish`: one facet or one tier of a finished stone repolished by an angle or a depth.

A facet is polished away as a whole: its new plane takes every corner of the old facet with it. Turned by an angle it therefore
hangs on the old facet's deepest corner, and nothing more is lost than must be; a depth goes in from there. Facets of a tier
are all moved from where they are now. The tool can't put material back, so a move that would is refused.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from ..errors import InputError, StoneError, nearest
from ..lighting.dome_file import DomeLike
from ..scene.pixel_grid import grid_around
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.offsets import Offset, moved_plane
from ..stone.stone import Stone
from ..tracing import Result, maps_on, trace_scene
from ..units import number_in
from .last_facets import refuse_lost
from .viewing import Change, differences, lost_points, seen


@dataclass(frozen=True)
class Repolished:
    """A stone before and after, on one grid of pixels.

    Attributes
    ----------
    before, after : traced. change : weight lost and what changes in light, with brackets.
    difference : maps after less maps before, on the pixels of `before`; NaN outside either outline.
    """

    what: str
    before: Result
    after: Result
    change: Change
    difference: Any

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings and lists, ready for JSON."""
        return {
            "what": self.what,
            "weight_before_ct": self.before.scene.stone.weight_ct,
            **self.change.to_dict(),
            "before": self.before.summary.to_dict(),
            "after": self.after.summary.to_dict(),
        }


def repolish(
    stone: Stone, what: str, *, slope_deg: float = 0.0, azimuth_deg: float = 0.0, depth_mm: float = 0.0, name: str | None = None
) -> Stone:
    """A stone with one facet or tier repolished.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> ideal = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> lower = repolish(ideal, "table", depth_mm=0.01)
    >>> round(100 * (ideal.weight_ct - lower.weight_ct), 2)  # 0.01 mm of an octagon of 3.7 mm
    0.17

    Parameters
    ----------
    what : a facet (``"pavilion main 3"``) or a tier (``"pavilion main"``).
    slope_deg : change of slope, positive for steeper. azimuth_deg : change of azimuth, counter-clockwise seen from above.
    depth_mm : depth in addition to the minimum that the new angle needs.
    name : name of the stone; by default unchanged.

    Raises
    ------
    InputError : an unknown facet or tier, no change, a number out of range.
    StoneError : nothing is left of the stone, facets vanish, a girdle has no thickness; the message names them and the change.
    """
    chosen = [f for f in range(len(stone)) if what in (stone.tiers[f], stone.facet_name(f))]
    if not chosen:
        known = nearest(what, set(stone.tiers))
        raise InputError("unknown tier or facet", key="facet", value=what, expected=known)
    number_in("slope_deg", slope_deg, -45.0, 45.0, "degrees")
    number_in("azimuth_deg", azimuth_deg, -45.0, 45.0, "degrees")
    number_in("depth_mm", depth_mm, 0.0, 100.0, "mm")
    moves = {"depth_mm": depth_mm, "slope_deg": slope_deg, "azimuth_deg": azimuth_deg}  # first what takes most off
    if not any(moves.values()):
        raise InputError("no change", key="slope_deg", expected="a nonzero slope, azimuth or depth")
    normals, distances = stone.normals.copy(), stone.distances_mm.copy()
    for f in chosen:
        corners = stone.vertices_mm[stone.polyhedron.loops[f]]
        turn = Offset(slope_deg=slope_deg, azimuth_deg=azimuth_deg)
        normals[f], _ = moved_plane(stone.normals[f], float(stone.distances_mm[f]), stone.polyhedron.centroids[f], turn)
        touching = float((corners @ normals[f]).min()) if slope_deg or azimuth_deg else float(stone.distances_mm[f])
        distances[f] = touching - depth_mm
    if (normals == stone.normals).all() and not depth_mm:
        raise InputError("a level facet has no azimuth", key="azimuth_deg", value=azimuth_deg, expected="a slope or a depth")
    try:
        made = stone.with_planes(normals, distances, name=name, redundant="drop")
        refuse_lost(made.dropped, f"after repolishing {what}")
    except StoneError as error:
        key, value = next((key, value) for key, value in moves.items() if value)
        raise StoneError(error.problem, key=key, value=value, expected="a smaller change") from error
    return replace(made, dropped=stone.dropped)


def what_if(
    before: Stone,
    after: Stone,
    dome: DomeLike,
    *,
    what: str = "",
    view: View | None = None,
    resolution: int = 256,
    settings: TraceSettings | None = None,
) -> Repolished:
    """The effect of a change of a stone on statistics and weight, with difference maps.

    Parameters
    ----------
    before, after : the stones, such as argument and result of `repolish`. what : description of the change.
    view : parallel; face-up by default. resolution, settings : see `brillianteer`.
    """
    scene = seen(before, dome, view, settings, resolution)
    results = [trace_scene(replace(scene, stone=stone), by_facet=False) for stone in (before, after)]
    grid = grid_around(before, scene.view, resolution)
    maps = [maps_on(one, grid).dataset() for one in results]
    old, new = (one.summary.statistics for one in results)
    shared = {name: one for name, one in old.items() if name in new}
    found = Change(lost_points(before, after), after.weight_ct, differences(shared, new))
    both = (maps[0].coverage > 0.0) & (maps[1].coverage > 0.0)
    difference = (maps[1] - maps[0]).where(both)
    return Repolished(what, results[0], results[1], found, difference)
