"""Compiled code: a cache that never outlives the code it was made from, and one process at a time in parallel kernels."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import raylab
from raylab import jit


def test_a_kernel_is_compiled_anew_when_another_file_of_it_changes(tmp_path):
    copy = tmp_path / "raylab"
    shutil.copytree(Path(raylab.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    kernel, caller = copy / "kernel_of_test.py", copy / "caller_of_test.py"
    kernel.write_text("from .jit import njit\n\n@njit()\ndef level(x):\n    return x + 1.0\n")
    caller.write_text(
        "from .jit import njit\nfrom .kernel_of_test import level\n\n@njit()\ndef doubled(x):\n    return 2.0 * level(x)\n"
    )

    def answer() -> float:
        return float(_python(tmp_path, "from raylab.caller_of_test import doubled; print(doubled(1.0))"))

    assert answer() == 4.0
    assert list(copy.glob("__pycache__/caller_of_test.doubled*.nbi"))
    kernel.write_text(kernel.read_text().replace("x + 1.0", "x + 2.0"))
    assert answer() == 6.0


def test_a_kernel_is_compiled_anew_when_a_constant_of_it_changes(tmp_path):
    """Numbers are compiled in; the file that they stand in holds no kernel."""
    copy = tmp_path / "raylab"
    shutil.copytree(Path(raylab.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "constants_of_test.py").write_text("STEP = 1.0\n")
    (copy / "kernel_of_test.py").write_text(
        "from .constants_of_test import STEP\nfrom .jit import njit\n\n@njit()\ndef level(x):\n    return x + STEP\n"
    )

    def answer() -> float:
        return float(_python(tmp_path, "from raylab.kernel_of_test import level; print(level(1.0))"))

    assert answer() == 2.0
    (copy / "constants_of_test.py").write_text("STEP = 2.0\n")
    assert answer() == 3.0


def test_a_stamp_is_the_same_for_the_same_source_and_one_for_each_module():
    code = "from raylab import jit; print(jit.stamp('raylab.tracers.exact.clipping'))"
    assert jit.stamp("raylab.tracers.exact.clipping") == _python(Path(raylab.__file__).parents[1], code)
    assert jit.stamp("raylab.tracers.exact.clipping") != jit.stamp("raylab.optics.fresnel")
    assert jit.stamp("elsewhere") == jit.stamp("__main__")


def test_a_kernel_is_compiled_anew_when_the_fields_of_its_argument_change_places(tmp_path):
    """The kernel knows a field by its place, and its module need not import the named tuple."""
    copy = tmp_path / "raylab"
    shutil.copytree(Path(raylab.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "kernel_of_test.py").write_text("from .jit import njit\n\n@njit()\ndef first(pair):\n    return pair.a\n")
    tuples = "from typing import NamedTuple\n\nclass Pair(NamedTuple):\n    {}: float\n    {}: float\n"
    code = "from raylab.kernel_of_test import first; from raylab.tuples_of_test import Pair; print(first(Pair(a=1.0, b=2.0)))"
    for order in ("ab", "ba"):
        (copy / "tuples_of_test.py").write_text(tuples.format(*order))
        assert float(_python(tmp_path, code)) == 1.0


KERNELS = ("njit", "parallel_kernel", "cuda.jit", "kernel")


def test_only_kernels_go_without_types():
    """Numba infers theirs, so that the type checker lets untyped functions pass in their packages."""
    found = []
    for path in Path(raylab.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.returns is None:
                makers = {ast.unparse(maker).split("(")[0] for maker in node.decorator_list}
                found += [] if makers & {*KERNELS} else [f"{path.name}: {node.name}"]
    assert found == []


def _python(home: Path, code: str) -> str:
    """What a process prints. It keeps no bytecode: Python takes that of a file of the same size and the same second for new."""
    environment = {**os.environ, "PYTHONPATH": str(home)}
    environment.pop("NUMBA_CACHE_DIR", None)
    done = subprocess.run(
        [sys.executable, "-B", "-c", code], env=environment, cwd=home, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()
