"""Arrays in the card's memory that are used again: to ask for some, or to hand them back, makes the whole card wait."""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
from numba import cuda

MOST_BYTES = 1 << 30
"""Kept at most while nobody uses them."""


def device_number() -> int:
    """Number of the card in use; 0 under numba-cuda's simulator, which has none."""
    return int(getattr(cuda.get_current_device(), "id", 0))


@functools.lru_cache(maxsize=64)
def few_on_card(numbers: tuple[int, ...], kind: str, device: int) -> Any:
    """A few whole numbers that many launches read, copied to the card once. `device` is its number."""
    return cuda.to_device(np.array(numbers, kind))


class Room:
    """Sets of arrays, each of some shapes and of one kind of number. Any thread may use one."""

    def __init__(self) -> None:
        self._free: list[tuple[Any, tuple[Any, ...]]] = []
        self._lock = threading.Lock()

    @contextmanager
    def lent(self, shapes: Sequence[tuple[int, ...]], kind: Any) -> Iterator[tuple[Any, ...]]:
        """A set with any numbers in it. At the end of the block nothing on the card may use it any more."""
        arrays = self._taken(tuple(shapes), kind)
        try:
            yield arrays
        finally:
            self._give_back(arrays)

    def _taken(self, shapes: tuple[tuple[int, ...], ...], kind: Any) -> tuple[Any, ...]:
        wanted = _key(shapes, kind)
        with self._lock:
            for place, (key, arrays) in enumerate(self._free):
                if key == wanted:
                    del self._free[place]
                    return arrays
        return tuple(cuda.device_array(shape, kind) for shape in shapes)

    def _give_back(self, arrays: tuple[Any, ...]) -> None:
        """Let others use them. Those that nobody used for longest go first."""
        with self._lock:
            self._free.append((_key(tuple(one.shape for one in arrays), arrays[0].dtype), arrays))
            while sum(one.nbytes for _, some in self._free for one in some) > MOST_BYTES:
                del self._free[0]


def _key(shapes: tuple[tuple[int, ...], ...], kind: Any) -> tuple[Any, ...]:
    return shapes, np.dtype(kind), device_number()


ROOM = Room()
