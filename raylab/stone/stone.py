"""`Stone`: a convex polyhedron of named facet planes. The planes are the truth; all else is derived from them."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..displays import shown_by
from ..errors import InputError, StoneError, nearest
from ..optics.materials import Material, get_material
from ..plane_geometry import convex_outline
from ..units import carat
from .finish import POLISHED, Finish, get_finish
from .inclusions.inclusion import Inclusion, checked, remarks
from .polyhedron import Polyhedron, intersect
from .symmetry_group import SymmetryGroup
from .tier import FACET, GIRDLE

NONE_CLAIMED = SymmetryGroup()


@dataclass(frozen=True, eq=False)
class Stone:
    """A faceted stone: the body enclosed by the half-spaces ``normals @ x <= distances_mm``.

    Axes: right-handed, +z up through the table, z = 0 the middle of the girdle, azimuth counter-clockwise from +x seen
    from above. `Stone.from_planes` checks the planes; the constructor does not.

    Attributes
    ----------
    normals : (F, 3) outward unit normals.
    distances_mm : (F,) distances from the origin along the normals, mm.
    tiers : F tier names, such as ``"crown main"``.
    indices : F numbers of a facet within its tier, from 0.
    material : material of the stone.
    finishes : F finishes, see `Finish`.
    symmetry : the nominal symmetry about z; of size 1 if none is claimed.
    cut : name of the cut, see `raylab.stone.cuts`; empty for a stone of none, None where it isn't stated.
    name : name of the stone in titles.
    measured : True if the planes were measured, as in a facet table or a scan; False if they follow from proportions.
    dropped : names of omitted planes, which touch the body in less than a polygon.
    proportions : parameters of the cut, as they were stated, that made these planes; None for a stone that was moved, scaled or
        made of planes.
    inclusions : what lies inside it and takes light; `with_inclusions` checks it. They stay where they are when facets move.
    """

    normals: np.ndarray
    distances_mm: np.ndarray
    tiers: tuple[str, ...]
    indices: tuple[int, ...]
    material: Material
    finishes: tuple[Finish, ...]
    symmetry: SymmetryGroup = NONE_CLAIMED
    cut: str | None = None
    name: str = "stone"
    measured: bool = False
    dropped: tuple[str, ...] = field(default=())
    proportions: Mapping[str, Any] | None = None
    inclusions: tuple[Inclusion, ...] = ()

    _repr_html_ = shown_by("stone_card")

    @staticmethod
    def from_planes(
        normals: np.ndarray,
        distances_mm: np.ndarray,
        *,
        tiers: Sequence[str] | None = None,
        indices: Sequence[int] | None = None,
        material: str | Material = "diamond",
        finishes: Sequence[str | Finish] | None = None,
        symmetry: SymmetryGroup = NONE_CLAIMED,
        cut: str | None = None,
        name: str = "stone",
        measured: bool = False,
        redundant: str = "refuse",
    ) -> Stone:
        """A checked stone from facet planes.

        Parameters
        ----------
        normals : (F, 3) outward normals of any length but zero; they are made unit vectors.
        distances_mm : (F,) mm, the planes' distances from the origin along the unit normals.
        tiers, indices : F names and numbers; by default ``"facet"`` and 0, 1, 2, ...
        finishes : F names or `Finish` objects; by default every facet is polished.
        measured : True for measured planes, whose numbers have an uncertainty.
        redundant : treatment of a plane without a facet: ``"refuse"``, or ``"drop"`` with its name in `Stone.dropped`.

        Raises
        ------
        StoneError : shapes that don't fit, numbers that aren't finite, a zero normal, too few planes, an unbounded or
            empty body, a plane that is no facet. InputError : an unknown finish.
        """
        planes = np.array(normals, dtype=float)
        distances = np.array(distances_mm, dtype=float)
        if planes.ndim != 2 or planes.shape[1] != 3 or distances.shape != (len(planes),):
            raise StoneError(
                f"shapes {planes.shape} and {distances.shape} do not match",
                key="planes",
                expected="(F, 3) normals and (F,) distances",
            )
        if len(planes) < 4:
            raise StoneError("too few planes to close a body", key="planes", value=len(planes), expected="4 or more")
        length = np.linalg.norm(planes, axis=1)
        for f in np.flatnonzero(~(np.isfinite(distances) & np.isfinite(length) & (length > 0.0))):
            raise StoneError(
                "not a plane: a number is not finite or the normal is zero", key=f"plane {f}", value=planes[f].tolist()
            )
        planes /= length[:, None]
        tier_names = tuple(tiers) if tiers is not None else (FACET,) * len(planes)
        numbers = tuple(map(int, indices)) if indices is not None else _numbered(tier_names)
        surfaces = (POLISHED,) * len(planes)
        if finishes is not None:
            surfaces = tuple(one if isinstance(one, Finish) else get_finish(one) for one in finishes)
        if not len(tier_names) == len(numbers) == len(surfaces) == len(planes):
            raise StoneError("tiers, indices and finishes need one entry per plane", key="planes", value=len(planes))
        if redundant not in ("refuse", "drop"):
            raise StoneError("unknown choice", key="redundant", value=redundant, expected="'refuse' or 'drop'")
        body = intersect(planes, distances)
        keep = np.diff(body.starts) > 0
        if keep.all():
            stone = Stone(
                planes, distances, tier_names, numbers, get_material(material), surfaces, symmetry, cut, name, measured
            )
            stone.__dict__["polyhedron"] = body  # what the cached property would compute once more
            return stone
        absent = tuple(f"{tier_names[f]} {numbers[f]}" for f in np.flatnonzero(~keep))
        if redundant != "drop":
            raise StoneError(
                f"{len(absent)} plane(s) without a facet: {', '.join(absent[:4])}",
                expected="a facet on every plane",
            )
        order = np.flatnonzero(keep)
        return Stone(
            planes[order],
            distances[order],
            tuple(tier_names[f] for f in order),
            tuple(numbers[f] for f in order),
            get_material(material),
            tuple(surfaces[f] for f in order),
            symmetry,
            cut,
            name,
            measured,
            absent,
        )

    def __len__(self) -> int:
        return len(self.normals)

    def __repr__(self) -> str:
        return f"<Stone {self.name!r}: {len(self)} facets, {self.material.name}, {self.weight_ct:.3f} ct>"

    def facet_name(self, facet: int) -> str:
        """Tier and number of a facet, such as ``"star 3"``."""
        return f"{self.tiers[facet]} {self.indices[facet]}"

    def facets_of(self, tier: str) -> list[int]:
        """Numbers of the facets of a tier; empty where the stone has none."""
        return [f for f, name in enumerate(self.tiers) if name == tier]

    @property
    def on_girdle(self) -> np.ndarray:
        """(F,) True for the facets of the girdle."""
        return np.array([tier == GIRDLE.name for tier in self.tiers])

    def facts(self) -> list[Any]:
        """What a hash of the stone holds beside its planes and its material, ready for JSON."""
        inside = [[one.facts() for one in self.inclusions]] if self.inclusions else []
        return [self.tiers, self.indices, [str(finish).split() for finish in self.finishes], str(self.symmetry), *inside]

    def plane_bytes(self) -> bytes:
        """The planes, the same bytes for equal numbers on every machine: no difference between 0 and -0."""
        numbers = (np.asarray(array, dtype="<f8") + 0.0 for array in (self.normals, self.distances_mm))
        return b"".join(json.dumps(array.shape).encode() + array.tobytes() for array in numbers)

    @cached_property
    def finish_codes(self) -> np.ndarray:
        """(F,) the code of each facet's finish, as kernels know it."""
        return np.array([finish.code for finish in self.finishes])

    @cached_property
    def finish_amounts(self) -> np.ndarray:
        """(F,) the number of each facet's finish; 0 where it has none."""
        return np.array([finish.amount or 0.0 for finish in self.finishes])

    @property
    def scatters(self) -> bool:
        """Whether a facet's finish sends light on in directions that are drawn at random."""
        return any(finish.scatters for finish in self.finishes)

    def with_finishes(self, finishes: Mapping[str, str | Finish]) -> Stone:
        """The stone with other finishes on whole tiers or single facets.

        Parameters
        ----------
        finishes : name of a tier, such as ``"girdle"``, or of a facet, such as ``"star 3"``, and its finish; a facet's own
            counts more than its tier's.

        Raises InputError for a name that the stone doesn't have, and for a finish that is none.
        """
        names = [self.facet_name(f) for f in range(len(self))]
        for name in finishes:
            if name not in names and name not in self.tiers:
                expected = nearest(str(name), set(self.tiers))
                raise InputError("unknown tier or facet", key="finishes", value=name, expected=expected)
        made = {name: get_finish(one, f"finish of {name}") for name, one in finishes.items()}
        own = zip(names, self.tiers, self.finishes, strict=True)
        return self.relabeled(finishes=tuple(made.get(name, made.get(tier, old)) for name, tier, old in own))

    @cached_property
    def polyhedron(self) -> Polyhedron:
        """Vertices and polygons, all derived from the planes."""
        return intersect(self.normals, self.distances_mm)

    @property
    def vertices_mm(self) -> np.ndarray:
        """(V, 3) corners, mm."""
        return self.polyhedron.vertices

    @property
    def volume_mm3(self) -> float:
        """Enclosed volume, mm^3."""
        return self.polyhedron.volume(self.distances_mm)

    @property
    def weight_ct(self) -> float:
        """Weight in carat from the volume and the material's density."""
        return carat(self.volume_mm3, self.material.density_g_cm3)

    @cached_property
    def outline_mm(self) -> np.ndarray:
        """(K, 2) corners of the face-up outline, counter-clockwise, mm."""
        flat = self.vertices_mm[:, :2]
        return convex_outline(flat)

    @property
    def outline_area_mm2(self) -> float:
        """Area of the face-up outline, mm^2."""
        return float((self.polyhedron.areas * np.maximum(self.normals[:, 2], 0.0)).sum())

    @property
    def spread_mm2_per_ct(self) -> float:
        """Spread: face-up outline area per carat, mm^2/ct (our definition; the trade compares diameter with weight)."""
        return self.outline_area_mm2 / self.weight_ct

    @cached_property
    def size_mm(self) -> np.ndarray:
        """(3,) extent along x, y and z, mm."""
        return np.ptp(self.vertices_mm, axis=0)

    def slope_deg(self) -> np.ndarray:
        """(F,) angle of each facet to the girdle plane: 0 for the table and the culet, 90 for a vertical girdle."""
        return np.degrees(np.arccos(np.clip(np.abs(self.normals[:, 2]), 0.0, 1.0)))

    def azimuth_deg(self) -> np.ndarray:
        """(F,) azimuth of each facet's normal, 0 to 360; 0 for horizontal facets, which have none."""
        azimuth = np.degrees(np.arctan2(self.normals[:, 1], self.normals[:, 0])) % 360.0
        level = np.hypot(self.normals[:, 0], self.normals[:, 1]) < 1e-9
        return np.where(level | (azimuth > 360.0 - 1e-9), 0.0, azimuth)

    def moved(self, rotation: np.ndarray | None = None, shift_mm: np.ndarray | None = None) -> Stone:
        """The stone after a proper rotation (3, 3) about the origin and then a shift (3,) in mm.

        A rotation about another axis than z removes the nominal symmetry.
        """
        turn = np.eye(3) if rotation is None else np.asarray(rotation, dtype=float)
        if not np.allclose(turn @ turn.T, np.eye(3), atol=1e-12) or np.linalg.det(turn) < 0.0:
            raise StoneError("not a proper rotation", key="rotation", value=turn.tolist())
        normals = self.normals @ turn.T
        shift = np.zeros(3) if shift_mm is None else np.asarray(shift_mm, dtype=float)
        upright = turn[2, 2] > 1.0 - 1e-12
        symmetry = self.symmetry.turned(math.degrees(math.atan2(turn[1, 0], turn[0, 0]))) if upright else NONE_CLAIMED
        distances = self.distances_mm + normals @ shift
        inside = tuple(one.moved(turn, shift) for one in self.inclusions)
        return replace(self, normals=normals, distances_mm=distances, symmetry=symmetry, proportions=None, inclusions=inside)

    def with_inclusions(self, inclusions: Inclusion | Sequence[Inclusion]) -> Stone:
        """The stone with these inclusions in place of its own; none for ``()``.

        What reaches beyond the surface is cut off there; `inclusion_remarks` says so.

        Raises InputError for more than 1000, and for one whose middle is not inside the stone.
        """
        return self.relabeled(inclusions=checked(inclusions, self.normals, self.distances_mm))

    def inclusion_remarks(self, most: int = 20) -> list[str]:
        """One sentence for each inclusion that the surface cuts off, and for each pair that may overlap.

        At most `most` of them, and where there are more, one that counts the rest.
        """
        names = [self.facet_name(facet) for facet in range(len(self))]
        return remarks(self.inclusions, self.normals, self.distances_mm, names, most)

    def relabeled(self, **changes: Any) -> Stone:
        """The same planes with other tier names, numbers, symmetry, finishes or inclusions."""
        other = replace(self, **changes)
        other.__dict__["polyhedron"] = self.polyhedron
        return other

    def with_planes(
        self, normals: np.ndarray, distances_mm: np.ndarray, *, name: str | None = None, redundant: str = "refuse"
    ) -> Stone:
        """The same facets, tiers, material and inclusions on other planes, checked anew; see `from_planes`."""
        made = Stone.from_planes(
            normals,
            distances_mm,
            tiers=self.tiers,
            indices=self.indices,
            material=self.material,
            finishes=self.finishes,
            symmetry=self.symmetry,
            cut=self.cut,
            name=self.name if name is None else name,
            measured=self.measured,
            redundant=redundant,
        )
        return made.relabeled(inclusions=self.inclusions) if self.inclusions else made

    def scaled(self, factor: float) -> Stone:
        """The stone with every length multiplied by a positive, finite factor."""
        if not 0.0 < factor < math.inf:
            raise StoneError("not positive and finite", key="factor", value=factor)
        inside = tuple(one.moved(np.eye(3), np.zeros(3), factor) for one in self.inclusions)
        larger = replace(self, distances_mm=self.distances_mm * factor, proportions=None, inclusions=inside)
        larger.__dict__["polyhedron"] = self.polyhedron.scaled(factor)
        return larger

    def triangles(self) -> tuple[np.ndarray, np.ndarray]:
        """A watertight triangle mesh: vertices (V, 3) mm and triangles (T, 3), counter-clockwise from outside."""
        fans = [np.column_stack([np.full(len(p) - 2, p[0]), p[1:-1], p[2:]]) for p in self.polyhedron.loops]
        return self.vertices_mm, np.concatenate(fans)


def _numbered(tiers: tuple[str, ...]) -> tuple[int, ...]:
    seen: dict[str, int] = {}
    numbers = []
    for tier in tiers:
        numbers.append(seen.get(tier, 0))
        seen[tier] = numbers[-1] + 1
    return tuple(numbers)
