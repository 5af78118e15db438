"""The files of the package: what is shipped with the code, and which files a module stands on.

A module stands on its own source and on that of every module of raylab that it imports, however deep. This is read from the
source, without importing anything:

* an import within a function counts, one for type checking only doesn't;
* the name of a module in quotes, ``raylab.`` and the rest, is an import that a table defers, and counts;
* a package's ``__init__.py`` counts for each module in it, but for the public door, ``raylab/__init__.py``.

It also stands on the data that these modules open by `shipped`.

Modules are named without the leading ``raylab.``.
"""

from __future__ import annotations

import functools
import os
import re
from pathlib import Path

PACKAGE = Path(__file__).parent

_STATEMENT = re.compile(
    r"^[ \t]*(?:from[ \t]+(?P<base>\.*[\w.]*)[ \t]+import[ \t]+(?P<names>\([^)]*\)|[^\n#]*)|import[ \t]+(?P<whole>[\w., \t]+))",
    re.MULTILINE,
)
_FOR_TYPES = re.compile(r"^if TYPE_CHECKING:\n(?:[ \t]+[^\n]*\n|\n)+", re.MULTILINE)
_QUOTED = re.compile(r"""["']raylab\.([\w.]+)["']""")
_SHIPPED = re.compile(r"""\bshipped\(["']([^"']+)["']\)""")


def shipped(path: str) -> Path:
    """A file or folder that is shipped with the code, by its path below the package; in quotes, so that it is found."""
    return PACKAGE / path


def environment() -> dict[str, str]:
    """The environment of a process that is to import this very package, wherever it was imported from here."""
    path = os.pathsep.join(filter(None, (str(PACKAGE.parent), os.environ.get("PYTHONPATH", ""))))
    return {**os.environ, "PYTHONPATH": path}


@functools.cache
def closure(module: str, package: Path = PACKAGE) -> tuple[str, ...]:
    """Names of the module and of all that it imports, sorted; `package` is the folder of the package to read."""
    found: set[str] = set()
    waiting = [module]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += [*imported(one, package), *_packages_above(one)]
    return tuple(sorted(found))


@functools.cache
def data_files(module: str, package: Path = PACKAGE) -> tuple[Path, ...]:
    """The shipped files that a module itself opens, sorted; of a folder, all that is in it."""
    found: set[Path] = set()
    for path in _SHIPPED.findall(source_files(package)[module].read_text(encoding="utf-8")):
        target = package / path
        found |= {file for file in target.rglob("*") if file.is_file()} if target.is_dir() else {target}
    return tuple(sorted(found))


@functools.cache
def source_files(package: Path = PACKAGE) -> dict[str, Path]:
    """The file of each module by its name; a package's is its ``__init__.py``."""
    found = {}
    for folder, _, names in os.walk(package):
        above = os.path.relpath(folder, package).split(os.sep) if folder != str(package) else []
        for name in names:
            if name.endswith(".py"):
                parts = above if name == "__init__.py" else [*above, name.removesuffix(".py")]
                found[".".join(parts)] = Path(folder, name)
    return found


@functools.cache
def imported(module: str, package: Path = PACKAGE) -> frozenset[str]:
    """Names of the raylab modules that a module imports itself."""
    files = source_files(package)
    file = files[module]
    text = _FOR_TYPES.sub("", file.read_text(encoding="utf-8"))
    home = module.split(".") if file.name == "__init__.py" else module.split(".")[:-1]
    named = set(_QUOTED.findall(text))
    for statement in _STATEMENT.finditer(text):
        if statement["whole"]:
            named |= {name.split()[0].removeprefix("raylab.") for name in statement["whole"].split(",") if "raylab." in name}
            continue
        base = _absolute(statement["base"], home)
        if base is not None:
            names = re.sub(r"#[^\n]*|[()]", "", statement["names"]).split(",")
            named |= {".".join([*base, name.split()[0]]) for name in names if name.strip()}
            named.add(".".join(base))
    return frozenset(name for name in named if name and name in files)


def _absolute(base: str, home: list[str]) -> list[str] | None:
    """The package that ``from base import`` starts from, below raylab; None where it is another project's."""
    dots = len(base) - len(base.lstrip("."))
    rest = [part for part in base[dots:].split(".") if part]
    if dots:
        return [*home[: len(home) - dots + 1], *rest]
    return rest[1:] if rest[:1] == ["raylab"] else None


def _packages_above(module: str) -> list[str]:
    parts = module.split(".")
    return [".".join(parts[:count]) for count in range(1, len(parts))]
