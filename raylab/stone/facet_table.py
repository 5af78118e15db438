"""A stone as a table of its facets: CSV with one facet a line, as a cutter or a measuring device would write it.

    # material: diamond
    # finish: girdle = absorbing
    facet,tier,side,slope_deg,azimuth_deg,distance_mm
    0,table,up,0,0,1.06
    0,crown main,up,34.5,0,1.93
    0,pavilion main,down,40.75,0,2.21

``facet`` is the number within the tier. ``side`` says whether it faces ``up`` or ``down``; it may be empty for a vertical one.
``slope_deg`` is the angle between the facet and the girdle plane, 0 to 90. ``azimuth_deg`` is that of the outward normal,
counter-clockwise from +x seen from above; ``distance_mm`` is the facet's distance from the origin, along the normal. The
order of the columns is free, and other columns are passed over. A table as a spreadsheet copies or exports it is read as well,
see `facet_table_text`.

Lines that start with ``#`` are comments. Some of them describe the stone: ``unit`` (mm, as the column says), ``cut``,
``material``, ``absorption_per_mm`` (a coefficient, or pairs such as ``450:0.1 650:0.02``), ``finish`` (of tiers or facets that
are not polished, as ``girdle = lambertian 0.8, star 3 = absorbing``), ``symmetry`` (order of rotation and the azimuth of a
mirror: ``8, mirror 0``), and ``name``.

Normals come back to within 1e-15 and distances exactly.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, StoneError, nearest
from ..optics.materials import Material, get_material
from ..reading import reader
from .facet_headings import COLUMNS
from .facet_table_text import LineError, number, split, text_of, whole
from .finish import POLISHED, Finish, get_finish
from .known_cuts import get_cut, tiers_by_name
from .planes import SIDES, facing_deg, normal_of_deg
from .stone import Stone
from .symmetry_group import SymmetryGroup
from .tier import PLAIN


def facet_table(stone: Stone) -> str:
    """The text of a stone's facet table, numbers to full precision.

    Raises InputError for what a table can't hold: a material that has no name, or a tier's name with a line break in it.
    """
    text = io.StringIO()
    text.write(
        "# side: up or down; slope_deg: angle to the girdle plane, 0 to 90; azimuth_deg: azimuth of the outward normal,\n"
    )
    text.write("# counter-clockwise from +x; distance_mm: distance from the origin along the normal\n")
    for key, value in _notes(stone):
        text.write(f"# {key}: {value}\n")
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    sides, slope, azimuth = facing_deg(stone.normals)
    for f, tier in enumerate(stone.tiers):
        if tier != tier.strip() or any(not c.isprintable() for c in tier):
            raise InputError(
                "invalid tier name for a facet table",
                key="tier",
                value=tier,
                expected="a name without commas, quotes or line breaks",
            )
        numbers = (repr(float(value[f])) for value in (slope, azimuth, stone.distances_mm))
        table.writerow([stone.indices[f], tier, sides[f], *numbers])
    return text.getvalue()


def _notes(stone: Stone) -> Iterator[tuple[str, str]]:
    """The comment lines that describe the stone."""
    yield "unit", "mm"
    if stone.cut:
        yield "cut", stone.cut
    yield "material", named_material(stone)
    if stone.material.absorption:
        yield "absorption_per_mm", " ".join(f"{at!r}:{a!r}" for at, a in stone.material.absorption)
    if any(finish != POLISHED for finish in stone.finishes):
        yield "finish", ", ".join(_finished(stone))
    yield "symmetry", str(stone.symmetry)
    yield "name", " ".join(stone.name.split())


def named_material(stone: Stone) -> str:
    """The name by which a file states a stone's material. Raises InputError for one that its name doesn't give back."""
    try:
        known = get_material(stone.material.name)
    except InputError:
        known = None
    if known is None or known.tinted(0.0).tinted(_pairs(stone.material)) != stone.material.tinted(_pairs(stone.material)):
        raise InputError("unknown material; a stone's file names its material", key="material", value=stone.material.name)
    return stone.material.name


def _pairs(material: Material) -> Any:
    return material.absorption or 0.0


def _finished(stone: Stone) -> Iterator[str]:
    """What is not polished: whole tiers of one finish, and single facets of the other tiers."""
    for tier in dict.fromkeys(stone.tiers):
        facets = [f for f, name in enumerate(stone.tiers) if name == tier]
        finishes = [stone.finishes[f] for f in facets]
        if finishes[0] != POLISHED and len(set(finishes)) == 1:
            yield f"{tier} = {finishes[0]}"
        else:
            unpolished = (f for f in facets if stone.finishes[f] != POLISHED)
            yield from (f"{stone.facet_name(f)} = {stone.finishes[f]}" for f in unpolished)


@reader
def read_facet_table(path: str | Path) -> Stone:
    """The stone in a facet table.

    Raises InputError, one line with file, line, column and value, for anything that can't be used as it stands, and
    StoneError where the facets don't close a stone.
    """
    file = str(path)
    try:
        return _stone(text_of(Path(path)), Path(path).stem)
    except InputError as error:
        if isinstance(error, LineError):
            raise InputError(
                error.problem, key=error.key, value=error.value, expected=error.expected, file=f"{file}:{error.line}"
            ) from error
        raise error.within(file=file) from error


def _stone(text: str, stem: str) -> Stone:
    notes, rows = split(text)
    normals, distances, tiers, indices = [], [], [], []
    seen: dict[tuple[str, int], int] = {}
    for line, row in rows:
        tier, index = _spelled(row["tier"]), whole(line, row["facet"])
        if not tier:
            raise LineError.at(line, "missing", key="tier", expected="a name such as 'crown main'")
        if (tier, index) in seen:
            problem = f"{tier} {index} repeats line {seen[tier, index]}"
            raise LineError.at(line, problem, key="facet", value=index, expected="each facet once")
        seen[tier, index] = line
        slope = number(line, "slope_deg", row["slope_deg"], 0.0, 90.0)
        azimuth = number(line, "azimuth_deg", row["azimuth_deg"], -360.0, 360.0)
        normals.append(normal_of_deg(slope, azimuth, _side(line, tier, row["side"].lower(), slope)))
        distances.append(number(line, "distance_mm", row["distance_mm"], -1e4, 1e4))
        tiers.append(tier)
        indices.append(index)
    if not rows:
        raise InputError("no facets")
    if len(rows) < 4:
        raise StoneError("too few facets to close a stone", key="facets", value=len(rows), expected="4 or more")
    return Stone.from_planes(
        np.array(normals),
        np.array(distances),
        tiers=tiers,
        indices=indices,
        material=_material(notes),
        finishes=_finishes(notes, tiers, indices),
        symmetry=_symmetry(notes),
        cut=_cut(notes),
        name=notes.get("name", (0, stem))[1] or stem,
        measured=True,
    )


def _spelled(tier: str) -> str:
    """A tier's name, that of a known cut in its own spelling: capitals and spaces don't matter."""
    plain = " ".join(tier.lower().split())
    return plain if plain in tiers_by_name() else tier


def _side(line: int, tier: str, word: str, slope: float) -> float:
    """The side that a facet faces. Raises InputError for another word, and for a side that the tier doesn't have."""
    if word not in SIDES or (not word and slope < 90.0):
        raise LineError.at(line, "unknown side", key="side", value=word, expected="up or down")
    known = tiers_by_name()
    of_tier = (
        known[tier].side
        if tier in known
        else next((side for side, name in PLAIN.items() if tier == name or tier.startswith(f"{name} ring ")), "girdle")
    )
    if word and of_tier != "girdle" and word != (wanted := {"crown": "up", "pavilion": "down"}[of_tier]):
        raise LineError.at(line, f"a {tier} that faces {word}", key="side", value=word, expected=wanted)
    return SIDES[word]


