"""One answer is one binary message: a JSON header, then the arrays that it names.

4 bytes   length of the header, little-endian
header    JSON in UTF-8, padded with spaces so that what follows starts at a multiple of 8
arrays    end to end, each padded to a multiple of 8; header["arrays"] says name, kind, shape and place from here
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from ..files import finite

_KINDS = {np.dtype("<f4"): "float32", np.dtype("<i4"): "int32"}
_GRAIN = 8


def encode(header: dict[str, Any], arrays: dict[str, np.ndarray] | None = None) -> bytes:
    """An answer as bytes; arrays are sent as 32-bit floats or integers, numbers that aren't finite as null.

    Half a character (a lone surrogate), which UTF-8 has no bytes for, becomes a question mark.
    """
    parts, layout, used = [], [], 0
    for name, array in (arrays or {}).items():
        small = np.ascontiguousarray(array, dtype="<i4" if np.issubdtype(array.dtype, np.integer) else "<f4")
        data = small.tobytes()
        layout.append({"name": name, "kind": _KINDS[small.dtype], "shape": list(small.shape), "at": used})
        parts.append(data + b"\0" * (-len(data) % _GRAIN))
        used += len(parts[-1])
    text = _json({**header, "arrays": layout}).encode("utf-8", "replace")
    text += b" " * (-(len(text) + 4) % _GRAIN)
    return b"".join([len(text).to_bytes(4, "little"), text, *parts])


def _json(header: dict[str, Any]) -> str:
    """A header as JSON. Most hold no number that is not finite, and looking for one takes longer than all the rest."""
    how: dict[str, Any] = {"ensure_ascii": False, "allow_nan": False, "separators": (",", ":")}
    try:
        return json.dumps(header, **how)
    except ValueError:
        return json.dumps(finite(header), **how)
