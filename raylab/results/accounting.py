"""Accounting by facet: the facets where light leaves, and the facets and paths of dark areas.

One table, one row per facet; each column sums to the number of the same name for the whole stone:

    area, brightness, dark, absorbed, untraced             by entry facet
    sky, head, leak, scattered; glare (part of the others)  by the facet where the light leaves (for a view ray, that is)

``area`` and ``dark`` are shares of the outline, ``brightness`` is in units of the dome's brightest radiance, the others are
shares of the view's weight. All count what was traced, without an estimate of the rest: the true value of a facet exceeds the
stated one by at most the untraced share.

A spot is dark where its luminance is below DARK_BELOW of the mean over the outline: our definition, chosen before any
stone was traced. In a tinted stone each virtual facet counts with its mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..stone.stone import Stone
from ..tracers.exact.beams import Beams
from ..tracers.ledger import ABSORBED, ENTRIES, FIELDS, GLARE, HEAD, LEAK, LUMINANCE, SCATTERED, SKY, UNTRACED
from .paths import Paths, strongest_paths

DARK_BELOW = 0.5
"""A spot is dark where it is less luminous than this share of the stone's mean."""

COLUMNS = ("area", "brightness", "dark", *ENTRIES, "glare")
_LEFT_AT = (SKY, HEAD, LEAK, SCATTERED, GLARE)
_LEAST_LISTED = 1e-4
"""Dark paths of less than this share of the outline are put together in `FacetTable.to_dict`."""


@dataclass(frozen=True)
class DarkPath:
    """What dark spots have in common: the tiers along their strongest path.

    Attributes
    ----------
    tiers : tier names, that of the facet looked through first. towards : ledger entry in which the path ends.
    area : share of the outline that is dark along it.
    """

    tiers: tuple[str, ...]
    entry: str
    area: float

    def __str__(self) -> str:
        return " > ".join([*self.tiers, self.entry])


