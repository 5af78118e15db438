"""Scenes lowered to the arrays of a launch, and area means back."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numba import cuda

from ...optics.media import medium_of
from ...scene.scene import Scene
from ...scene.settings import TraceSettings
from ...stone.stone import Stone
from ..outline_rays import Fan, generator_of
from ..randomizations import CHANCE, RANDOMIZATIONS
from ..stone_table import StoneTable, stone_table
from ..wedges import Wedges, wedges_in, wedges_of
from . import area_sums
from .blocks import MOST_LISTED, SUMS, Fans, Real, Scenes, holding, with_blocks

SUMMED = ("integral",)
"""Tables of running sums, whose differences count."""


def lowered(scenes: Sequence[Scene], wavelengths_nm: Sequence[float]) -> Scenes:
    """The arrays of several scenes, each at its wavelength, in main memory and double precision."""
    return bodies([scene.stone for scene in scenes], wavelengths_nm)._replace(**looks(scenes))


def looks(scenes: Sequence[Scene]) -> dict[str, np.ndarray]:
    """Those arrays of scenes that tell how they are seen."""
    turns = np.ascontiguousarray([scene.view.rotation() for scene in scenes])
    return {"turns": turns, "eyes": np.array([_eye(scene) for scene in scenes])}


def bodies(stones: Sequence[Stone], wavelengths_nm: Sequence[float]) -> Scenes:
    """The arrays of scenes that their stones and wavelengths decide."""
    known: dict[int, tuple[StoneTable, Wedges]] = {}  # many scenes may share a stone
    for stone, wavelength_nm in zip(stones, wavelengths_nm, strict=True):
        if id(stone) not in known:
            table = stone_table(stone, wavelength_nm)
            known[id(stone)] = table, _wedges(table)
    tables, wedges = zip(*(known[id(stone)] for stone in stones), strict=True)
    media = [medium_of(stone.material, one) for stone, one in zip(stones, wavelengths_nm, strict=True)]
    some, lists = _different([_bytes(one.spans, one.rows) for one in wedges])
    others, rim = _different([_bytes(one.core2, one.far2, one.starts, one.rows) for one in (table.rim for table in tables)])
    nearby, rims = [wedges[k] for k in some], [tables[k].rim for k in others]
    return Scenes(
        planes=np.concatenate([table.planes for table in tables]),
        finish=np.concatenate([np.asarray(table.finish, np.int8) for table in tables]),
        rows=np.concatenate([[0], np.cumsum([len(table.planes) for table in tables])]),
        lists=lists,
        spans=_further([one.spans for one in nearby], [one.rows for one in nearby]),
        nearby=np.concatenate([one.rows for one in nearby]).astype(np.int32),
        reach=np.array([one.reach for one in wedges]),
        rim=rim,
        core2=np.array([one.core2 for one in rims]),
        far2=np.array([one.far2 for one in rims]),
        height=np.array([table.rim.height for table in tables]),
        starts=_further([one.starts for one in rims], [one.rows for one in rims]),
        listed=np.concatenate([one.rows for one in rims]).astype(np.int32),
        media=np.array([[medium.n, medium.absorption_per_mm] for medium in media]),
        turns=np.empty((0, 3, 3)),
        eyes=np.empty((0, 4)),
        beyond=np.array([math.sqrt(3.0) * float(np.abs(stone.vertices_mm).max()) for stone in stones]),
        fan=np.arange(len(stones)),
    )


def _wedges(table: StoneTable) -> Wedges:
    """The lists of a stone for the search; where they are too long, one list of all."""
    found = wedges_in(table)
    return found if len(found.rows) <= MOST_LISTED else wedges_of(table.planes, table.sloping, found.reach, False)


def _bytes(*parts: np.ndarray) -> bytes:
    """Equal for equal arrays."""
    return b"".join(np.ascontiguousarray(part).tobytes() for part in parts)


def _different(keys: Sequence[bytes]) -> tuple[list[int], np.ndarray]:
    """Where each of the different keys stands first, and (D,) which of them each is."""
    first: dict[bytes, int] = {}
    for number, key in enumerate(keys):
        first.setdefault(key, number)
    order = {key: place for place, key in enumerate(first)}
    return list(first.values()), np.array([order[key] for key in keys])


def _further(places: Sequence[np.ndarray], lists: Sequence[np.ndarray]) -> np.ndarray:
    """Places in some lists as those in one list of all of them, one after the other."""
    before = np.cumsum([0, *map(len, lists[:-1])])
    return np.array([first + one for first, one in zip(before, places, strict=True)], np.int32)


def together(fans: Sequence[Fan]) -> Fans:
    """The arrays of several outlines, in main memory."""
    return Fans(
        hubs=np.array([fan.hub for fan in fans]),
        rims=np.concatenate([fan.rim for fan in fans]),
        upto=np.concatenate([fan.upto for fan in fans]),
        parts=np.concatenate([[0], np.cumsum([len(fan.upto) for fan in fans])]),
    )


def _eye(scene: Scene) -> list[float]:
    """See `Scenes.eyes`."""
    eye = scene.view.eye_mm
    return [0.0] * 4 if eye is None else [*map(float, eye), 1.0]


def outline_means(scenes: Sequence[Scene], wavelength_nm: float, points: int, fans: Sequence[Fan], real: Real) -> np.ndarray:
    """(D, RANDOMIZATIONS, MOMENTS) means over the outlines of scenes under one dome with one set of settings."""
    first = scenes[0]
    most = max(len(scene.stone) for scene in scenes)
    low = lowered(scenes, [wavelength_nm] * len(scenes))
    on_it = on_card(low, real), on_card(together(fans), real), on_card(first.dome.table, real)
    rules = rules_of(first.settings, real, CHANCE)
    return launched(real, most, (*on_it, rules), points, np.arange(len(scenes)), RANDOMIZATIONS, first.dome.peak_radiance)


def launched(
    real: Real, planes: int, on_it: tuple[Any, ...], points: int, chosen: np.ndarray, parts: int, peak: float
) -> np.ndarray:
    """(D, RANDOMIZATIONS, MOMENTS) means over the outlines of those scenes in the card's memory that are chosen.

    Parameters
    ----------
    planes : at most so many facets have they. on_it : scenes, fans, dome and rules as `area_sums.outline_sums` takes them.
    parts : blocks a scene. peak : the largest radiance.
    """
    blocks, scale = len(chosen) * parts, scale_for(points, peak)
    out, steps = cuda.device_array((len(chosen), RANDOMIZATIONS, SUMS)), cuda.device_array(blocks, np.int64)
    with_blocks(holding(area_sums.outline_sums, real, planes), blocks)(
        *on_it, points, generator_of(points), cuda.to_device(chosen), parts, scale, out, steps
    )
    sums = out.copy_to_host()
    return np.asarray(sums[..., :-1] / sums[..., -1:])


def scale_for(points: int, peak: float) -> float:
    """A power of two by which no sum over so many rays is more than a whole number holds; reflections, of which a path has
    some hundred, and squares of the largest radiance are the largest numbers of a ray."""
    return 2.0 ** math.floor(math.log2(2.0**62 / (points * max(1024.0, 4.0 * peak * peak))))


def rules_of(settings: TraceSettings, real: Any, chance: float) -> tuple[bool, Any, int, Any, int]:
    """See `paths.advance`."""
    return settings.polarized, real(settings.min_weight), settings.max_bounces, real(chance), settings.seed


def on_card(table: Any, real: Any) -> Any:
    """A named tuple of arrays and numbers, such as a `DomeTable`, with its arrays in the card's memory; of that precision where
    they are of floating point, but for those in `SUMMED`."""

    def one(name: str, value: Any) -> Any:
        if isinstance(value, np.ndarray):
            kind = real if value.dtype.kind == "f" and name not in SUMMED else value.dtype
            return cuda.to_device(np.ascontiguousarray(value, dtype=kind))
        return real(value) if isinstance(value, float) else value

    return table._make(map(one, table._fields, table))
