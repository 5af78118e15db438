"""Damage to a file's bytes, by one random source: what disks, editors and other programs do to files, and worse."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

NUMBERS = (
    *("nan", "inf", "-inf", "-0", "0", "1", "-1", "1e308", "-1e308", "1e-320", "1e400", "9" * 400, "9" * 5000, "0x10", "1_000"),
    *("2147483648", "-9223372036854775809", "18446744073709551616", "1,5", "1e", "--1", "\u0663", ""),
)
VALUES = ("true", '"text"', '""', "[]", "[[]]", "{}", "{a = 1}", "1979-05-27", "07:32:00", "[1, [2], 'x']", "'''\n'''", "null")
PIECES = (b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r\n", b"\x1b[31m", b'"', b"[" * 3000, b"a." * 3000, b" " * 9999)
_NUMBER = re.compile(rb"[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?")
_VALUE = re.compile(rb"""(?<==)[ \t]*(?:"[^"\n]*"|\[[^\]]*\]|[^\s,]+)|(?<=[,:])[ \t]*[^,\s:]+""")


def flip(data: bytes, random: Random) -> bytes:
    """Up to eight bits flipped."""
    changed = bytearray(data)
    for _ in range(random.randint(1, 8) if data else 0):
        changed[random.randrange(len(changed))] ^= 1 << random.randrange(8)
    return bytes(changed)


def flip_start(data: bytes, random: Random) -> bytes:
    """The same within the first hundred bytes, where headers are."""
    return flip(data[:100], random) + data[100:]


def cut(data: bytes, random: Random) -> bytes:
    return data[: random.randint(0, len(data))]


def drop(data: bytes, random: Random) -> bytes:
    at = random.randint(0, len(data))
    return data[:at] + data[at + random.randint(1, 1 + len(data) // 4) :]


def splice(data: bytes, random: Random) -> bytes:
    """A piece of the file put in elsewhere, up to thirty times."""
    start, at = random.randint(0, len(data)), random.randint(0, len(data))
    piece = data[start : start + random.randint(1, 200)]
    return data[:at] + piece * random.choice((1, 1, 2, 30)) + data[at:]


def insert(data: bytes, random: Random) -> bytes:
    at = random.randint(0, len(data))
    return data[:at] + random.choice(PIECES) + data[at:]


def number(data: bytes, random: Random) -> bytes:
    """A number replaced by one that few expect."""
    return _replaced(data, random, _NUMBER, NUMBERS)


def value(data: bytes, random: Random) -> bytes:
    """A value replaced by one of another type."""
    return _replaced(data, random, _VALUE, VALUES + NUMBERS)


def lines(data: bytes, random: Random) -> bytes:
    """A line left out, doubled, or put elsewhere."""
    rows = data.split(b"\n")
    row = rows.pop(random.randrange(len(rows)))
    for _ in range(random.randint(0, 2)):
        rows.insert(random.randint(0, len(rows)), row)
    return b"\n".join(rows)


def _replaced(data: bytes, random: Random, pattern: re.Pattern[bytes], by: tuple[str, ...]) -> bytes:
    found = list(pattern.finditer(data[:20_000]))
    if not found:
        return flip(data, random)
    one = random.choice(found)
    return data[: one.start()] + random.choice(by).encode() + data[one.end() :]


BINARY: tuple[Callable[[bytes, Random], bytes], ...] = (flip, flip_start, cut, drop, splice, insert)
TEXT = (*BINARY, number, number, number, value, value, value, lines)


def mutated(data: bytes, random: Random, *, text: bool) -> bytes:
    """The bytes with one to four kinds of damage."""
    for _ in range(random.choice((1, 1, 1, 2, 4))):
        data = random.choice(TEXT if text else BINARY)(data, random)
    return data
