"""`LiveScene`: what a live page shows, checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..lighting.dome_file import DomeLike, dome_names, dome_of, load_dome
from ..optics.spectrum import LOW_NM
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..units import number_in

MOST_STONES = 4


@dataclass(frozen=True)
class LiveScene:
    """Stones, the lights that a page offers, and how they are seen at first; see `save_show`.

    Raises InputError for what `save_show` says.
    """

    stones: tuple[Stone, ...]
    domes: tuple[Dome, ...] = field(default_factory=lambda: lights_of(None))
    view: View = field(default_factory=View)
    light: str = "D65"
    exposure: float = 1.0
    low_nm: float = LOW_NM

    def __post_init__(self) -> None:
        for stone in self.stones:
            if not isinstance(stone, Stone):
                raise InputError("wrong type", key="stones", value=stone, expected=f"a Stone, or up to {MOST_STONES}")
        if not 1 <= len(self.stones) <= MOST_STONES:
            raise InputError("not a number of stones", key="stones", value=len(self.stones), expected=f"1 to {MOST_STONES}")
        number_in("exposure", self.exposure, 1.0 / 64.0, 256.0)
        view = self.view
        if view.aside_mm or view.pupil_mm:
            key = "aside_mm" if view.aside_mm else "pupil_mm"
            problem = "a live picture has one eye, a point on the axis"
            raise InputError(problem, key=key, value=getattr(view, key), expected="0")
        if view.distance_mm is not None:
            number_in("distance_mm", view.distance_mm, 1.5 * max(self.radii_mm), 1e9, "mm")
        for stone in self.stones:
            Scene(stone, self.domes[0], view)

    @property
    def radii_mm(self) -> list[float]:
        """How far each stone's corners reach from its middle, mm."""
        return [float(np.linalg.norm(stone.vertices_mm, axis=1).max()) for stone in self.stones]

    @property
    def half_mm(self) -> float:
        """Half of what a picture is wide, mm: all stones on one scale, in every pose."""
        radius, distance = max(self.radii_mm), self.view.distance_mm
        return 1.02 * radius * (1.0 if distance is None else distance / (distance - radius))


def and_shipped(first: Dome) -> list[Dome]:
    """A dome, and after it the shipped ones of other names."""
    return [first, *(load_dome(name) for name in dome_names() if name != first.name)]


def lights_of(domes: DomeLike | Sequence[DomeLike] | None) -> tuple[Dome, ...]:
    """The domes of a page; by default all shipped ones, `head-shadow` first. Raises InputError for none, or two of one name."""
    if domes is None:
        names = dome_names()
        return tuple(load_dome(name) for name in sorted(names, key=lambda name: (name != "head-shadow", name)))
    several = [domes] if isinstance(domes, Dome | str | Path) else list(domes)
    if not several:
        raise InputError("missing", key="domes", expected="at least one")
    found = tuple(dome_of(one) for one in several)
    given = [dome.name for dome in found]
    for name in given:
        if given.count(name) > 1:
            raise InputError("two domes of one name", key="domes", value=name, expected="different names")
    return found
