"""Work in threads: handed on in order, few pieces ahead, faults told where they are awaited."""

from __future__ import annotations

import doctest
import threading

import pytest

from raylab import threads
from raylab.threads import in_order


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(threads).failed == 0


def test_pieces_come_in_order_whoever_is_done_first():
    late = threading.Event()

    def work(item):
        if item == 0:
            assert late.wait(30.0)
        else:
            late.set()
        return item

    assert list(in_order(work, range(20), threads=2)) == list(range(20))


def test_no_more_than_requested_are_begun_ahead():
    begun = []
    pieces = in_order(lambda item: begun.append(item) or item, range(100), threads=3)
    assert next(pieces) == 0
    assert len(begun) <= 4
    pieces.close()
    assert len(begun) <= 4


def test_faults_are_raised_where_the_piece_is_awaited():
    def work(item):
        if item == 2:
            raise ValueError("the third")
        return item

    pieces = in_order(work, range(50), threads=2)
    assert [next(pieces), next(pieces)] == [0, 1]
    with pytest.raises(ValueError, match="the third"):
        next(pieces)
