"""`Goal`: what is wanted of area means, for engines that go on until it is reached."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from .totals import Totals


@dataclass(frozen=True)
class Goal:
    """How far the statistics of some area means are from what is wanted of them.

    Attributes
    ----------
    width : totals -> the widest certain bracket among the statistics that count, as a multiple of the wanted width; None where
        the untraced share alone decides.
    error : totals -> the largest standard error among them, as a multiple of the wanted one; None where none is asked for.
    derivatives : (MOMENTS,) area means -> (S, MOMENTS) the derivatives by them of the statistics that count, by which an engine
        draws more rays where they change the statistics more; None: rays are drawn by the light that they stand for.
    early : whether an exact engine may leave more light to rays than the settings' untraced share, where that is cheaper.

    Of the totals of many scenes `width` and `error` give arrays, a number for each.
    """

    width: Callable[[Totals], Any] | None = None
    error: Callable[[Totals], Any] | None = None
    derivatives: Callable[[np.ndarray], np.ndarray] | None = None
    early: bool = True
