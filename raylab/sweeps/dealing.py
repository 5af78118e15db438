"""How the designs of a sweep are dealt out: blocks that are written at once, and in each the chunks that are traced at once.

Both are runs of designs in their order. A result in one file is one block. A result in pieces is a Zarr array of chunks of one
shape, and a block is one of those: as much of the last axes as fits, so that it is a run of designs too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

BLOCK = 1 << 16
"""Most designs of a block of a result in pieces: half a megabyte of each variable."""


def block_shape(shape: Sequence[int], most: int = BLOCK) -> tuple[int, ...]:
    """The shape of blocks of at most `most` designs of an array of this shape, each a run in its order.

    >>> block_shape((7, 100, 300), 65536), block_shape((1_000_000,), 65536)
    ((2, 100, 300), (65536,))
    """
    found: list[int] = []
    for size in reversed(shape):
        found.insert(0, min(size, max(1, most)))
        most = most // size
    return tuple(found)


@dataclass(frozen=True)
class Deal:
    """The blocks and chunks of a sweep, numbered from 0.

    Attributes
    ----------
    shape : sizes of the result's dimensions. block : sizes of a block; those at the end of an axis may be smaller.
    size : designs in a chunk; those at the end of a block may be smaller.
    """

    shape: tuple[int, ...]
    block: tuple[int, ...]
    size: int

    @property
    def blocks(self) -> int:
        """How many blocks there are."""
        return math.prod(-(-size // step) for size, step in zip(self.shape, self.block, strict=True))

    @property
    def chunks(self) -> int:
        """How many chunks there are; of those, some in a smaller block may be empty."""
        return self.blocks * self._each

    @property
    def _each(self) -> int:
        """Chunks in a block."""
        return -(-math.prod(self.block) // self.size)

    def corner(self, block: int) -> tuple[tuple[int, int], ...]:
        """First index and the one after the last of a block, along each dimension."""
        counts = [-(-size // step) for size, step in zip(self.shape, self.block, strict=True)]
        ends = []
        for size, step, count in reversed(list(zip(self.shape, self.block, counts, strict=True))):
            block, at = divmod(block, count)
            ends.append((at * step, min((at + 1) * step, size)))
        return tuple(reversed(ends))

    def block_span(self, block: int) -> tuple[int, int]:
        """Number of a block's first design and the one after its last."""
        first, count = 0, 1
        for size, (low, high) in zip(self.shape, self.corner(block), strict=True):
            first, count = first * size + low, count * (high - low)
        return first, first + count

    def block_of(self, chunk: int) -> int:
        """The block in which a chunk lies."""
        return chunk // self._each

    def span(self, chunk: int) -> tuple[int, int]:
        """Number of a chunk's first design and the one after its last; equal where it is empty."""
        start, stop = self.block_span(self.block_of(chunk))
        first = min(start + chunk % self._each * self.size, stop)
        return first, min(first + self.size, stop)
