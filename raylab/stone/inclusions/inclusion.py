"""`Inclusion`: a body inside a stone that takes light, and nothing else.

The stone's light runs in straight segments from facet to facet. An inclusion lets pass its `transmittance` of the light of each
segment that crosses it, however long or short the way inside it is, and takes the rest. It neither bends nor reflects nor
scatters light: what it takes is lost, and is booked in the ledger as `absorbed`, with the part `included` beside it.

An inclusion that reaches beyond the stone's surface is cut off there. Where two overlap, each takes its share of what the other
lets pass.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...errors import InputError
from ...units import number_in
from .shapes import Disc, Ellipsoid, Point, Polyhedron, Shape, Z, point, radius

MOST = 1000
"""Most inclusions of a stone: every segment of every path is compared with each of them."""


@dataclass(frozen=True)
class Inclusion:
    """A body inside a stone that takes light; see the module. The constructor checks it.

    Attributes
    ----------
    shape : its `Ellipsoid`, `Disc` or `Polyhedron`.
    transmittance : share of a crossing ray's light that passes, 0 (opaque) to 1.
    name : in tables and messages; may be empty.

    Raises
    ------
    InputError : a wrong type, a transmittance out of range.

    >>> speck = Inclusion.sphere((0.5, 0.0, -0.4), 0.05)
    >>> speck.transmittance, speck.shape.reach_mm
    (0.0, 0.05)
    """

    shape: Shape
    transmittance: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.shape, Shape):
            kinds = "an Ellipsoid, a Disc or a Polyhedron"
            raise InputError("wrong type", key="shape", value=self.shape, expected=kinds)
        object.__setattr__(self, "transmittance", number_in("transmittance", self.transmittance, 0.0, 1.0))
        if not isinstance(self.name, str):
            raise InputError("wrong type", key="name", value=self.name, expected="a text")

    @classmethod
    def sphere(cls, center_mm: Sequence[float], radius_mm: float, *, transmittance: float = 0.0, name: str = "") -> Inclusion:
        """A sphere about a point (3,), mm."""
        r = radius("radius_mm", radius_mm)
        return cls(Ellipsoid(point("center_mm", center_mm), (r, r, r)), transmittance, name)

    @classmethod
    def ellipsoid(
        cls,
        center_mm: Sequence[float],
        radii_mm: Sequence[float],
        *,
        axis: Sequence[float] = (1.0, 0.0, 0.0),
        second_axis: Sequence[float] | None = None,
        transmittance: float = 0.0,
        name: str = "",
    ) -> Inclusion:
        """An ellipsoid about a point (3,), mm, with the radii (3,) along `axis`, `second_axis` and across both."""
        second = None if second_axis is None else point("second_axis", second_axis)
        shape = Ellipsoid(point("center_mm", center_mm), point("radii_mm", radii_mm), point("axis", axis), second)
        return cls(shape, transmittance, name)

    @classmethod
    def disc(
        cls,
        center_mm: Sequence[float],
        radius_mm: float,
        normal: Sequence[float] = Z,
        *,
        transmittance: float = 0.0,
        name: str = "",
    ) -> Inclusion:
        """A thin disc about a point (3,), mm, such as a feather, across the direction `normal` (3,)."""
        return cls(Disc(point("center_mm", center_mm), radius_mm, point("normal", normal)), transmittance, name)

    @classmethod
    def polyhedron(cls, corners_mm: Sequence[Sequence[float]], *, transmittance: float = 0.0, name: str = "") -> Inclusion:
        """The convex body around points (K, 3), mm, such as a crystal."""
        return cls(Polyhedron(tuple(point("corners_mm", one) for one in corners_mm)), transmittance, name)

    @property
    def center_mm(self) -> Point:
        """(3,) its middle, mm; of a polyhedron the mean of the corners."""
        return self.shape.center_mm

    def moved(self, turn: np.ndarray, shift_mm: np.ndarray, factor: float = 1.0) -> Inclusion:
        """Scaled about the origin, turned by (3, 3), then shifted by (3,) mm."""
        return replace(self, shape=self.shape.moved(turn, shift_mm, factor))

    def facts(self) -> list[Any]:
        """What a hash of it holds, ready for JSON: all that affects light."""
        return [type(self.shape).__name__, self.transmittance, *vars_of(self.shape)]


def vars_of(shape: Shape) -> list[Any]:
    """The numbers that define a shape, in the order of its attributes."""
    return [getattr(shape, field) for field in shape.__dataclass_fields__]


def checked(
    inclusions: Inclusion | Iterable[Inclusion], normals: np.ndarray, distances_mm: np.ndarray
) -> tuple[Inclusion, ...]:
    """The inclusions of a stone as a tuple.

    Parameters
    ----------
    normals, distances_mm : (F, 3) and (F,), the stone's planes.

    Raises
    ------
    InputError : something else than inclusions, more than `MOST`, one whose middle is not inside the stone.
    """
    found = (inclusions,) if isinstance(inclusions, Inclusion) else tuple(inclusions)
    if len(found) > MOST:
        raise InputError("too many inclusions", key="inclusions", value=len(found), expected=f"at most {MOST}")
    for number, one in enumerate(found, start=1):
        if not isinstance(one, Inclusion):
            raise InputError("wrong type", key=f"inclusion {number}", value=one, expected="an Inclusion")
        clearance = float((distances_mm - normals @ np.array(one.center_mm)).min())
        if clearance <= 1e-9 * float(np.abs(distances_mm).max()):
            raise InputError(
                "its middle is not inside the stone",
                key=label(one, number),
                value=[round(x, 4) for x in one.center_mm],
                expected=f"a point below every facet (this one is {max(-clearance, 0.0):.3g} mm outside)",
            )
    return found


def label(one: Inclusion, number: int) -> str:
    """What messages call an inclusion: its number from 1, and its name."""
    return f"inclusion {number}" + (f" ({one.name})" if one.name else "")


def remarks(
    inclusions: Sequence[Inclusion], normals: np.ndarray, distances_mm: np.ndarray, facet_names: Sequence[str], most: int
) -> list[str]:
    """One sentence for each inclusion that is cut off at the surface, and for each pair that may overlap.

    At most `most` of them, and where there are more, one that counts the rest.

    Parameters
    ----------
    normals, distances_mm, facet_names : of the stone's F facets.
    """
    found = []
    for number, one in enumerate(inclusions, start=1):
        beyond = one.shape.extent_mm(normals) - distances_mm
        facet, gone = int(beyond.argmax()), -one.shape.extent_mm(-normals) >= distances_mm
        if gone.any():  # of a stone that was polished away above it
            found.append(
                f"{label(one, number)} lies beyond the plane of {facet_names[int(gone.argmax())]}: nothing of it is left"
            )
        elif beyond[facet] > 0.0:
            found.append(
                f"{label(one, number)} reaches {beyond[facet]:.3g} mm beyond the plane of {facet_names[facet]} and is cut off "
                "at the surface"
            )
    pairs = _close_pairs(inclusions)
    count = len(found) + len(pairs)
    found += [_overlap(inclusions, int(one), int(other)) for one, other in pairs[: max(most - len(found), 0)]]
    return [*found[:most], f"{count - most} more such remarks"] if count > most else found


def _close_pairs(inclusions: Sequence[Inclusion]) -> np.ndarray:
    """(K, 2) the pairs of inclusions, numbers from 0, whose surrounding spheres overlap, in order."""
    centers, reaches = np.array([one.center_mm for one in inclusions]), np.array([one.shape.reach_mm for one in inclusions])
    found = [np.empty((0, 2), int)]
    for k in range(len(inclusions) - 1):
        apart = np.linalg.norm(centers[k + 1 :] - centers[k], axis=1)
        others = np.flatnonzero(apart < reaches[k] + reaches[k + 1 :]) + k + 1
        found.append(np.column_stack([np.full(len(others), k), others]))
    return np.concatenate(found)


def _overlap(inclusions: Sequence[Inclusion], k: int, other: int) -> str:
    """What is said of two that may overlap; of spheres it is sure."""
    pair = f"{label(inclusions[k], k + 1)} and {label(inclusions[other], other + 1)}"
    sure = _is_sphere(inclusions[k].shape) and _is_sphere(inclusions[other].shape)
    return f"{pair} {'overlap' if sure else 'may overlap'}; where they do, each takes its share of the rest"


def _is_sphere(shape: Shape) -> bool:
    return isinstance(shape, Ellipsoid) and len(set(shape.radii_mm)) == 1
