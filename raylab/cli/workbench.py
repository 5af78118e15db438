"""``raylab workbench``: a page on this machine that shows what a stone does with light while its proportions are turned."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from .console import say

USUAL_PORT = 8407


def workbench(
    stone: Path | None = None,
    /,
    *,
    unit: str | None = None,
    port: int | None = None,
    browser: Annotated[bool, Parameter(negative="--no-browser")] = True,
) -> None:
    """Open the workbench: a local page with sliders, maps, numbers and the stone in 3D.

    The page is served to this machine only and needs no network. Ctrl-C ends it. The first start on a machine also compiles
    the kernels, once.

    For example:

        raylab workbench scenes/well-proportioned.toml

    Parameters
    ----------
    stone
        A stone or a scene to start from: TOML, a table of facets, or a mesh; an invented demo stone if none is named.
    unit
        Unit of length of a mesh that states none (.stl, .obj, .ply): mm, um, cm, m or in.
    port
        Port to listen on, 0 for any free one; 8407 if that is free, else any.
    browser
        Open the page in the browser.
    """
    from ..errors import InputError
    from ..workbench.file_exchange import open_demo, open_path
    from ..workbench.server import HOST, listen, serve

    opened = open_demo() if stone is None else open_path(stone, unit)
    try:
        own = listen(USUAL_PORT if port is None else port)
    except InputError:
        if port is not None:
            raise
        own = listen(None)
    address = f"http://{HOST}:{own.getsockname()[1]}/"

    def ready() -> None:
        say(f"raylab workbench: {address}  (Ctrl-C ends it)")
        sys.stdout.flush()
        if browser:
            _show(address)

    try:
        serve(opened, own, ready)
    except KeyboardInterrupt:
        say("raylab workbench: ended")


def _show(address: str) -> None:
    """Open the page in the user's browser, beside us: finding one may take seconds."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
