"""`explore`: the page's maps, sliders and numbers in a notebook.

The page's own JavaScript runs in the notebook's page as a widget. Its questions come as messages to the kernel, where the same
code answers them as for the page. One thread carries the messages of all explorers, so that answers arrive while no cell runs;
while one runs, questions wait, as everything in a kernel does.
"""

from __future__ import annotations

import asyncio
import threading
from functools import cache
from typing import Any

from ..errors import InputError
from ..lighting.dome import Dome
from ..lighting.dome_file import DomeLike, dome_of
from ..scene.view import View
from ..stone.stone import Stone
from ..workbench.conversation import Conversation
from ..workbench.design_json import stone_of
from ..workbench.file_exchange import Opened
from ..workbench.pages import USUAL_DOME, Workbench
from .stone_design import design_of
from .widget_source import widget_source


def explore(stone: Stone, dome: DomeLike = USUAL_DOME, view: View | None = None) -> Explorer:
    """The maps, sliders and numbers of the workbench in a notebook.

    It needs the extra ``raylab[notebook]``. The last expression of a cell shows it; what its sliders make of the stone is
    `Explorer.stone`.

    Parameters
    ----------
    stone : a stone that follows from proportions gets a slider for each; any other has its facets, one by one.
    dome : a `Dome`, or the name or file of one; the shipped domes can be chosen beside it.
    view : the tilt to begin with; a parallel view.

    Raises
    ------
    InputError : the extra is missing; something else than a stone; a perspective view.
    """
    if not isinstance(stone, Stone):
        raise InputError("wrong type", key="stone", value=stone, expected="a Stone")
    view = view or View()
    if not view.parallel or view.turn_deg:
        raise InputError("the explorer tilts a stone in a parallel view", key="view", value=view, expected="a tilt alone")
    opened = Opened(design_of(stone), stone.name, dome_of(dome), view.tilt_deg, view.tilt_azimuth_deg)
    return Explorer(opened, _widget_class())


class Explorer:
    """What `explore` shows.

    Attributes
    ----------
    stone, dome, view : as its controls say now.
    widget : the widget, for layouts of other widgets.
    """

    def __init__(self, opened: Opened, make: Any) -> None:
        self._bench = Workbench(opened)
        if opened.dome is not None:
            self._bench.domes[opened.dome.name] = opened.dome  # also where a shipped one has this name
        self._views: dict[str, tuple[Conversation, asyncio.Task[None]]] = {}
        self._bench.worker.submit(self._bench.warm)
        self.widget = make(start=self._bench.start())
        self.widget.on_msg(self._hear)

    def _repr_mimebundle_(self, **options: Any) -> Any:
        return self.widget._repr_mimebundle_(**options)

    @property
    def stone(self) -> Stone:
        """The stone as the sliders make it. Raises InputError where they make none."""
        return stone_of(self._state["designs"]["a"] if self._state else self._bench.opened.design)

    @property
    def dome(self) -> Dome:
        """The chosen dome."""
        return self._bench.domes[self._state["dome"] if self._state else self._bench.dome]

    @property
    def view(self) -> View:
        """The tilt."""
        state = self._state or vars(self._bench.opened)
        return View(tilt_deg=state["tilt_deg"], tilt_azimuth_deg=state["tilt_azimuth_deg"])

    @property
    def _state(self) -> dict[str, Any]:
        """What the controls say; empty until one of them has moved."""
        found: dict[str, Any] = self.widget.state
        return found

    def close(self) -> None:
        """Take it off the notebook, and end its work."""
        for view in list(self._views):
            asyncio.run_coroutine_threadsafe(self._leave(view), _loop())
        self._bench.end()
        self.widget.close()

    def _hear(self, _: Any, message: dict[str, Any], __: Any) -> None:
        """A message of one view: a question, or that the view has left."""
        view = str(message.get("view"))
        work = self._leave(view) if message.get("left") else self._ask(view, str(message.get("question")))
        asyncio.run_coroutine_threadsafe(work, _loop())

    async def _ask(self, view: str, question: str) -> None:
        if view not in self._views:
            talk = Conversation(self._bench, self._sender(view))
            self._views[view] = talk, asyncio.create_task(talk.answer_all())
        await self._views[view][0].hear(question)

    async def _leave(self, view: str) -> None:
        if view in self._views:
            talk, answering = self._views.pop(view)
            talk.leave()
            answering.cancel()

    def _sender(self, view: str) -> Any:
        async def send(answer: bytes) -> None:
            self.widget.send({"view": view}, buffers=[answer])

        return send


@cache
def _loop() -> asyncio.AbstractEventLoop:
    """The event loop of the thread that carries messages; it ends with the kernel."""
    loop = asyncio.new_event_loop()
    threading.Thread(target=loop.run_forever, name="raylab-explore", daemon=True).start()
    return loop


@cache
def _widget_class() -> Any:
    """The class of widgets; anywidget, which makes it, is an extra. Raises InputError where it is missing."""
    try:
        import anywidget
        import traitlets
    except ImportError as error:
        raise InputError("the explorer needs anywidget", expected="pip install 'raylab[notebook]'") from error

    class ExplorerWidget(anywidget.AnyWidget):  # type: ignore[misc]  # it has no types where it is missing
        """`start` is what the page needs before it asks anything, `state` what its controls say."""

        _esm = widget_source()
        start = traitlets.Dict().tag(sync=True)
        state = traitlets.Dict().tag(sync=True)

    return ExplorerWidget