def _cut(notes: dict[str, tuple[int, str]]) -> str | None:
    if "cut" not in notes:
        return None
    line, name = notes["cut"]
    try:
        return get_cut(name).name
    except InputError as error:
        raise LineError.at(line, error.problem, key="cut", value=name, expected=error.expected) from error


def _material(notes: dict[str, tuple[int, str]]) -> Material:
    line, name = notes.get("material", (0, "diamond"))
    try:
        material = get_material(name)
    except InputError as error:
        raise LineError.at(line, error.problem, key=error.key, value=error.value, expected=error.expected) from error
    if "absorption_per_mm" not in notes:
        return material
    line, words = notes["absorption_per_mm"]
    pairs = [[number(line, "absorption_per_mm", part, -1e6, 1e6) for part in word.split(":")] for word in words.split()]
    try:
        if len(pairs) == 1 and len(pairs[0]) == 1:
            return material.tinted(pairs[0][0])
        if not pairs or any(len(pair) != 2 for pair in pairs):
            raise InputError("invalid syntax", key="absorption_per_mm", value=words, expected="0.02, or 450:0.1 650:0.02")
        return material.tinted(pairs)
    except InputError as error:
        raise LineError.at(line, error.problem, key="absorption_per_mm", value=words, expected=error.expected) from error


def _finishes(notes: dict[str, tuple[int, str]], tiers: list[str], indices: list[int]) -> list[Finish]:
    """The finish of each facet, polished where the table states none."""
    finishes = [POLISHED] * len(tiers)
    line, words = notes.get("finish", (0, ""))
    for part in filter(None, (part.strip() for part in words.split(","))):
        name, equals, kind = (piece.strip() for piece in part.rpartition("="))
        if not equals:
            raise LineError.at(line, "missing finish", key="finish", value=part, expected=f"'{part} = absorbing'")
        try:
            finish = get_finish(kind)
        except InputError as error:
            raise LineError.at(line, error.problem, key="finish", value=kind, expected=error.expected) from error
        named = [f for f in range(len(tiers)) if name in (tiers[f], f"{tiers[f]} {indices[f]}")]
        if not named:
            raise LineError.at(line, "unknown tier or facet", key="finish", value=name, expected=nearest(name, set(tiers)))
        for f in named:
            finishes[f] = finish
    return finishes


def _symmetry(notes: dict[str, tuple[int, str]]) -> SymmetryGroup:
    line, word = notes.get("symmetry", (0, "1"))
    try:
        return SymmetryGroup.parse(word)
    except InputError as error:
        raise LineError.at(line, error.problem, key=error.key, value=word, expected=error.expected) from error
