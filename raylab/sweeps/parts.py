"""A finished chunk of a sweep as bytes that prove themselves: which sweep, which designs, and that no bit has changed."""

from __future__ import annotations

import hashlib
import json

import numpy as np

from ..designs.design import COLUMNS

ROW_BYTES = 8 * len(COLUMNS)
HEAD_BYTES = 1000
"""More than a part's first line takes."""


def packed(sweep: str, first: int, rows: np.ndarray) -> bytes:
    """A line of JSON, see `proof`, then the rows (K, len(COLUMNS)) as 64-bit floats, low byte first."""
    return proof(sweep, first, rows) + np.ascontiguousarray(rows, "<f8").tobytes()


def proof(sweep: str, first: int, rows: np.ndarray) -> bytes:
    """The line that proves rows which are kept somewhere.

    Parameters
    ----------
    sweep : what identifies the sweep. first : number of the first design. rows : (K, len(COLUMNS)) its numbers and the next.
    """
    numbers = np.ascontiguousarray(rows, "<f8").tobytes()
    facts = {
        "sweep": sweep,
        "first": first,
        "stop": first + len(rows),
        "columns": len(COLUMNS),
        "sha256": hashlib.sha256(numbers).hexdigest(),
    }
    return json.dumps(facts).encode() + b"\n"


def unpacked(data: bytes, sweep: str, first: int, count: int) -> np.ndarray:
    """The rows (count, len(COLUMNS)) of a part. Raises ValueError where these bytes are not just that part."""
    start = len(data) - count * ROW_BYTES
    if start <= 0:
        raise ValueError("too short")
    rows = np.frombuffer(data, "<f8", offset=start).reshape(count, len(COLUMNS))
    if packed(sweep, first, rows) != data:
        raise ValueError("damaged, or another sweep's")
    return rows
