"""Round brilliants built on the graphics processor from arrays of their proportions, and traced there.

Stones are built and traced with a girdle of diameter 1, so that all with as many girdle facets share the outline and the `Rim`;
their body colour is made as much deeper as their diameter says.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numba import cuda

from ...optics.media import medium_of
from ...scene.scene import Scene
from ...stone.cuts.round_rings import ARGUMENTS, RADIUS, round_rings
from ...stone.facet_area import MOST_CORNERS, facet_area
from ...stone.finish import ABSORBS, POLISHED, REFRACTS
from ...stone.known_cuts import get_cut
from ...units import carat
from ..engine import Built, Lot
from ..outline_rays import fan_of
from ..randomizations import CHANCE, RANDOMIZATIONS, USUAL_POINTS, Tried, Usual, could_meet, larger_lattices, totals_from
from ..rim import rim_of
from ..totals import MOMENTS, Totals
from ..wedges import WEDGES, Wedges, numbers_around
from .batches import launched, on_card, rules_of, together
from .blocks import MOST_PLANES, MOST_WORDS, THREADS, Real, Scenes, holding, kernel, numbered, with_blocks
from .room import device_number

MAINS = 8
RINGS = (MAINS, MAINS, 2 * MAINS, 2 * MAINS, MAINS)
"""Facets of the stars, crown mains, upper halves, lower halves and pavilion mains: after the table, before a culet."""
SLOPING = 1 + sum(RINGS)
AROUND = math.cos(3.0 * math.pi / 8.0)
"""Of an angle from the middle of an eighth, beyond which nothing bounds its facets: the next but one of each ring."""
LOST = 1e-7
"""A facet of less area, with a girdle of diameter 1, may be none: such a stone is left to its cut."""
AT_A_TIME = 1 << 15
"""Designs traced in one launch."""
TABLE, CROWNS, PAVILIONS, WIDE_MM = 58.0, (30.0, 33.0, 36.0, 39.0), (39.5, 40.5, 41.5, 42.5), 6.5
"""Of the stones that tell how large errors usually are: per cent, degrees, and their diameter."""
USUAL_KEYS = (*ARGUMENTS, "girdle_facets", "diameter_mm")
SMALL = 610
"""Points of the lattice that tells it."""
MOST_KNOWN = 256
"""Lights whose usual errors are remembered."""
BEYOND, HIGH = 1.0, 10.0
"""With a girdle of diameter 1: no part of a stone is so far from the map plane; and a height of no stone: the girdle is
upright, so the lists of its facets hold at any."""


@kernel({np.float64: None})
def build(numbers, girdle, rows, planes, found):
    """Build a stone a block, with a girdle of diameter 1.

    Parameters
    ----------
    numbers : (D, len(ARGUMENTS)). girdle : its facets. rows : of a stone; one more than SLOPING + girdle where it has a culet.
    planes : (D * rows, 4) filled, side facets last.
    found : (D, 3) filled: the fault, see `round_rings`, or -1 where a facet may be lost; volume; height.
    """
    design, thread = cuda.blockIdx.x, cuda.threadIdx.x
    fault, _, table, depth, star, crown, upper, lower, pavilion, upper_azimuth, lower_azimuth = round_rings(
        numbers[design, 0], numbers[design, 1], numbers[design, 2], numbers[design, 3], numbers[design, 4],
        numbers[design, 5], numbers[design, 6], numbers[design, 7], numbers[design, 8],
    )  # fmt: skip
    built = cuda.shared.array((MOST_PLANES, 4), np.float64)
    near = cuda.shared.array((MOST_PLANES, 4), np.float64)
    place = cuda.shared.array(MOST_PLANES, np.int16)
    waits = cuda.shared.array(MOST_WORDS, np.uint32)
    parts = cuda.shared.array(THREADS, np.float64)
    sloping = rows - girdle
    for row in range(thread, rows, THREADS):
        azimuth, tangent, distance, side = 0.0, 0.0, 0.0, 1.0
        if row == 0:
            distance = table
        elif row < 9:
            (tangent, distance), azimuth = star, (2 * row - 1) * math.pi / 8.0
        elif row < 17:
            (tangent, distance), azimuth = crown, (row - 9) * math.pi / 4.0
        elif row < 33:
            turned = upper_azimuth if (row - 17) % 2 == 0 else math.pi / 8.0 - upper_azimuth
            (tangent, distance), azimuth = upper, (row - 17) * math.pi / 8.0 + turned
        elif row < 49:
            turned = lower_azimuth if (row - 33) % 2 == 0 else math.pi / 8.0 - lower_azimuth
            (tangent, distance), azimuth, side = lower, (row - 33) * math.pi / 8.0 + turned, -1.0
        elif row < 57:
            (tangent, distance), azimuth, side = pavilion, (row - 49) * math.pi / 4.0, -1.0
        elif row < sloping:
            distance, side = depth, -1.0
        else:
            azimuth, side = (2 * (row - sloping) + 1) * math.pi / girdle, 0.0
            tangent, distance = 1.0, RADIUS * math.cos(math.pi / girdle)
        long = math.sqrt(tangent * tangent + side * side)
        built[row, 0], built[row, 1] = tangent * math.cos(azimuth) / long, tangent * math.sin(azimuth) / long
        built[row, 2], built[row, 3] = side / long, distance / long
        for axis in range(4):
            planes[design * rows + row, axis] = built[row, axis]
    cuda.syncthreads()
    kept_rows = 0
    for first in range(0, rows, THREADS):  # by symmetry no facet of the first eighth is bounded by one further off
        row, keeps = first + thread, False
        if row < rows:
            x, y = built[row, 0], built[row, 1]
            keeps = x * math.cos(math.pi / 16.0) + y * math.sin(math.pi / 16.0) >= AROUND * math.sqrt(x * x + y * y)
        total, lower = numbered(keeps, waits, (THREADS + 31) // 32)
        if keeps:
            place[row] = kept_rows + lower
            for axis in range(4):
                near[kept_rows + lower, axis] = built[row, axis]
        kept_rows += total
        cuda.syncthreads()  # all have read what the next round overwrites
    if thread == 0:
        for side in range(2):  # planes of mirror symmetry that the axis lies in, about the eighth
            azimuth = side * 5.0 * math.pi / 4.0 - math.pi / 2.0
            near[kept_rows + side, 0], near[kept_rows + side, 1] = math.cos(azimuth), math.sin(azimuth)
            near[kept_rows + side, 2] = near[kept_rows + side, 3] = 0.0
    cuda.syncthreads()
    one, other = cuda.local.array((MOST_CORNERS, 2), np.float64), cuda.local.array((MOST_CORNERS, 2), np.float64)
    volume = 0.0
    kinds = 6 + (sloping - 57) + girdle // 16  # facets that stand for all others by symmetry
    for kind in range(thread, kinds if fault == 0 else 0, THREADS):
        row, like, count = 1 + 8 * (kind - 1), 8, kept_rows  # star, crown main, first upper half
        if kind == 3:
            like = 16
        elif kind == 4:
            row, like = 33, 16
        elif kind == 5:
            row = 49
        elif kind == 0 or (kind == 6 and sloping > 57):  # an eighth of the table or of a culet
            row, count = 0 if kind == 0 else 57, count + 2
        elif kind > 5:
            row, like = sloping + kind - 6 - (sloping - 57), 16
        area = facet_area(near, count, place[row], 4.0 + 4.0 * depth, one, other)
        if area < LOST:
            volume = math.nan
        volume += like * area * built[row, 3] / 3.0
    parts[thread] = volume
    cuda.syncthreads()
    if thread == 0:
        total = 0.0
        for k in range(THREADS):
            total += parts[k]
        found[design, 0] = -1.0 if fault == 0 and not total > 0.0 else float(fault)
        found[design, 1], found[design, 2] = total, table + depth


def built_rounds(lot: Lot, real: Real) -> Built:
    """The designs of a lot of round brilliants. See `BuildingEngine.built`."""
    count = len(next(iter(lot.values.values())))
    out = _unbuilt(count)
    finish = lot.stated.get("girdle_finish", POLISHED)
    if finish.code not in (REFRACTS, ABSORBS) or lot.view.tilt_deg or not lot.view.parallel:
        return out  # the outline is not the girdle, or light scatters
    kinds = np.stack([lot.values["girdle_facets"], lot.values["culet_pct"] > 0.0], axis=-1)
    for kind in np.unique(kinds, axis=0):
        alike = np.flatnonzero((kinds == kind).all(axis=1))
        for start in range(0, len(alike), AT_A_TIME):
            _fill(out, alike[start : start + AT_A_TIME], lot, int(kind[0]), bool(kind[1]), real)
    return out


def _unbuilt(count: int) -> Built:
    means = np.full((count, RANDOMIZATIONS, MOMENTS), np.nan)
    return Built(
        np.full(count, -1),
        np.full((count, 5), np.nan),
        np.full(count, np.nan),
        means,
        np.zeros(count, np.int64),
        np.ones(count),
    )


class _Stones(NamedTuple):
    """Some of the designs of a lot, built in the card's memory, all with as many facets.

    Attributes
    ----------
    found : (D, 3) see `build`. diameter, area_mm2 : (D,) mm; of the outline, mm^2.
    planes : facets of a stone. on_it, real : what `launched` takes. peak : the largest radiance.
    """

    found: np.ndarray
    diameter: np.ndarray
    area_mm2: np.ndarray
    planes: int
    on_it: tuple[Any, ...]
    real: Real
    peak: float

    def means(self, which: np.ndarray, points: int, parts: int = 1) -> np.ndarray:
        """(K, RANDOMIZATIONS, MOMENTS) area means of some of them, each by so many blocks."""
        return launched(self.real, self.planes, self.on_it, points, which, parts, self.peak)


def _fill(out: Built, some: np.ndarray, lot: Lot, girdle: int, culet: bool, real: Real) -> None:
    """Build and trace some of the designs of a lot, all with as many facets."""
    values = {key: numbers[some] for key, numbers in lot.values.items()}
    stones = _built(replace(lot, values=values), girdle, culet, real)
    out.fault[some] = stones.found[:, 0].astype(np.int64)
    waiting = np.flatnonzero(stones.found[:, 0] == 0.0)
    if not len(waiting):
        return
    volume, diameter, area = stones.found[:, 1], stones.diameter, stones.area_mm2
    weight = carat(volume * diameter**3, lot.material.density_g_cm3)
    out.geometry[some] = np.stack([weight, diameter, diameter, 100.0 * stones.found[:, 2], area / weight], axis=-1)
    out.area_mm2[some] = area
    error = lot.goal.error
    if error is None:
        out.means[some[waiting]] = stones.means(waiting, USUAL_POINTS)
        out.points[some[waiting]] = USUAL_POINTS
        return
    usual, tried, could = _usual(lot, error, girdle, real), Tried(len(some)), _could(lot)
    points = np.full(len(some), usual.first())
    while len(waiting):
        size = int(points[waiting].min())  # designs that need the same lattice are traced together
        now = waiting[points[waiting] == size]
        parts = 1 if size == usual.first() else RANDOMIZATIONS  # few go on, whose blocks alone would fill no processor
        out.means[some[now]] = stones.means(now, size, parts)
        out.points[some[now]] = size
        off = np.asarray(error(totals_from(out.means[some[now]], size, area[now], could)))
        own = tried.add(now, size, off)
        out.factor[some[now]] = np.where(off > 0.0, own / np.where(off > 0.0, off, 1.0), 1.0)
        points[now] = larger_lattices(size, usual.judged(size, own))
        waiting = np.setdiff1d(waiting, now[points[now] == size], assume_unique=True)


def _usual(lot: Lot, error: Callable[[Totals], Any], girdle: int, real: Real) -> Usual:
    """How large the errors of round brilliants under the light of a lot are, whichever its designs are."""
    light = lot.dome.digest, lot.view, lot.settings
    key = (lot.cut, girdle, lot.material, *sorted(lot.stated.items()), *light, real)
    if key not in _KNOWN:
        crown, pavilion = (one.ravel() for one in np.meshgrid(CROWNS, PAVILIONS))
        values = {**get_cut(lot.cut).defaults({}), "table_pct": TABLE, "crown_angle_deg": crown, "pavilion_angle_deg": pavilion}
        values |= {"girdle_facets": girdle, "diameter_mm": WIDE_MM}
        numbers = {one: np.broadcast_to(np.asarray(values[one], float), len(crown)) for one in USUAL_KEYS}
        like = replace(lot, values=numbers)
        stones = _built(like, girdle, False, real)
        totals = totals_from(stones.means(np.arange(len(crown)), SMALL, RANDOMIZATIONS), SMALL, stones.area_mm2, _could(lot))
        if len(_KNOWN) >= MOST_KNOWN:
            _KNOWN.clear()
        _KNOWN[key] = Usual(SMALL, np.asarray(error(totals)))
    return _KNOWN[key]


def _could(lot: Lot) -> dict[int, float]:
    """`could_meet` of the designs of a lot."""
    return could_meet(lot.dome, [lot.stated.get("girdle_finish", POLISHED)])


def _built(lot: Lot, girdle: int, culet: bool, real: Real) -> _Stones:
    """The designs of a lot in the card's memory, with what is needed to trace them."""
    numbers = np.stack([lot.values[key] for key in ARGUMENTS], axis=-1).astype(float)
    rows, count = SLOPING + girdle + culet, len(numbers)
    planes, found_there = cuda.device_array((count * rows, 4), real), cuda.device_array((count, 3))
    with_blocks(holding(build, np.float64, rows), count)(cuda.to_device(numbers), girdle, rows, planes, found_there)
    found = found_there.copy_to_host()
    found[found[:, 0] != 0.0, 1] = np.nan  # what is no stone has no volume
    if "weight_ct" in lot.values:
        diameter = np.cbrt(lot.values["weight_ct"] / carat(found[:, 1], lot.material.density_g_cm3))
    else:
        diameter = lot.values["diameter_mm"]
    area = 0.5 * girdle * RADIUS**2 * math.sin(2.0 * math.pi / girdle) * diameter**2
    good = np.flatnonzero(found[:, 0] == 0.0)
    on_it: tuple[Any, ...] = ()
    if len(good):
        scene = _first(lot, good[0])
        scenes, fan = _scenes(scene, planes, rows, girdle, diameter, lot, real), on_card(together([fan_of(scene)]), real)
        on_it = scenes, fan, on_card(lot.dome.table, real), rules_of(lot.settings, real, CHANCE)
    return _Stones(found, diameter, area, rows, on_it, real, lot.dome.peak_radiance)


