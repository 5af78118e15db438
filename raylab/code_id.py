"""Which code computes a product: a hash of all source and data that decide it, and of the libraries it stands on.

A sweep that goes on after an interruption, or that is shared out to other machines, and a film whose stills are kept, must be
computed by the same code; the version number alone does not distinguish two states of a working copy.
"""

from __future__ import annotations

import functools
import hashlib
from importlib.metadata import version
from pathlib import Path

from .package_files import PACKAGE, closure, data_files, source_files

NEUTRAL = ("compiling", "errors", "foreign", "locks", "progress", "reading", "room", "staging", "version", "whole_files")
"""Modules that decide no product: what messages say, what is shown of the work, and how files come to the disk."""

LIBRARIES = ("numpy", "scipy", "numba", "llvmlite")
"""Libraries that affect the numbers."""


@functools.cache
def code_id(module: str) -> str:
    """SHA-256 (hexadecimal) of the code that a module's product depends on, such as ``"designs.design"``."""
    return fingerprint(module)


def fingerprint(module: str, package: Path = PACKAGE) -> str:
    """The same, of the package in a folder."""
    digest = hashlib.sha256(b"raylab code 2\n")
    files = source_files(package)
    for name in closure(module, package):
        if name not in NEUTRAL:
            for file in (files[name], *data_files(name, package)):
                digest.update(f"{file.relative_to(package).as_posix()}\n".encode() + file.read_bytes())
    for library in LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()
