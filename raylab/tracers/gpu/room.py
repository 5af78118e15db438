"""Arrays in the card's memory that are used again: to ask for some, or to hand them back, makes the whole card wait."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
from numba import cuda

MOST_BYTES = 1 << 30
"""Kept at most while nobody uses them."""


def device_number() -> int:
    """Number of the card in use; 0 under numba-cuda's simulator, which has none."""
    return int(getattr(cuda.get_current_device(), "id", 0))


class Room:
    """Sets of arrays, each of some shapes and of one kind of number. Any thread may take one and give it back."""

    def __init__(self) -> None:
        self._free: list[tuple[Any, tuple[Any, ...]]] = []
        self._lock = threading.Lock()

    def taken(self, shapes: tuple[tuple[int, ...], ...], kind: Any) -> tuple[Any, ...]:
        """A set with any numbers in it."""
        wanted = _key(shapes, kind)
        with self._lock:
            for place, (key, arrays) in enumerate(self._free):
                if key == wanted:
                    del self._free[place]
                    return arrays
        return tuple(cuda.device_array(shape, kind) for shape in shapes)

    def give_back(self, arrays: tuple[Any, ...]) -> None:
        """Let others take them; nothing on the card uses them any more. Those that nobody took for longest go first."""
        with self._lock:
            self._free.append((_key(tuple(one.shape for one in arrays), arrays[0].dtype), arrays))
            while sum(one.nbytes for _, some in self._free for one in some) > MOST_BYTES:
                del self._free[0]


def _key(shapes: tuple[tuple[int, ...], ...], kind: Any) -> tuple[Any, ...]:
    return shapes, np.dtype(kind), device_number()


ROOM = Room()
