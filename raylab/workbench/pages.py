"""The workbench's routes: the page, its files, one WebSocket per page, and the threads that compute for all pages.

Every page has its own request queue. One thread computes pictures, one at a time, and pages take turns; one computes strips, so
that no page's picture waits for another page's strips; one makes colour pictures, films and other errands; one makes reports.
The event loop only carries messages, so a page stays responsive while another picture is in work. What a request may take is in
`bounds`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any, ParamSpec, TypeVar

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.websockets import WebSocket, WebSocketDisconnect

from ..comparison.uncertainty import COVERAGE
from ..cutting.last_facets import CHOICES
from ..errors import InputError
from ..lighting.dome import Dome
from ..lighting.dome_file import dome_names, load_dome
from ..optics.materials import get_material, materials, other_names, spelled
from ..results.statistics import STATISTICS, SYMMETRY, Description
from ..stone.index_wheel import WHEELS
from ..stone.known_cuts import cuts, measured_of
from ..stone.stone_file import STONE_READERS
from ..stone.tier import GIRDLE
from ..stopping import Stopped, stopped_by
from ..tracers.ledger import ENTRIES
from ..units import number_in
from ..version import __version__
from .answers import COARSE, Answerer
from .background import report, streamed
from .bodies import body_of, refusal
from .color_maps import MADE
from .colors import color_tables, legends
from .conversation import Conversation
from .cut_facts import cut_facts, measured_facts, parameter_facts
from .dark_facts import shown_numbers
from .derived_designs import GRIND
from .file_exchange import MAX_BYTES, SAVED, UNITS, Opened, open_any, saved
from .inclusion_facts import shown_shapes
from .own_domes import dome_keys
from .questions import LONGEST_ECHO, MAX_QUESTION, SAVE, checked, parsed
from .strips import shown_facts
from .surrogate_maps import SUFFIX, around, of_file
from .visibility_slices import visibility_slices

USUAL_DOME = "head-shadow"

ERRANDS = {**MADE, "visibility": visibility_slices, "surrogate": around}
"""What is made of one stone while the page waits, by the last part of its address."""

Given = ParamSpec("Given")
Made = TypeVar("Made")


@dataclass
class Workbench:
    """What all pages share: the stone they open with, the domes, and the threads that compute pictures, strips and jobs.

    Attributes
    ----------
    ended : True once the server ends, and with it all work.
    """

    opened: Opened
    domes: dict[str, Dome] = field(default_factory=lambda: {name: load_dome(name) for name in dome_names()})
    worker: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "raylab-workbench"))
    colors: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "raylab-colors"))
    strips: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "raylab-strips"))
    jobs: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "raylab-jobs"))
    ended: bool = False

    def __post_init__(self) -> None:
        if self.opened.dome is not None:
            self.domes.setdefault(self.opened.dome.name, self.opened.dome)

    def start(self) -> dict[str, Any]:
        """What a page needs before it asks anything."""
        opened = self.opened
        return {
            "version": __version__,
            "title": opened.title,
            "design": opened.design,
            "dome": self.dome,
            "tilt_deg": opened.tilt_deg,
            "tilt_azimuth_deg": opened.tilt_azimuth_deg,
            "surrogate": opened.surrogate,
            "domes": [{"name": name, "description": dome.description} for name, dome in self.domes.items()],
            "cuts": [cut_facts(cut) for cut in cuts()],
            "girdle": GIRDLE.name,
            "measured": [measured_facts(one) for one in measured_of(None)],
            "last_facets": [parameter_facts(one) for one in (*CHOICES, GRIND)],
            "materials": [
                {"name": name, "label": _label(name), "other_names": other_names(name), "note": get_material(name).remark}
                for name in materials()
            ],
            "statistics": [_described(one) for one in (*STATISTICS.values(), SYMMETRY)],
            "coverage": COVERAGE,
            "strips": shown_facts(),
            "darkness": shown_numbers(),
            "inclusions": shown_shapes(),
            "maps": legends(),
            "colors": color_tables(),
            "units": UNITS,
            "wheels": WHEELS,
            "readable": [*STONE_READERS, SUFFIX],
            "saved": list(SAVED),
            "max_bytes": MAX_BYTES,
        }

    @property
    def dome(self) -> str:
        """The name of the dome that pages open with."""
        return self.opened.dome.name if self.opened.dome is not None else USUAL_DOME

    def warm(self) -> None:
        """Answer a first question before anybody asks, so that compiled code is loaded when the page needs it."""
        question = {"kind": "picture", "step": COARSE, "design": self.opened.design, "dome": self.dome, "maps": ["leak"]}
        self.until_the_end(Answerer(self.domes).answer, question)

    def end(self) -> None:
        """End all work, and the threads that do it."""
        self.ended = True
        for worker in (self.worker, self.colors, self.strips, self.jobs):
            worker.shutdown(wait=False, cancel_futures=True)

    def until_the_end(self, work: Callable[Given, Made], *args: Given.args, **named: Given.kwargs) -> Made:
        """The work done in this thread; raises Stopped where the server ends first."""
        with stopped_by(self._end_with_the_server):
            return work(*args, **named)

    def _end_with_the_server(self) -> None:
        if self.ended:
            raise Stopped


class Pages:
    """The routes."""

    def __init__(self, workbench: Workbench, static: Path) -> None:
        self.workbench, self.static = workbench, static
        self.opening = asyncio.Semaphore(1)  # a file may take seconds and much memory: one at a time is received and read

    async def index(self, _: Request) -> Response:
        return FileResponse(self.static / "index.html")

    async def start(self, _: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(self.workbench.start))

    async def open(self, request: Request) -> Response:
        """A file that the page sends becomes a design, a dome, or the surrogates of a sweep."""
        asked = request.query_params
        name, unit, noise = asked.get("name", "file"), asked.get("unit") or None, asked.get("noise_um") or None
        try:
            noise_um = None if noise is None else _number("noise_um", noise)
            async with self.opening:
                data = await body_of(request, MAX_BYTES, name[:120])
                if name.lower().endswith(SUFFIX):
                    return JSONResponse({"surrogate": await self._beside(of_file, PurePosixPath(name).name[:120], data)})
                opened = await self._beside(open_any, name, data, unit, noise_um, self.workbench.domes)
        except InputError as error:
            return refusal(error)
        if isinstance(opened, dict):
            return JSONResponse({"dome": opened})
        return JSONResponse({"design": opened.design, "title": opened.title})

    async def save(self, request: Request) -> Response:
        """A design becomes a file that the browser keeps."""
        try:
            question = checked(parsed(await body_of(request, MAX_QUESTION)), SAVE)
            dome = dome_keys(question)
            view = {key: number_in(key, question.get(key, 0.0), -360.0, 360.0) for key in ("tilt_deg", "tilt_azimuth_deg")}
            kind, title = request.path_params["kind"], question.get("title", "")
            name, content = await self._beside(saved, question["design"], kind, title, dome, view)
        except InputError as error:
            return refusal(error)
        return Response(content, media_type=SAVED[kind], headers={"content-disposition": f'attachment; filename="{name}"'})

    async def report(self, request: Request) -> Response:
        """The report on two stones; a line of JSON for each step of the way, see `streamed`."""
        try:
            question = parsed(await body_of(request, MAX_QUESTION))
        except InputError as error:
            return refusal(error)
        bench = self.workbench
        lines = streamed(bench.jobs, lambda update: bench.until_the_end(report, question, bench.domes, update))
        return StreamingResponse(lines, media_type="application/x-ndjson")

    async def made(self, request: Request) -> Response:
        """One of `ERRANDS`; lines of JSON as for the report."""
        try:
            question, job = parsed(await body_of(request, MAX_QUESTION)), ERRANDS.get(request.path_params["what"])
            if job is None:
                expected = "one of " + ", ".join(ERRANDS)
                raise InputError("unknown", key="what", value=request.path_params["what"], expected=expected)
        except InputError as error:
            return refusal(error)
        bench = self.workbench
        lines = streamed(bench.colors, lambda update: bench.until_the_end(job, question, bench.domes, update))
        return StreamingResponse(lines, media_type="application/x-ndjson")

    async def link(self, page: WebSocket) -> None:
        """One page's questions in, answers out, until it goes."""
        await page.accept()
        gone = (WebSocketDisconnect, RuntimeError)
        talk = Conversation(self.workbench, page.send_bytes, gone)
        answering = asyncio.create_task(talk.answer_all())
        try:
            while (message := await page.receive())["type"] == "websocket.receive":
                await talk.hear(message.get("text") or "")  # a binary message has no text
        except gone:
            pass
        finally:
            talk.leave()
            answering.cancel()

    async def _beside(self, work: Callable[Given, Made], *args: Given.args, **named: Given.kwargs) -> Made:
        """The work done in a thread of its own. Raises InputError where the server ends first."""
        try:
            return await asyncio.to_thread(lambda: self.workbench.until_the_end(work, *args, **named))
        except Stopped:
            raise InputError("raylab has ended") from None


def _number(key: str, text: str) -> float:
    """A number in an address. Raises InputError for other text."""
    try:
        return float(text)
    except ValueError:
        raise InputError("not a number", key=key, value=text[:LONGEST_ECHO], expected="a number") from None


def _label(material: str) -> str:
    """A material in a list of choices, with its other names."""
    others = ", ".join(map(spelled, other_names(material)))
    return spelled(material) + (f" ({others})" if others else "")


def _described(one: Description) -> dict[str, Any]:
    """A row of the page's numbers: an entry of the ledger, or a statistic beside it."""
    return {"key": one.key, "label": one.label, "definition": one.definition, "entry": one.key in ENTRIES}
