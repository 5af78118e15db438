"""Work that takes longer than a picture, done in a thread beside the pages: the report on two stones.

It is told as it goes, one line of JSON each: ``{"share": 0.3}`` ..., and last what was made or why nothing was. When
the page goes, or no longer wants it, the work ends at its next word.
"""

from __future__ import annotations

import asyncio
import json
import logging
import re
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from ..comparison.comparing import compare
from ..errors import InputError, nearest
from ..lighting.dome import Dome
from ..progress import Progress
from ..report import save_report
from ..scene.view import View
from ..units import number_in
from ..whole_files import temporary_folder
from .design_json import stone_of

Errand = Callable[[Progress], dict[str, Any]]

TILTS_DEG, MOST_TILTS = (0.0, 10.0, 20.0), 6
"""Tilts that a report looks at, and how many it may be asked for."""

log = logging.getLogger("raylab.workbench")


class _StoppedError(Exception):
    """Nobody waits for this work any more."""


def report(asked: Mapping[str, Any], domes: Mapping[str, Dome], tell: Progress) -> dict[str, Any]:
    """The report on the two stones of a page: its file's name, and the HTML.

    Asked are `designs`, `dome`, and perhaps `title`, `tilts`, `tilt_azimuth_deg` and `known_to_pct` (see `compare`). Raises
    InputError for what isn't that.
    """
    designs, dome = asked.get("designs"), str(asked.get("dome"))
    if not isinstance(designs, list) or len(designs) != 2:
        raise InputError("the report sets two stones side by side", key="designs", expected="a second stone beside the first")
    if dome not in domes:
        raise InputError("no dome of this name is at hand", key="dome", value=dome, expected=nearest(dome, domes))
    stones = [stone_of(design) for design in designs]
    view = View(tilt_azimuth_deg=asked.get("tilt_azimuth_deg", 0.0))
    tilts = asked.get("tilts", TILTS_DEG)
    if not isinstance(tilts, list | tuple) or len(tilts) > MOST_TILTS:
        raise InputError("not usable", key="tilts", value=tilts, expected=f"at most {MOST_TILTS} numbers in brackets")
    known = asked.get("known_to_pct", 10.0)
    tilts = [number_in("tilts", tilt, 0.0, 90.0, "degrees") for tilt in tilts]
    found = compare(*stones, dome=domes[dome], view=view, tilts=tilts, known_to_pct=known, progress=tell)
    names = "-and-".join(dict.fromkeys(re.sub(r"[^A-Za-z0-9]+", "-", stone.name).strip("-").lower() for stone in stones))
    with temporary_folder() as folder:
        path = folder / f"report-{names}.html"
        save_report(found, path, title=str(asked.get("title") or ""))
        return {"name": path.name, "html": path.read_text(encoding="utf-8")}


async def told(worker: ThreadPoolExecutor, errand: Errand) -> AsyncIterator[bytes]:
    """Do an errand in the worker; its progress and its end as lines of JSON. Closing this stops the errand."""
    loop, lines, stopped = asyncio.get_running_loop(), asyncio.Queue[dict[str, Any]](), threading.Event()

    def tell(done: float, total: float) -> None:
        if stopped.is_set():
            raise _StoppedError
        loop.call_soon_threadsafe(lines.put_nowait, {"share": done / total})

    def run() -> None:
        try:
            tell(0, 1)
            end = errand(tell)
        except _StoppedError:
            return
        except InputError as error:
            end = {"error": {"text": str(error), "key": error.key}}
        except Exception as fault:  # ours: told on the terminal in full, on the page in a line, and the page lives on
            log.error("an errand failed", exc_info=fault)
            line = f"raylab failed here ({type(fault).__name__}); the terminal tells more. Please report it."
            end = {"error": {"text": line, "key": None}}
        if not stopped.is_set():
            loop.call_soon_threadsafe(lines.put_nowait, end)

    worker.submit(run)
    try:
        line: dict[str, Any] = {"share": 0.0}
        while "share" in line:
            yield json.dumps(line).encode() + b"\n"
            line = await lines.get()
        yield json.dumps(line).encode() + b"\n"
    finally:
        stopped.set()
