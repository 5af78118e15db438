"""The pages are built without a warning, ask for nothing from elsewhere, and leave out nothing that can be named."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from dataclasses import fields
from html.parser import HTMLParser
from pathlib import Path

import pytest

import raylab as rl
from raylab.cli import app
from raylab.results.statistics import STATISTICS, SYMMETRY
from raylab.stone.facet_table_text import COLUMNS, NOTES
from raylab.stone.known_cuts import measured_by_key

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
sys.path.insert(0, str(DOCS / "_ext"))

import definitions  # noqa: E402

LOADED = {"link": "href", "script": "src", "img": "src", "source": "src", "iframe": "src", "video": "src", "object": "data"}
"""Tags that make a browser ask for something, by the attribute that names it."""
NAVIGATION = ("canonical", "next", "prev", "index", "search", "author", "license")
"""Links that a browser doesn't follow by itself."""


class _Asked(HTMLParser):
    """What a page makes a browser ask for."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        wanted = given.get(LOADED.get(tag, ""))
        if wanted and given.get("rel") not in NAVIGATION:
            self.found.append(wanted)


def asked_for(text: str) -> list[str]:
    """The addresses that a page's text makes a browser ask for, of its tags and styles."""
    parser = _Asked()
    parser.feed(text)
    return [*parser.found, *re.findall(r"url\(\s*['\"]?([^'\")]+)", text), *re.findall(r"@import\s+['\"]([^'\"]+)", text)]


def outside(addresses: list[str]) -> list[str]:
    return [one for one in addresses if re.match(r"(?:[a-z]+:)?//", one) and not one.startswith("data:")]


@pytest.mark.parametrize(
    "text",
    [
        '<script src="https://a.example/x.js"></script>',
        '<link rel="stylesheet" href="//a.example/x.css">',
        "<style>p { background: url(https://a.example/x.png) }</style>",
        '<style>@import "https://a.example/x.css";</style>',
    ],
)
def test_an_address_elsewhere_is_noticed(text):
    assert outside(asked_for(text))


def test_pages(tmp_path):
    """One build for all that is looked at, since it takes half a minute; notebooks as they stand (tests/test_notebooks.py runs
    them)."""
    html = tmp_path / "html"
    quick = ["-D", "nb_execution_mode=off", "-d", str(tmp_path / "doctrees")]
    command = [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-b", "html", *quick, str(DOCS), str(html)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=280)
    assert done.returncode == 0, done.stderr
    files = [path for path in html.rglob("*") if path.suffix in (".html", ".css")]
    assert {str(path): found for path in files if (found := outside(asked_for(path.read_text(encoding="utf-8"))))} == {}
    pages = {path.stem.removeprefix("raylab.") for path in (html / "reference" / "api").glob("raylab.*.html")}
    assert pages == set(rl.__all__) - {"__version__"}
    described = (html / "reference" / "commands.html").read_text(encoding="utf-8")
    commands = [name for name in app if not name.startswith("-")]
    assert len(commands) > 10
    assert [name for name in commands if f'id="raylab-{name}"' not in described] == []
    assert "--tilt-azimuth-deg" in described
    assert "-m sphinx" not in described
    formulas = (html / "reference" / "quantities.html").read_text(encoding="utf-8")
    assert formulas.count("<math") > 20
    assert "mathjax" not in "".join(asked_for(formulas)).lower()


def named(page: str) -> set[str]:
    """The words that a page sets as code in its text and tables, the tables of the library among them."""
    source = (DOCS / page).read_text(encoding="utf-8")
    text = re.sub(r"^```.*?^```$", "", source, flags=re.M | re.S)
    for name, of in re.findall(r"^```\{definitions\} (\w+) ?(.*)$", source, re.M):
        _, rows = definitions.TABLES[name](*filter(None, [of]))
        text += "\n".join(" ".join(row) for row in rows)
    return set(re.findall(r"[A-Za-z_]\w*", " ".join(re.findall(r"`([^`]+)`", text.replace("``", "`")))))


def test_every_quantity_is_defined():
    defined = named("reference/quantities.md")
    no_number = {"name", "material", "cut", "quantities", "facets", "tiers_from"}
    stone = {field.name for field in fields(rl.Measurements)} - no_number
    estimate = {"uncertainty", "shift", *(key for key, part in vars(rl.Estimate).items() if isinstance(part, property))}
    assert len(estimate) > 3
    assert {*STATISTICS, SYMMETRY.key, *measured_by_key(), *stone, *estimate} - defined == set()


def test_every_cut_is_described():
    keys = {one.key for cut in rl.cuts() for one in cut.parameters}
    assert {cut.name for cut in rl.cuts()} <= set(re.findall(r"`([^`]+)`", " ".join(map(" ".join, definitions.cuts()[1]))))
    assert keys - named("reference/files.md") == set()


MAKERS = (rl.round_brilliant, rl.View, rl.TraceSettings, rl.Dome, rl.Zone, rl.Lamp)


@pytest.mark.parametrize("maker", MAKERS, ids=lambda maker: maker.__name__)
def test_every_key_of_a_file_is_described(maker):
    keys = set(inspect.signature(maker).parameters) - {"zones", "lamps"}
    assert keys - named("reference/files.md") == set()


def test_columns_and_notes_of_a_facet_table_are_described():
    assert {*COLUMNS, *NOTES} - named("reference/files.md") == set()


def test_every_package_has_its_layer():
    packages = {path.parent.name for path in Path(rl.__file__).parent.glob("*/__init__.py")}
    assert len(packages) > 10
    assert packages - named("background/physics.md") == set()


def test_readme_is_short():
    assert len((ROOT / "README.md").read_text(encoding="utf-8").split()) <= 700


def test_developers_are_given_the_command_that_builds():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "python -m sphinx -W --keep-going -b html docs docs/_build/html" in text
