"""scipy's convex hulls (qhull) without the rest of scipy.

Every stone needs a hull, and `scipy.spatial` imports half of scipy, which takes a large part of the time of a short command.
The hulls are one compiled module, which needs another one for linear algebra. Both are loaded here without the packages around
them. They don't stay in `sys.modules`: a later import of these packages is complete, and gets the same two modules.
"""

from __future__ import annotations

import importlib
import sys
from importlib.machinery import PathFinder
from importlib.util import module_from_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import scipy

_COMPILED = ("scipy.linalg.cython_lapack", "scipy.spatial._qhull")
"""What is loaded, in this order."""


def _hulls() -> Any:
    """The module that holds `ConvexHull` and `QhullError`."""
    loaded = []
    try:
        for name in _COMPILED:
            if name not in sys.modules:
                sys.modules[name] = _alone(name)
                loaded.append(name)
        return sys.modules[_COMPILED[-1]]
    except ImportError:  # a scipy with another layout
        return importlib.import_module("scipy.spatial")
    finally:
        for name in loaded:
            del sys.modules[name]


def _alone(name: str) -> Any:
    """A compiled module of scipy without the packages that it lies in. Raises ImportError where there is none."""
    folder = Path(scipy.__path__[0]).joinpath(*name.split(".")[1:-1])
    spec = PathFinder.find_spec(name, [str(folder)])
    if spec is None or spec.loader is None:
        raise ImportError(f"no module {name}", name=name)
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


if TYPE_CHECKING:
    from scipy.spatial import ConvexHull, QhullError
else:
    _MODULE = _hulls()
    ConvexHull, QhullError = _MODULE.ConvexHull, _MODULE.QhullError

__all__ = ["ConvexHull", "QhullError"]
