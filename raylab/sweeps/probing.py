"""What a design of a sweep costs: a few are traced before the sweep is cut into chunks.

They are traced in this process, whose time is taken for that of the others. Where a device traces, they are traced where the
sweep will be: in a worker process, so that this one, which only waits, holds nothing on the device, or by a worker of the
cluster, since this machine may have no device.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..designs.columns import Columns
from ..designs.design import trace_designs
from ..scene.settings import TraceSettings
from ..tracers.engine import BatchEngine, DeviceEngine
from ..tracers.engines import engine_named
from .axes import Plan
from .engine_choice import builds_every
from .workers import answer_of

PLACES, NEAR = 4, 256
"""Where designs are taken from; and in how many from there on one is looked for that meets the conditions."""
ONE, TOGETHER, BUILT = 1, 16, 1024
"""Designs at each place: of an engine that traces one after the other, many together, and that builds stones too."""


@dataclass(frozen=True)
class Probe:
    """Some runs of designs, and the settings of their traces."""

    runs: Sequence[Columns]
    settings: TraceSettings

    def traced(self) -> float:
        """Seconds that a design takes; one of them is traced before, which compiles, or reads what was compiled."""
        trace_designs(self.runs[0].at(np.arange(1)), self.settings)
        start = time.perf_counter()
        for some in self.runs:
            trace_designs(some, self.settings)
        return (time.perf_counter() - start) / sum(map(len, self.runs))


def cost_s(plan: Plan, settings: TraceSettings, first: int, around: Sequence[Mapping[str, str]], client: Any) -> float:
    """Seconds that a design takes.

    Parameters
    ----------
    first : the number of a design that is traced. around : for each process beside this one that will trace, what is added to
        its environment. client : of the cluster that traces, or None.
    """
    engine = engine_named(str(settings.engine))
    run = BUILT if builds_every(plan, engine) else TOGETHER if isinstance(engine, BatchEngine) else ONE
    places = np.linspace(0, len(plan) - 1, min(PLACES, len(plan))).astype(int).tolist()
    runs = [some for place in places if len(some := _kept_run(plan, place, run))] or [_kept_run(plan, first, 1)]
    probe = Probe([some.trimmed() for some in runs], settings)
    if isinstance(engine, DeviceEngine) and client is not None:
        return float(client.submit(probe.traced, pure=False).result())
    if isinstance(engine, DeviceEngine) and len(around) > 1:
        return float(answer_of(probe, around[0]))
    return probe.traced()


def _kept_run(plan: Plan, place: int, count: int) -> Columns:
    """As many designs from a number on, of those that meet the conditions."""
    stop = place + (max(NEAR, count) if plan.conditions else count)
    return plan.run(place, stop).at(np.flatnonzero(plan.kept(place, stop))[:count])
