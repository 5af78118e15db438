"""Foreign parsers in the test's own process, for tests of many damaged files: a process for each would take minutes."""

from __future__ import annotations

import importlib
import logging

import numpy as np
import pytest

PLACES = ("raylab.stone.scanning.mesh_file.parsed", "raylab.lighting.sky_formats.parsed")


def parsed(module: str, function: str, content: bytes) -> dict[str, np.ndarray]:
    """As `raylab.foreign.parsed`, whose process keeps what the libraries log to itself."""
    logging.disable()
    try:
        return getattr(importlib.import_module(module), function)(content)
    except Exception as error:
        raise ValueError(str(error) or type(error).__name__) from error
    finally:
        logging.disable(logging.NOTSET)


def parse_here(patch: pytest.MonkeyPatch) -> None:
    for place in PLACES:
        patch.setattr(place, parsed)
