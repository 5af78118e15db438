"""Device functions in single precision, from the same source as in double.

Numba takes a literal for a double, and one double in an expression makes all of it double. So a function is compiled from its
own source with its literals and constants as single-precision numbers, and so are all functions that it calls. There is one
text of the physics, and two precisions.
"""

from __future__ import annotations

import ast
import inspect
import math
import textwrap
from collections.abc import Callable
from types import FunctionType
from typing import Any

import numpy as np
from numba import cuda

LARGEST = 1e30
"""In place of larger literals, so that their products are numbers of this precision; 1 over it in place of smaller ones."""
IN_PLACE = {"MARGIN": 4e-6}
"""Constants that are other numbers in this precision: by how much rounding may move a direction after a path's reflections."""
DOUBLE = np.float64
"""What stays double under this name: sums over many rays."""


def single(function: Any) -> Any:
    """The device function that a function, plain or compiled, is in single precision."""
    plain = _plain(function)
    found = _MADE.get(plain)
    if found is None:
        found = _MADE[plain] = cuda.jit(device=True)(single_source(plain))
    return found


def single_source(function: Any) -> Callable[..., Any]:
    """The same as plain Python, which calls what `single` makes of the functions that it calls."""
    plain = _plain(function)
    tree = ast.parse(textwrap.dedent(inspect.getsource(plain)))
    own = {*plain.__code__.co_varnames, *plain.__code__.co_cellvars}
    change = _Change({name: value for name, value in plain.__globals__.items() if name not in own})
    definition = change.visit(tree).body[0]
    definition.decorator_list = []
    space = {**plain.__globals__, **change.names}
    exec(compile(ast.fix_missing_locations(tree), plain.__code__.co_filename, "exec"), space)  # noqa: S102 - our own source
    made: Callable[..., Any] = space[plain.__name__]
    return made


_MADE: dict[FunctionType, Any] = {}


def with_names(function: Any, **names: Any) -> FunctionType:
    """The same function with other values of some names of its module."""
    plain = _plain(function)
    return FunctionType(plain.__code__, {**plain.__globals__, **names}, plain.__name__)


def _plain(function: Any) -> FunctionType:
    """A function as Python has it: compiled, under numba's simulator, or plain."""
    found: FunctionType = getattr(function, "py_func", getattr(function, "fn", function))
    return found


def _number(value: float) -> np.float32:
    if value == 0.0 or not math.isfinite(value):
        return np.float32(value)
    return np.float32(math.copysign(min(max(abs(value), 1.0 / LARGEST), LARGEST), value))


class _Change(ast.NodeTransformer):
    """Puts names of single-precision numbers and of single-precision functions in place."""

    def __init__(self, outside: dict[str, Any]) -> None:
        self.outside, self.names = outside, dict[str, Any]()

    def _constant(self, value: float) -> ast.expr:
        name = f"_single_{len(self.names)}"
        self.names[name] = _number(value)
        return ast.Name(name, ast.Load())

    def visit_Constant(self, node: ast.Constant) -> ast.expr:
        return self._constant(node.value) if isinstance(node.value, float) else node

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        """`math.pi`, `np.float64`."""
        if isinstance(node.value, ast.Name):
            held = self.outside.get(node.value.id)
            if held is math and isinstance(value := getattr(math, node.attr), float):
                return self._constant(value)
            if held is np and node.attr == "float64":
                return ast.Attribute(node.value, "float32", node.ctx)
        return self.generic_visit(node)  # type: ignore[return-value]

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """Constants, functions and the conversion `float`."""
        value = self.outside.get(node.id)
        if not isinstance(node.ctx, ast.Load):
            return node
        if node.id == "float":
            self.names["_single"] = np.float32
            return ast.Name("_single", ast.Load())
        if isinstance(value, float):
            return self._constant(IN_PLACE.get(node.id, value))
        if callable(value) and _is_ours(value):
            self.names[f"_single_{node.id}"] = single(value)
            return ast.Name(f"_single_{node.id}", ast.Load())
        return node


def _is_ours(value: Any) -> bool:
    """Whether it is a compiled function of this package, or what numba's simulator and its switch make of one."""
    plain = _plain(value)
    return isinstance(plain, FunctionType) and plain.__module__.startswith("raylab.")
