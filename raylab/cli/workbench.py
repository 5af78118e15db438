"""``raylab workbench``: a local page with sliders that shows how a stone handles light."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from .console import reading, say
from .options import WholeIfAny

USUAL_PORT = 8407


def workbench(
    stone: Path | None = None,
    /,
    *,
    unit: str | None = None,
    noise_um: float | None = None,
    sweep: Path | None = None,
    port: WholeIfAny = None,
    browser: Annotated[bool, Parameter(negative="--no-browser")] = True,
) -> None:
    """Open the workbench: a local page with sliders, maps, numbers and the stone in 3D.

    The page is served to this machine only and needs no network. Its address holds a random word, new at each start, so that
    no other user of the machine can read it. Ctrl-C ends the server. The first start on a machine takes longer because it
    compiles its code.

    For example:

        raylab workbench scenes/well-proportioned.toml

    Parameters
    ----------
    stone
        Stone or scene to open: TOML, a facet table or a mesh, or the name of a demo one. By default an invented demo stone.
    unit
        Unit of length of a mesh that states none (.stl, .obj, .ply): mm, um, cm, m or in.
    noise_um
        Noise of the scanned points of a mesh, or of that which a TOML file names, along the surface normal, micrometres. By
        default it is estimated from the mesh.
    sweep
        Folder or result of a finished sweep, for the heat map beside the sliders. The page itself opens a sweep.nc of up to
        64 MiB.
    port
        Port of the server; 0 takes any free port. By default 8407, or any free port if 8407 is taken.
    browser
        Open the page in a browser.
    """
    from ..demo import own_or_demo
    from ..errors import InputError
    from ..workbench.file_exchange import open_demo, open_path
    from ..workbench.server import listen, serve
    from ..workbench.surrogate_maps import of_sweep

    if stone is None:
        opened = open_demo()
    else:
        path = own_or_demo(stone)
        with reading(path):
            opened = open_path(path, unit, noise_um)
    if sweep is not None:
        opened = replace(opened, surrogate=of_sweep(sweep))
    try:
        own = listen(USUAL_PORT if port is None else port)
    except InputError:
        if port is not None:
            raise
        own = listen(None)

    def ready(address: str, once: str) -> None:
        say(f"raylab workbench: {address}  (Ctrl-C ends the server)")
        sys.stdout.flush()
        if browser:
            _show(once)

    try:
        serve(opened, own, ready)
    except KeyboardInterrupt:
        say("raylab workbench: ended")


def _show(address: str) -> None:
    """Open the page in the user's browser, beside us: finding one may take seconds."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