@dataclass(frozen=True)
class FacetTable:
    """The accounting of one view.

    Attributes
    ----------
    names, tiers : of the F facets. columns : name of COLUMNS -> (F,), see the module.
    dark : share of the outline that is dark, and the certain bracket on it: value, low, high.
    dark_paths : along which paths, the largest first; their areas sum to the dark share.
    """

    names: tuple[str, ...]
    tiers: tuple[str, ...]
    columns: dict[str, np.ndarray]
    dark: tuple[float, float, float]
    dark_paths: tuple[DarkPath, ...]

    def by_tier(self) -> dict[str, dict[str, float]]:
        """Tier -> column -> sum over the tier's facets; tiers in the stone's order."""
        number = {tier: k for k, tier in enumerate(dict.fromkeys(self.tiers))}
        of_facet = np.array([number[tier] for tier in self.tiers])
        sums = {name: np.bincount(of_facet, column, len(number)) for name, column in self.columns.items()}
        return {tier: {name: float(sums[name][k]) for name in COLUMNS} for tier, k in number.items()}

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers: ``by_tier``, ``by_facet`` (lists, one entry per facet) and ``dark``."""
        value, low, high = self.dark
        listed = [path for path in self.dark_paths if path.area >= _LEAST_LISTED]
        return {
            "by_tier": self.by_tier(),
            "by_facet": {
                "facet": list(self.names),
                "tier": list(self.tiers),
                **{name: self.columns[name].tolist() for name in COLUMNS},
            },
            "dark": {
                "below_share_of_mean": DARK_BELOW,
                "area": value,
                "bracket": [low, high],
                "paths": [{"path": str(path), "area": path.area} for path in listed],
                "other_paths": max(0.0, value - sum(path.area for path in listed)),
            },
        }


def account(beams: Beams, stone: Stone, peak_radiance: float, paths: Paths | None = None) -> FacetTable:
    """The accounting of a traced view.

    Parameters
    ----------
    peak_radiance : the dome's brightest. paths : `strongest_paths(beams)`, if it is at hand.

    Raises InputError if the beams' paths were not kept.
    """
    whole = beams.unfolded()
    paths = strongest_paths(whole) if paths is None else paths
    share = whole.areas_mm2 / whole.areas_mm2.sum()
    dark, bracket = _dark(whole, share, peak_radiance)
    seen = {
        "area": share,
        "brightness": share * whole.rows[:, LUMINANCE] / peak_radiance,
        "dark": share * dark,
        "absorbed": share * whole.rows[:, ABSORBED],
        "untraced": share * whole.rows[:, UNTRACED],
    }
    entries = whole.entries
    columns = {name: np.bincount(entries, column, len(stone)) for name, column in seen.items()}
    columns |= {FIELDS[channel]: whole.through[:, channel] for channel in _LEFT_AT}
    names = tuple(stone.facet_name(f) for f in range(len(stone)))
    return FacetTable(names, stone.tiers, columns, bracket, _dark_paths(paths, share * dark, stone))


def _dark(whole: Beams, share: np.ndarray, peak_radiance: float) -> tuple[np.ndarray, tuple[float, float, float]]:
    """(L,) which polygons are dark, and the dark share with its bracket: untraced light can lift a spot and the mean."""
    luminance, more = whole.rows[:, LUMINANCE], whole.rows[:, UNTRACED] * peak_radiance
    mean = float((share * luminance).sum())
    dark = luminance < DARK_BELOW * mean
    surely = luminance + more < DARK_BELOW * mean
    perhaps = luminance < DARK_BELOW * (mean + float((share * more).sum()))
    return dark, (float(share[dark].sum()), float(share[surely].sum()), float(share[perhaps].sum()))


def _dark_paths(paths: Paths, dark_share: np.ndarray, stone: Stone) -> tuple[DarkPath, ...]:
    """Dark areas along paths of the same tiers put together, the largest first."""
    area = np.bincount(paths.which, dark_share, len(paths))
    dark = np.flatnonzero(area > 0.0)
    names = list(dict.fromkeys(stone.tiers))
    # A path's entry and tiers as one text, in which 0 only fills up: there may be a million paths, and few kinds of them.
    numbers = np.array([0, *(1 + names.index(tier) for tier in stone.tiers)], np.uint16)
    kinds = np.column_stack([paths.entry[dark].astype(np.uint16), numbers[paths.facets[dark] + 1]])
    texts = kinds.view(f"S{2 * kinds.shape[1]}").ravel().tolist()
    sums: dict[bytes, float] = {}
    for text, part in zip(texts, area[dark].tolist(), strict=True):
        sums[text] = sums.get(text, 0.0) + part
    found: dict[tuple[tuple[str, ...], str], float] = {}
    for text, whole in sums.items():
        entry, *tiers = np.frombuffer(text.ljust(2 * kinds.shape[1], b"\0"), np.uint16).tolist()
        found[tuple(names[tier - 1] for tier in tiers if tier), FIELDS[entry]] = whole
    return _sorted(found)


def _sorted(found: dict[tuple[tuple[str, ...], str], float]) -> tuple[DarkPath, ...]:
    order = sorted(found.items(), key=lambda entry: -entry[1])
    return tuple(DarkPath(tiers, entry, area) for (tiers, entry), area in order)


def mean_of(tables: Sequence[FacetTable]) -> FacetTable:
    """The plain mean of one stone's tables at several wavelengths."""
    if len(tables) == 1:
        return tables[0]
    found: dict[tuple[tuple[str, ...], str], float] = {}
    for path in (path for table in tables for path in table.dark_paths):
        key = path.tiers, path.entry
        found[key] = found.get(key, 0.0) + path.area / len(tables)
    columns = {name: np.mean([table.columns[name] for table in tables], axis=0) for name in COLUMNS}
    value, low, high = (float(x) for x in np.mean([table.dark for table in tables], axis=0))
    return FacetTable(tables[0].names, tables[0].tiers, columns, (value, low, high), _sorted(found))
