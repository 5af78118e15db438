"""From a layout to a stone, and what is told of a recipe that makes none: the tier, the facet and its azimuth."""

from __future__ import annotations

import numpy as np

from ...errors import StoneError
from ...optics.materials import Material
from ..finish import get_finish
from ..planes import DOWN, UP
from ..polyhedron import interior_point
from ..stone import Stone
from ..tier import GIRDLE
from .laid import Laid
from .laying import Layout

MET = 5e-4
"""A point is met where no other facet cuts it away by more than this share of the stone's width."""

_THICKER = "a thicker girdle, or facets that cut less deep"


def closed(layout: Layout, *, material: str | Material, cut: str, name: str) -> Stone:
    """The stone that a layout makes: the girdle, then the tiers as they were begun.

    Raises StoneError for a recipe that is open, a tier that leaves nothing, a facet that cuts nothing or is cut away again, a
    girdle with a gap, and a point or mate that isn't met.
    """
    body, girdle = layout.body, layout.girdle
    for side, word, of_stone in ((UP, "above", "crown"), (DOWN, "below", "pavilion")):
        if not any(facet.normal[2] * side > 1e-9 for facet in body.facets):
            raise StoneError(f"open {word}", key="tier", expected=f"a tier with side = '{of_stone}' that slopes or is level")
    flats, far = girdle.flats
    ordered = [facet for members in body.tiers().values() for facet in members]
    numbers = [k for members in body.tiers().values() for k in range(len(members))]
    try:
        stone = Stone.from_planes(
            np.concatenate([flats, [facet.normal for facet in ordered]]),
            np.concatenate([far, [facet.distance for facet in ordered]]),
            tiers=[GIRDLE.name] * len(flats) + [facet.tier for facet in ordered],
            indices=[*range(len(flats)), *numbers],
            material=material,
            finishes=[girdle.finish] * len(flats) + [get_finish(facet.finish) for facet in ordered],
            symmetry=layout.symmetry,
            cut=cut,
            name=name,
            redundant="drop",
        )
    except StoneError as error:
        raise _nothing_left(layout) or error from error
    if stone.dropped:
        raise _loose(layout, stone.dropped[0])
    gap = girdle_gap(stone)
    if gap is not None:
        above, below, azimuth = gap
        words = f"the girdle isn't closed: {above} and {below} meet at azimuth {azimuth:.6g}"
        raise StoneError(words, key="girdle.thickness_mm", value=2.0 * girdle.rim_mm, expected=_THICKER)
    _check_met(layout)
    _check_mates(layout, stone, ordered)
    return stone


def girdle_gap(stone: Stone) -> tuple[str, str, float] | None:
    """The facets of crown and pavilion that meet where no girdle is left, and the azimuth; None where it goes all around."""
    upward: dict[frozenset[int], int] = {}
    for side in (1.0, -1.0):
        for facet, loop in enumerate(stone.polyhedron.loops):
            if stone.on_girdle[facet] or stone.normals[facet, 2] * side <= 0.0:
                continue
            for edge in map(frozenset, zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True)):
                if side > 0.0:
                    upward[edge] = facet
                elif edge in upward:
                    x, y, _ = stone.vertices_mm[list(edge)].mean(axis=0)
                    azimuth = float(np.degrees(np.arctan2(y, x)) % 360.0)
                    return stone.facet_name(upward[edge]), stone.facet_name(facet), azimuth
    return None


def _planes(layout: Layout, upto: int) -> tuple[np.ndarray, np.ndarray]:
    """The planes of the girdle, of a box far above and below, and of the entries before a number."""
    flats, far = layout.girdle.flats
    facets = [facet for facet in layout.body.facets if facet.entry < upto]
    normals = [*flats, [0.0, 0.0, 1.0], [0.0, 0.0, -1.0], *(facet.normal for facet in facets)]
    high = 100.0 * float(far.max())
    return np.array(normals), np.array([*far, high, high, *(facet.distance for facet in facets)])


