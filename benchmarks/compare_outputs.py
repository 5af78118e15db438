"""Compares two folders written by `dump_outputs.py`: proves that a change of the code changed no number.

    python benchmarks/compare_outputs.py BEFORE AFTER
    python benchmarks/compare_outputs.py BEFORE AFTER --only scenes domes --exact
    python benchmarks/compare_outputs.py BEFORE AFTER --wording --allow "optimum:*"

One line per group: how many numbers there are, whether all are identical bit for bit, the largest absolute and relative
difference, the entries that only one dump has, the texts that differ. Details follow below each line. The relative difference
of x and y is |x - y| / max(1, |x|), where x is the number of the first dump. Whole numbers and truth values must be equal.

The exit code is 1 where a number differs by more than 1e-12 (relative), where an entry is missing or new, or where a text
differs. `--exact` also refuses differences in the last bit. `--wording` accepts a text whose words changed while the numbers
in it stayed. `--allow PATTERN` (repeatable; shell wildcards on "group:entry") shows the differences of some entries and
accepts them.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import numpy as np

TOLERANCE = 1e-12
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
ABOUT = "about"
"""Name of the file that says where and when a dump was made. It is not compared."""


@dataclass
class Difference:
    """One entry that is not the same in both dumps.

    Attributes
    ----------
    entry : its name. text : what differs, for a person. absolute, relative : the largest differences, NaN for a text.
    accepted : True where the difference does not fail the comparison.
    """

    entry: str
    text: str
    absolute: float = math.nan
    relative: float = math.nan
    accepted: bool = False


@dataclass
class Group:
    """What was found in one group of entries."""

    name: str
    numbers: int = 0
    texts: int = 0
    unequal: int = 0
    differences: list[Difference] = field(default_factory=list)

    def largest(self, kind: str) -> tuple[float, str]:
        """The largest absolute or relative difference, and the entry that holds it."""
        found = [(getattr(one, kind), one.entry) for one in self.differences if not math.isnan(getattr(one, kind))]
        return max(found, default=(0.0, ""))


@dataclass(frozen=True)
class Rules:
    """Which differences are accepted; see the options."""

    exact: bool = False
    wording: bool = False
    allow: tuple[str, ...] = ()


def compare_group(name: str, before: dict[str, Any], after: dict[str, Any], rules: Rules) -> Group:
    """All entries of one group. Both dumps are given as flat tables: name of the entry -> array, number or text."""
    group = Group(name)
    for entry in [*before, *(entry for entry in after if entry not in before)]:
        if entry not in after:
            found = Difference(entry, "only in the first dump")
        elif entry not in before:
            found = Difference(entry, "only in the second dump")
        else:
            found = _compared(group, entry, before[entry], after[entry], rules)
        if found is not None:
            found.accepted |= any(fnmatchcase(f"{name}:{entry}", pattern) for pattern in rules.allow)
            group.differences.append(found)
    return group


def _compared(group: Group, entry: str, x: Any, y: Any, rules: Rules) -> Difference | None:
    """The difference of one entry that both dumps have, or None; counts it in the group."""
    if isinstance(x, np.ndarray) and isinstance(y, np.ndarray):
        group.numbers += x.size
        return _arrays(group, entry, x, y, rules)
    if _is_number(x) and _is_number(y):
        group.numbers += 1
        return _arrays(group, entry, np.array(x), np.array(y), rules)
    group.texts += 1
    if type(x) is type(y) and x == y:
        return None
    words_only = isinstance(x, str) and isinstance(y, str) and NUMBER.findall(x) == NUMBER.findall(y)
    kind = "words differ, the numbers in them are the same" if words_only else "differs"
    return Difference(entry, f"{kind}: {_where_texts_part(x, y)}", accepted=rules.wording and words_only)


def _arrays(group: Group, entry: str, x: np.ndarray, y: np.ndarray, rules: Rules) -> Difference | None:
    """The largest differences of two arrays of numbers."""
    if x.shape != y.shape:
        return Difference(entry, f"shape {x.shape} became {y.shape}", math.inf, math.inf)
    if x.dtype == y.dtype and x.tobytes() == y.tobytes():
        return None
    a, b = x.astype(float), y.astype(float)
    same = (a == b) | (np.isnan(a) & np.isnan(b))
    with np.errstate(invalid="ignore"):
        absolute = np.where(same, 0.0, np.abs(a - b))
        absolute = np.where(np.isnan(absolute), np.inf, absolute)  # a number against none
        relative = np.where(same, 0.0, absolute / np.maximum(1.0, np.nan_to_num(np.abs(a), posinf=1.0)))
    unequal = int((~same).sum())
    group.unequal += unequal
    at = np.unravel_index(int(relative.argmax()), relative.shape)
    place = str([int(k) for k in at]) if at else ""
    said = f"{unequal} of {x.size} numbers differ; at {place or 'it'}: {x[at].item()!r} became {y[at].item()!r}"
    if not unequal:
        said = "equal, but not bit for bit (sign of zero or type)"
    if x.dtype != y.dtype:
        said += f"; type {x.dtype} became {y.dtype}"
    whole = x.dtype.kind != "f" and y.dtype.kind != "f"
    accepted = not rules.exact and (unequal == 0 if whole else float(relative.max()) <= TOLERANCE)
    return Difference(entry, said, float(absolute.max()), float(relative.max()), accepted)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float)  # truth values too


def _where_texts_part(x: Any, y: Any) -> str:
    """The first line in which two texts differ, cut to a readable length."""
    if not (isinstance(x, str) and isinstance(y, str)):
        return f"{str(x)[:100]!r} became {str(y)[:100]!r}"
    lines, others = x.splitlines(), y.splitlines()
    k = next((k for k, (a, b) in enumerate(zip(lines, others, strict=False)) if a != b), min(len(lines), len(others)))
    a, b = (each[k] if k < len(each) else "(end)" for each in (lines, others))
    start = next((k for k, (p, q) in enumerate(zip(a, b, strict=False)) if p != q), min(len(a), len(b)))
    start = max(0, start - 30)
    return f"line {k + 1}: {a[start : start + 100]!r} became {b[start : start + 100]!r}"


def load_group(folder: Path, name: str) -> dict[str, Any]:
    """One group of a dump as a flat table: arrays by name, then numbers and texts by their place in the JSON file."""
    found: dict[str, Any] = {}
    with np.load(folder / f"{name}.npz", allow_pickle=False) as arrays:
        found.update({key: arrays[key] for key in arrays.files})
    facts = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    for entry, value in facts.items():
        found.update(_flat(entry, value))
    return found


def _flat(place: str, value: Any) -> Iterator[tuple[str, Any]]:
    """Leaves of nested tables and lists by their place. A list of numbers of one kind is one array."""
    if isinstance(value, dict):
        for key, one in value.items():
            yield from _flat(f"{place}.{key}", one)
    elif isinstance(value, list) and value and len({type(one) for one in value}) == 1 and _is_number(value[0]):
        yield place, np.array(value)
    elif isinstance(value, list):
        for k, one in enumerate(value):
            yield from _flat(f"{place}[{k}]", one)
    else:
        yield place, value


def group_names(folder: Path) -> list[str]:
    """Names of the groups in a dump."""
    return sorted(file.stem for file in folder.glob("*.json") if file.stem != ABOUT)


def report(group: Group, most: int) -> bool:
    """Print one group; True where nothing fails."""
    failing = [one for one in group.differences if not one.accepted]
    (absolute, place), (relative, other) = group.largest("absolute"), group.largest("relative")
    state = "bit-identical" if not group.differences else "accepted" if not failing else "DIFFERENT"
    print(f"{group.name:18} {group.numbers:10,d} numbers {group.texts:6,d} texts  {state}", end="")
    if not group.differences:
        print()
        return True
    missing = sum(one.text.startswith("only in") for one in group.differences)
    texts = sum(math.isnan(one.absolute) for one in group.differences) - missing
    print(f"; {group.unequal} numbers differ, {texts} texts differ, {missing} missing or new entries")
    if place:
        print(f"    largest absolute difference {absolute:.3g} in {place}")
        print(f"    largest relative difference {relative:.3g} in {other}")
    order = sorted(group.differences, key=lambda one: (one.accepted, -(math.inf if math.isnan(one.relative) else one.relative)))
    for one in order[:most]:
        sizes = "" if math.isnan(one.relative) else f" (absolute {one.absolute:.3g}, relative {one.relative:.3g})"
        print(f"    {'accepted' if one.accepted else 'FAILS':8} {one.entry}: {one.text}{sizes}")
    if len(order) > most:
        print(f"    ... and {len(order) - most} more entries (--list)")
    return not failing


def main() -> int:
    """Compare, print, and say by the exit code whether the dumps agree."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("before", type=Path)
    parser.add_argument("after", type=Path)
    parser.add_argument("--only", nargs="+", metavar="GROUP", help="compare these groups only")
    parser.add_argument("--skip", nargs="+", metavar="GROUP", default=[], help="leave these groups out")
    parser.add_argument("--exact", action="store_true", help="fail where numbers are not identical bit for bit")
    parser.add_argument("--wording", action="store_true", help="accept texts in which only words changed, no number")
    parser.add_argument("--allow", action="append", default=[], metavar="PATTERN", help='accept entries, as "optimum:*"')
    parser.add_argument("--list", type=int, default=8, metavar="N", help="entries shown per group (8)")
    request = parser.parse_args()
    first, second = group_names(request.before), group_names(request.after)
    if not first or not second:
        parser.error(f"no dump in {request.after if first else request.before}")
    wanted = [name for name in request.only or sorted({*first, *second}) if name not in request.skip]
    rules = Rules(request.exact, request.wording, tuple(request.allow))
    fine = True
    for name in wanted:
        absent = [str(folder) for folder, names in ((request.before, first), (request.after, second)) if name not in names]
        if absent:
            print(f"{name:18} not in {' and '.join(absent)}")
            fine = False
            continue
        found = compare_group(name, load_group(request.before, name), load_group(request.after, name), rules)
        fine &= report(found, request.list)
    print("no difference that counts" if fine else "the dumps differ")
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