def _first(lot: Lot, design: int) -> Scene:
    """The scene of one design, with a girdle of diameter 1."""
    values: dict[str, Any] = {key: float(lot.values[key][design]) for key in ARGUMENTS}
    values |= {"girdle_facets": int(lot.values["girdle_facets"][design]), "diameter_mm": 1.0, **lot.stated}
    return Scene(get_cut(lot.cut).stone(material=lot.material, **values), lot.dome, lot.view, lot.settings)


def _scenes(scene: Scene, planes: Any, rows: int, girdle: int, diameter: np.ndarray, lot: Lot, real: Any) -> Scenes:
    """The arrays of stones that are built, in the card's memory."""
    count, medium = len(diameter), medium_of(lot.material, lot.settings.wavelength_nm)
    media = np.stack([np.full(count, medium.n), medium.absorption_per_mm * diameter], axis=-1)
    finish, turn = lot.stated.get("girdle_finish", POLISHED).code, tuple(scene.view.rotation().ravel().tolist())
    room = min(AT_A_TIME, 1 << (count - 1).bit_length())
    alike = _alike(room, rows, girdle, finish, turn, real, device_number())
    return alike._replace(planes=planes, media=cuda.to_device(media.astype(real)))


@functools.lru_cache(maxsize=8)
def _alike(room: int, rows: int, girdle: int, finish_code: int, turn: tuple[float, ...], real: Any, device: int) -> Scenes:
    """What stones that are built share with those of the launches before and after, in the card's memory; no planes, no media.

    Parameters
    ----------
    room : at most so many stones. rows, girdle : facets of each, and of its girdle. turn : the view's rotation, row by row.
    device : number of the card.
    """
    azimuths = (2.0 * np.arange(girdle) + 1.0) * np.pi / girdle
    sides = np.stack([np.cos(azimuths), np.sin(azimuths), 0.0 * azimuths, np.full(girdle, RADIUS * math.cos(math.pi / girdle))])
    rim = rim_of(np.ascontiguousarray(sides.T), rows - girdle, HIGH, True)
    finish = np.zeros(rows, np.int8)
    finish[rows - girdle :] = finish_code
    wedges = _wedges(rows - girdle)
    flat = Scenes(
        planes=np.empty((0, 4)),
        finish=np.tile(finish, room),
        rows=np.arange(room + 1) * rows,
        lists=np.zeros(room, np.int64),
        spans=wedges.spans[np.newaxis].astype(np.int32),
        nearby=wedges.rows.astype(np.int32),
        reach=np.full(room, wedges.reach),
        rim=np.zeros(room, np.int64),
        core2=rim.core2[np.newaxis],
        far2=rim.far2[np.newaxis],
        height=np.full(room, rim.height),
        starts=rim.starts[np.newaxis].astype(np.int32),
        listed=rim.rows.astype(np.int32),
        media=np.empty((0, 2)),
        turns=np.broadcast_to(np.reshape(turn, (3, 3)), (room, 3, 3)),
        eyes=np.zeros((room, 4)),
        beyond=np.full(room, BEYOND),
        fan=np.zeros(room, np.int64),
    )
    found: Scenes = on_card(flat, real)
    return found


def _wedges(sloping: int) -> Wedges:
    """What every round brilliant with so many sloping facets has in each wedge: of its mirrors, each facet lies between two."""
    wedge = np.arange(WEDGES)
    mains = (wedge + 1) // 2 % MAINS
    rows = [np.zeros(WEDGES, np.int64), 1 + wedge // 2, 9 + mains, 17 + wedge, 33 + wedge, 49 + mains]
    if sloping > SLOPING:
        rows.append(np.full(WEDGES, SLOPING))
    listed = np.empty((WEDGES, len(rows)), np.int64)
    listed[numbers_around()] = np.stack(rows, axis=-1)
    begins = len(rows) * wedge
    return Wedges(np.stack([begins, begins + len(rows)], axis=-1), listed.ravel(), RADIUS)


_KNOWN: dict[tuple[Any, ...], Usual] = {}
"""What was found of usual errors, by all that they hang on."""
