"""What a piece of work takes, said before it starts: memory, disk and time. What can't be is refused."""

from __future__ import annotations

import os
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

from .errors import InputError
from .progress import LONG_S, duration

GB = 1e9
LONGEST_S = 365 * 86400
"""Work that would take longer than a year is refused."""

_LIMITS = ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes")
"""Where Linux says how much memory a container may take."""


@dataclass(frozen=True)
class Need:
    """What a piece of work takes.

    Attributes
    ----------
    what : the work, in the plural, such as ``"36 designs"``.
    memory : at its peak, bytes. disk : in the end, bytes; `place`, where. seconds : None where that isn't known.
    """

    what: str
    memory: float
    disk: float = 0.0
    place: Path | None = None
    seconds: float | None = None

    def __str__(self) -> str:
        parts = [f"{_size(self.memory)} of memory"]
        parts += [f"{_size(self.disk)} on the disk"] if self.place is not None else []
        parts += [f"about {duration(self.seconds)}"] if self.seconds is not None else []
        return f"{self.what} take {', '.join(parts)}"

    def check(self, key: str | None, expected: str) -> None:
        """Raises InputError for the key where the machine hasn't got what is needed; `expected` says what would do."""
        memory = free_memory()
        if memory is not None and self.memory > memory:
            raise InputError(f"{self}; {_size(memory)} of memory are free", key=key, expected=expected)
        if self.place is not None and self.disk > (disk := free_disk(self.place)):
            raise InputError(f"{self}; {_size(disk)} are free on the disk", key=key, expected=expected)
        if self.seconds is not None and self.seconds > LONGEST_S:
            raise InputError(f"{self}, longer than a year", key=key, expected=expected)

    def say(self) -> None:
        """On stderr, where the work is large."""
        if self.memory > GB or self.disk > GB or (self.seconds or 0.0) > LONG_S:
            sys.stderr.write(f"{self}\n")


def free_memory() -> int | None:
    """Bytes that can still be had without paging; None where the system doesn't say."""
    try:
        fields = dict(line.split(":") for line in Path("/proc/meminfo").read_text().splitlines())
        free = 1024 * int(fields["MemAvailable"].split()[0])
    except (OSError, KeyError, ValueError):
        try:
            free = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        except (AttributeError, OSError, ValueError):
            return None
    return min([free, *_limits()])


def used_memory() -> int | None:
    """Bytes of memory that this process holds; None where the system doesn't say."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, AttributeError, ValueError):
        return None


def _limits() -> list[int]:
    found = []
    for file in _LIMITS:
        try:
            found.append(int(Path(file).read_text()))
        except (OSError, ValueError):  # no container, or one without a limit
            continue
    return found


def free_disk(place: Path) -> int:
    """Bytes that are free where a file or folder is to be, in a folder that may not be there yet."""
    for one in (place.absolute(), *place.absolute().parents):
        try:
            return shutil.disk_usage(one).free
        except OSError:  # not there yet, or in a folder that can't be looked into
            continue
    return 0


def _size(count: float) -> str:
    """In GB, in MB where that is less than a tenth of one, or in kB where it is less than one MB.

    >>> _size(2e4), _size(2.5e7), _size(2.52e9)
    ('20 kB', '25 MB', '2.5 GB')
    """
    if count < 1e6:
        return f"{count / 1e3:.0f} kB"
    return f"{count / 1e6:.0f} MB" if count < GB / 10 else f"{count / GB:,.1f} GB"