def _nothing_left(layout: Layout) -> StoneError | None:
    """The error that names the tier after which nothing is left of the stone; None where something is."""
    for entry in range(1, layout.entries + 1):
        try:
            interior_point(*_planes(layout, entry))
        except StoneError:
            last = next(facet for facet in layout.body.facets if facet.entry == entry - 1)
            words = f"the {last.tier} contradicts the tiers before it: it leaves nothing of the stone"
            return StoneError(words, key=f"tier#{entry}", expected="a tier farther out, or less of the tiers before it")
    return None


def _loose(layout: Layout, name: str) -> StoneError:
    """The error for a plane without a facet."""
    tier, _, number = name.rpartition(" ")
    if tier == GIRDLE.name:
        normal = layout.girdle.flats[0][int(number)]
        azimuth = float(np.degrees(np.arctan2(normal[1], normal[0])) % 360.0)
        return StoneError(
            f"nothing is left of the girdle at azimuth {azimuth:.6g}: crown and pavilion meet there", key="girdle.thickness_mm",
            value=2.0 * layout.girdle.rim_mm, expected=_THICKER,
        )  # fmt: skip
    facet = layout.body.tiers()[tier][int(number)]
    normals, distances = _planes(layout, facet.entry)
    reach = _reach(normals, distances, facet.normal)
    where = layout.body.name(facet)
    if abs(facet.normal[2]) < 1.0:
        where += f" at azimuth {facet.azimuth_deg:.6g}"
    key = f"tier#{facet.entry + 1}"
    if reach <= facet.distance + 1e-9 * layout.girdle.outline.width:
        gap = facet.distance - reach
        touches = gap <= 1e-9 * layout.girdle.outline.width
        words = f"{where} cuts nothing: the stone {'only touches it' if touches else f'ends {gap:.4g} mm before it'}"
        return StoneError(words, key=key, expected="a facet that cuts deeper, or none")
    final = _reach(*_planes(layout, layout.entries), facet.normal)
    words = f"{where} is cut away again by the tiers after it: they end {facet.distance - final:.4g} mm before it"
    return StoneError(words, key=key, expected="a facet that cuts deeper, or later tiers that cut less")


def _reach(normals: np.ndarray, distances: np.ndarray, towards: np.ndarray) -> float:
    """How far a body reaches along a direction (3,), mm."""
    from scipy.optimize import linprog  # a tenth of a second to import: only when used

    found = linprog(-towards, A_ub=normals, b_ub=distances, bounds=[(None, None)] * 3, method="highs")
    return float(-found.fun)


def _check_met(layout: Layout) -> None:
    """Raise StoneError for a facet one of whose points another facet has cut away.

    The girdle's flats are left aside: they are chords of the outline.
    """
    facets = layout.body.facets
    normals, distances = np.array([one.normal for one in facets]), np.array([one.distance for one in facets])
    for facet in facets:
        if not len(facet.points):
            continue
        beyond = facet.points @ normals.T - distances
        point, cutter = np.unravel_index(int(beyond.argmax()), beyond.shape)
        if beyond[point, cutter] > MET * layout.girdle.outline.width:
            words = (
                f"{layout.body.name(facet)} at azimuth {facet.azimuth_deg:.6g} doesn't meet what it is laid to:"
                f" {layout.body.name(facets[cutter])} cuts away its point {point + 1} by {beyond[point, cutter]:.4g} mm"
            )
            raise StoneError(words, key=f"tier#{facet.entry + 1}", expected="tiers that leave the point")


def _check_mates(layout: Layout, stone: Stone, ordered: list[Laid]) -> None:
    """Raise StoneError for a facet that has no corner in common with its mate."""
    first = len(stone) - len(ordered)
    corners = {id(facet): set(stone.polyhedron.loops[first + k].tolist()) for k, facet in enumerate(ordered)}
    for facet in ordered:
        if facet.mate is not None and not corners[id(facet)] & corners[id(facet.mate)]:
            name, mate = layout.body.name(facet), layout.body.name(facet.mate)
            words = f"{name} at azimuth {facet.azimuth_deg:.6g} doesn't meet {mate}: other facets lie between them"
            raise StoneError(words, key=f"tier#{facet.entry + 1}", expected="another height_mm, or tiers that leave both")
