"""Work that takes longer than a picture, done in a thread beside the pages: the report on two stones.

The page receives lines of JSON: ``{"share": 0.3}`` ..., and last the product or the error. When the page is closed, or stops
the report, the work ends at its next pause, see `stopping`.
"""

from __future__ import annotations

import asyncio
import json
import logging
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from ..comparison.comparing import compare
from ..errors import InputError
from ..lighting.dome import Dome
from ..progress import Progress, part_of
from ..report import save_report
from ..scene.view import View
from ..stopping import Stopped, stopped_by
from ..units import number_in
from ..whole_files import temporary_folder
from .design_json import file_stem, stone_of
from .own_domes import dome_of_page
from .questions import REPORT, checked
from .scan_facts import uncertainty_of

Job = Callable[[Progress], dict[str, Any]]

TILTS_DEG, MOST_TILTS = (0.0, 10.0, 20.0), 6
"""Default tilts of a report, degrees, and the largest number of tilts."""

log = logging.getLogger("raylab.workbench")


def report(request: dict[str, Any], domes: Mapping[str, Dome], update: Progress) -> dict[str, Any]:
    """The report on the two stones of a page: its file's name, and the HTML.

    The request holds `designs` and `dome`, and optionally `own_dome`, `title`, `tilts`, `tilt_azimuth_deg` and `known_to_pct`
    (see `compare`), and `looks` (see `save_report`). Raises InputError for an invalid request.
    """
    request = checked(request, REPORT)
    designs = request["designs"]
    if len(designs) != 2:
        raise InputError("wrong number of stones", key="designs", expected="two stones")
    dome = dome_of_page(request, domes)
    stones = [stone_of(design) for design in designs]
    doubts = [uncertainty_of(design, stone) for design, stone in zip(designs, stones, strict=True)]
    view = View(tilt_azimuth_deg=request.get("tilt_azimuth_deg", 0.0))
    tilts = request.get("tilts", TILTS_DEG)
    if not isinstance(tilts, list | tuple) or len(tilts) > MOST_TILTS:
        raise InputError(
            "too many, or not a list", key="tilts", value=tilts, expected=f"a list of at most {MOST_TILTS} numbers"
        )
    known = request.get("known_to_pct", 10.0)
    tilts = [number_in("tilts", tilt, 0.0, 90.0, "degrees") for tilt in tilts]
    looks = request.get("looks", True)
    comparing = part_of(update, 0.0, 0.3 if looks else 1.0)
    found = compare(*stones, dome=dome, view=view, tilts=tilts, uncertainty=doubts, known_to_pct=known, progress=comparing)
    names = "-and-".join(dict.fromkeys(file_stem(stone) for stone in stones))
    with temporary_folder() as folder:
        path = folder / f"report-{names}.html"
        save_report(found, path, title=request.get("title", ""), looks=looks, progress=part_of(update, 0.3, 0.7))
        return {"name": path.name, "html": path.read_text(encoding="utf-8")}


async def streamed(worker: ThreadPoolExecutor, job: Job) -> AsyncIterator[bytes]:
    """Run a job in the worker; progress and result as lines of JSON. Closing the generator stops the job."""
    loop, lines, stopped = asyncio.get_running_loop(), asyncio.Queue[dict[str, Any]](), threading.Event()

    def check() -> None:
        if stopped.is_set():
            raise Stopped

    def update(done: float, total: float) -> None:
        check()
        loop.call_soon_threadsafe(lines.put_nowait, {"share": done / total})

    def run() -> None:
        try:
            with stopped_by(check):
                update(0, 1)
                end = job(update)
        except Stopped:
            end = {"error": {"text": "the work was stopped", "key": None}}
        except InputError as error:
            end = {"error": {"text": str(error), "key": error.key}}
        except Exception as fault:  # a bug: the terminal shows it in full and the page in one line
            log.error("a job failed", exc_info=fault)
            line = f"internal error ({type(fault).__name__}); the terminal shows the details. Please report it."
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
