"""Step cuts: on each side of the outline rows of facets, step below step, whose edges run level.

All lengths are shares of the width. The sides move inward together: a step begins, at one height, where all sides of the
outline have moved inward by one length, cut corners by so much that they keep their share of what is left of the width. The
slope stated is that of the sides; a side that moves farther has a flatter one. The steps of a crown, and those of a pavilion,
are equally wide in plan. The pavilion's run until nothing is left of the outline: a long one ends in a keel. A side that the
others squeeze out on the way, such as the narrow end of a tapered outline, has no facet farther in.
"""

from __future__ import annotations

import itertools
import math
from typing import NamedTuple

import numpy as np

from ...plane_geometry import following
from ..planes import DOWN, UP
from ..tier import GIRDLE, TABLE, Side, Tier
from .cut import Facets, Reason
from .outlines import Sides
from .parameter import Values

MOST_STEPS = 5
_NOTHING = 1e-9
"""An edge that is no longer than this share of the width is none."""
_WORDS = ("first", "second", "third", "fourth", "fifth")


def _tiers(side: Side) -> tuple[Tier, ...]:
    """The steps of one side, from the girdle on."""
    return tuple(
        Tier(f"{word} {side} step", side, mates=(GIRDLE.name,) if k == 0 else (f"{_WORDS[k - 1]} {side} step",))
        for k, word in enumerate(_WORDS)
    )


CROWN_STEPS, PAVILION_STEPS = _tiers("crown"), _tiers("pavilion")
TIERS = (TABLE, *reversed(CROWN_STEPS), GIRDLE, *PAVILION_STEPS)
"""From the table down."""

STEPS_TOO_FLAT = Reason("steps_too_flat", "crown_step_deg", "the crown's last step would be level or fall inward")
PAVILION_TOO_FLAT = Reason("pavilion_steps_too_flat", "pavilion_step_deg", "the pavilion's last step would be level or rise")
TABLE_SQUEEZED = Reason("side_squeezed_out", "table_pct", "a side of the outline has no edge left at the table")
REASONS = (STEPS_TOO_FLAT, PAVILION_TOO_FLAT, TABLE_SQUEEZED)


class Plan(NamedTuple):
    """An outline's sides, and how they move inward.

    flat : (K, 2) their normals. far : (K,) their distances from the axis. rate : (K,) how far each moves as a multiple of the
    length that the sides move. deepest : the length after which nothing is left.
    """

    flat: np.ndarray
    far: np.ndarray
    rate: np.ndarray
    deepest: float

    @staticmethod
    def of(outline: Sides, rate: np.ndarray | float = 1.0) -> Plan:
        """That of an outline whose sides move at these rates (K,)."""
        normals, far = outline.flats()
        rates = np.broadcast_to(rate, far.shape)
        return Plan(normals[:, :2], far, rates, _deepest(normals[:, :2], far, rates))


def facets_on(outline: Sides, values: Values, rate: np.ndarray | float = 1.0) -> list[Facets]:
    """The facets of a step cut on an outline of width 1, whose sides move inward at these rates, see `Plan`.

    Raises StoneError, for one of `REASONS`, where the proportions make no stone.
    """
    plan, rim = Plan.of(outline, rate), values["girdle_pct"] / 200.0
    inward = plan.deepest * (1.0 - values["table_pct"] / 100.0)
    if not _left(plan, inward).all():
        raise TABLE_SQUEEZED.error(values["table_pct"])
    crown = _slopes(values, "crown", STEPS_TOO_FLAT)
    pavilion = _slopes(values, "pavilion", PAVILION_TOO_FLAT)
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), rim + sum(crown) * inward / len(crown)),
        *_steps(plan, crown, inward, CROWN_STEPS, UP, rim),
        Facets(GIRDLE, *outline.flats()),
        *_steps(plan, pavilion, plan.deepest, PAVILION_STEPS, DOWN, rim),
    ]
    return sorted(facets, key=lambda one: TIERS.index(one.tier))


def corner_rates(corner: float) -> np.ndarray:
    """(8,) the rates of a rectangle's sides and of its corners, cut back by `corner`, which keep their share of the width."""
    sides = [1.0, math.sqrt(2.0) * (1.0 - corner)]
    return np.array(sides * 4)


def flattening(first_deg: float, less_deg: float, count: int, reason: Reason) -> list[float]:
    """The tangents of `count` slopes, each flatter than the one before by `less_deg`.

    Raises `reason` where the last one would be level.
    """
    if not first_deg - (count - 1) * less_deg > 0.0:
        raise reason.error(less_deg)
    return [math.tan(math.radians(first_deg - k * less_deg)) for k in range(count)]


def _slopes(values: Values, side: Side, reason: Reason) -> list[float]:
    """The tangents of a side's slopes, from the girdle on."""
    return flattening(values[f"{side}_angle_deg"], values[f"{side}_step_deg"], values[f"{side}_steps"], reason)


def _steps(plan: Plan, tangents: list[float], whole: float, tiers: tuple[Tier, ...], side: float, rim: float) -> list[Facets]:
    """The steps of crown or pavilion, whose sides move inward by `whole`."""
    facets, height = [], rim
    for k, tangent in enumerate(tangents):
        inward = whole * k / len(tangents)
        left = _left(plan, inward)
        slope = (tangent / plan.rate)[left]
        long = np.hypot(slope, 1.0)
        normals = np.column_stack([slope[:, None] * plan.flat[left], np.full(len(slope), side)]) / long[:, None]
        facets.append(Facets(tiers[k], normals, (height + slope * (plan.far - plan.rate * inward)[left]) / long))
        height += tangent * whole / len(tangents)
    return facets


def _left(plan: Plan, inward: float) -> np.ndarray:
    """(K,) which sides still have an edge when they have moved inward."""
    flat, far = plan.flat, plan.far - plan.rate * inward
    left = np.ones(len(far), bool)
    while True:  # the side whose edge has turned over most goes first, and its neighbours meet
        kept = np.flatnonzero(left)
        after = following(kept)
        ahead = np.linalg.solve(
            np.stack([flat[kept], flat[after]], axis=1), np.stack([far[kept], far[after]], axis=1)[..., None]
        )
        run = (ahead - np.roll(ahead, 1, axis=0))[..., 0]
        edge = run[:, 1] * flat[kept, 0] - run[:, 0] * flat[kept, 1]
        if edge.min() > _NOTHING:
            return left
        left[kept[edge.argmin()]] = False


def _deepest(flat: np.ndarray, far: np.ndarray, rate: np.ndarray) -> float:
    """How far sides move inward until nothing is left: the largest r with a point p such that n.p + rate r <= d for all.

    At the largest r three of the sides meet.
    """
    three = np.array(list(itertools.combinations(range(len(far)), 3)))
    meeting = np.concatenate([flat[three], rate[three][..., None]], axis=2)
    sound = np.abs(np.linalg.det(meeting)) > _NOTHING
    points = np.linalg.solve(meeting[sound], far[three[sound]][..., None])[..., 0]
    within = (points[:, :2] @ flat.T + points[:, 2:] * rate <= far + _NOTHING).all(axis=1)
    return float(points[within, 2].max())
