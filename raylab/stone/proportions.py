"""`measure`: proportions measured on the polygons of a stone, with mean, extremes and spread of every quantity.

Measurements use the geometry only, not the numbers from which a stone was built. A quantity whose facets are missing is
absent (None). The cut of the stone defines the measured quantities (`Cut.measured`); a stone of no known cut has those of
`OF_NO_CUT`. Tiers are taken from the tier names, or from the shape if a stone has no names (see `recognition`). Percentages
are of the mean girdle diameter, which is measured at the corners of the girdle (see `callipers`); of a cut with length and
width, or of no known cut, of the width (see `long_stone`).

Symmetry is given as lengths and angles; classes of it are grades, and none are given.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from .cuts.cut import Measured
from .known_cuts import cut_of, measured_by_key, measured_of, tiers_of
from .measuring.callipers import Callipers, Quantity
from .planes import facing_deg
from .recognition import Recognition, recognition_of
from .stone import Stone


@dataclass(frozen=True)
class FacetRow:
    """One line of the facet table.

    `side` that the facet faces (``"up"``, ``"down"``, empty where it is vertical), `slope_deg` to the girdle plane (0 to 90),
    `azimuth_deg` of the outward normal, `distance_mm` from the origin.
    """

    name: str
    tier: str
    side: str
    slope_deg: float
    azimuth_deg: float
    distance_mm: float
    area_mm2: float


@dataclass(frozen=True)
class Measurements(Mapping[str, Quantity]):
    """The result of `measure`: a mapping of measured quantities by key; each is an attribute too.

    A quantity without its facets, or of another cut, is None as an attribute.

    Attributes
    ----------
    name, material : name and material of the stone. cut : its cut, or None.
    quantities : quantities of any stone and those of the cut, by key; None without the facets. See `definitions`.
    weight_ct, volume_mm3, spread_mm2_per_ct : numbers of the whole stone. facets : one row per facet.
    tiers_from : ``"names"`` of the stone, or its ``"shape"``.
    recognition : how surely its shape says the cut; None where the stone states it, or has none.
    """

    name: str
    material: str
    cut: str | None
    quantities: Mapping[str, Quantity | None]
    weight_ct: float
    volume_mm3: float
    spread_mm2_per_ct: float
    facets: tuple[FacetRow, ...]
    tiers_from: str
    recognition: Recognition | None = None

    def __getitem__(self, key: str) -> Quantity:
        found = self.quantities[key]
        if found is None:
            raise KeyError(key)
        return found

    def __iter__(self) -> Iterator[str]:
        return (key for key, found in self.quantities.items() if found is not None)

    def __len__(self) -> int:
        return sum(1 for _ in self)

    def __getattr__(self, key: str) -> Any:
        if not key.startswith("_") and key in measured_by_key():
            return self.quantities.get(key)
        raise AttributeError(f"unknown measured quantity {key!r}")

    @property
    def definitions(self) -> dict[str, Measured]:
        """Label, unit and definition of each quantity."""
        return {one.key: one for one in measured_of(self.cut)}

    def numbers(self) -> dict[str, float]:
        """One number for each quantity that is present, by name.

        Means, the numbers of the whole stone, and how uneven it is: largest minus smallest of the quantities that describe it
        (`Measured.uneven`), under ``..._spread_pct`` and the like. A quantity without a meaningful mean has its spread alone.
        """
        about = self.definitions
        found = {key: one.mean for key, one in self.items() if about[key].mean}
        for key, one in self.items():
            if about[key].uneven:
                found[spread_key(key)] = one.spread
        whole = ("weight_ct", "volume_mm3", "spread_mm2_per_ct")
        return found | {key: getattr(self, key) for key in whole}

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and None, ready for JSON."""
        found = {key: None if one is None else one.to_dict() for key, one in self.quantities.items()}
        rest = {key: getattr(self, key) for key in ("weight_ct", "volume_mm3", "spread_mm2_per_ct")}
        facets = [asdict(row) for row in self.facets]
        about = {"name": self.name, "material": self.material, "cut": self.cut}
        surely = None if self.recognition is None else self.recognition.to_dict()
        return {**about, **found, **rest, "facets": facets, "tiers_from": self.tiers_from, "recognition": surely}


def spread_key(key: str) -> str:
    """The name of a quantity's spread in `Measurements.numbers`.

    >>> spread_key("crown_angle_deg")
    'crown_angle_spread_deg'
    """
    stem, _, unit = key.rpartition("_")
    return f"{stem}_spread_{unit}"


def measure(stone: Stone) -> Measurements:
    """Measure the proportions of a stone.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> found = measure(round_brilliant(table_pct=57, crown_angle_deg=34, pavilion_angle_deg=40.7, girdle_pct=2.5))
    >>> round(found.table_pct.mean, 6), round(found.crown_height_pct.mean, 4), round(found["depth_pct"].mean, 4)
    (57.0, 14.5019, 60.0087)
    """
    named, recognition = recognition_of(stone)
    known = cut_of(named)
    callipers = Callipers(named, tiers_of(named), of_width=known is None or known.of_width)
    sides, _, _ = facing_deg(named.normals)
    numbers = (named.slope_deg(), named.azimuth_deg(), named.distances_mm, named.polyhedron.areas)
    rows = zip(named.tiers, sides, *(column.tolist() for column in numbers), strict=True)
    return Measurements(
        name=stone.name,
        material=stone.material.name,
        cut=None if known is None else known.name,
        quantities={one.key: one.of(callipers) for one in measured_of(None if known is None else known.name)},
        weight_ct=stone.weight_ct,
        volume_mm3=stone.volume_mm3,
        spread_mm2_per_ct=stone.spread_mm2_per_ct,
        facets=tuple(FacetRow(named.facet_name(f), *row) for f, row in enumerate(rows)),
        tiers_from="names" if named.tiers == stone.tiers else "shape",
        recognition=recognition,
    )
