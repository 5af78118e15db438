"""How many arguments a function takes: every signature of the package, read from the source.

A kernel takes at most 16 arguments and any other function at most 8; a named tuple counts as one. What people call with
keywords has as many as it needs: constructors, the functions in `raylab.__all__`, the functions that a cut or a command is.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import raylab

ROOT = Path(raylab.__file__).parent
KERNEL, PLAIN = 16, 8
DECORATORS = {"njit", "parallel_kernel", "cuda.jit", "kernel"}
OPEN: dict[str, int] = {}
"""Functions that still take more, and how many."""


def is_kernel(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    names = (one.func if isinstance(one, ast.Call) else one for one in function.decorator_list)
    return any(ast.unparse(name) in DECORATORS for name in names)


def signatures(path: Path) -> Iterator[tuple[str, int, bool]]:
    """Dotted name, number of arguments (``self`` and ``cls`` aside) and whether it is a kernel, of each function in a file."""

    def walk(node: ast.AST, prefix: str, in_class: bool) -> Iterator[tuple[str, int, bool]]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                name, given = prefix + child.name, child.args
                static = any(isinstance(one, ast.Name) and one.id == "staticmethod" for one in child.decorator_list)
                listed = len(given.posonlyargs) + len(given.args) - (in_class and not static)
                yield name, listed + len(given.kwonlyargs) + bool(given.vararg) + bool(given.kwarg), is_kernel(child)
                yield from walk(child, f"{name}.", False)
            elif isinstance(child, ast.ClassDef):
                yield from walk(child, f"{prefix}{child.name}.", True)
            else:
                yield from walk(child, prefix, in_class)

    yield from walk(ast.parse(path.read_text(encoding="utf-8")), "", False)


def exempt(module: str, name: str) -> bool:
    """Constructors, the public door, cuts and commands."""
    if name.endswith("__init__") or name in ("Stone.from_planes",):
        return True
    if raylab._HOME.get(name) == module:
        return True
    return not name.startswith("_") and "." not in name and module.startswith(("cli.", "stone.cuts."))


def too_many(root: Path) -> dict[str, int]:
    found = {}
    for path in sorted(root.rglob("*.py")):
        module = ".".join(path.relative_to(root).with_suffix("").parts)
        for name, count, kernel in signatures(path):
            if count > (KERNEL if kernel else PLAIN) and (kernel or not exempt(module, name)):
                found[f"{module}.{name}"] = count
    return found


def test_no_function_takes_too_many_arguments():
    assert too_many(ROOT) == OPEN


@pytest.mark.parametrize(
    ("source", "found"),
    [
        (f"def f({', '.join('abcdefghi')}): ...", {"m.f": 9}),
        (f"def f({', '.join('abcdefgh')}): ...", {}),
        ("def f(a, b, /, c, d, *e, f, g, h, **i): ...", {"m.f": 9}),
        (f"@njit()\ndef k({', '.join('abcdefghijklmnop')}): ...", {}),
        (f"@parallel_kernel\ndef k({', '.join('abcdefghijklmnopq')}): ...", {"m.k": 17}),
        (f"class C:\n    def m(self, {', '.join('abcdefghi')}): ...", {"m.C.m": 9}),
        (f"class C:\n    def __init__(self, {', '.join('abcdefghi')}): ...", {}),
        (f"class C:\n    @staticmethod\n    def m({', '.join('abcdefghi')}): ...", {"m.C.m": 9}),
        (f"if True:\n    def f():\n        def g({', '.join('abcdefghi')}): ...", {"m.f.g": 9}),
    ],
)
def test_a_function_that_takes_too_many_is_found(tmp_path, source, found):
    (tmp_path / "m.py").write_text(source, encoding="utf-8")
    assert too_many(tmp_path) == found
