"""The explorer and a stone's card in JupyterLab itself, by hand: ``python tests/lab.py``, where JupyterLab and a browser are
installed.

It starts JupyterLab on a free port with an empty folder, runs a notebook in a browser without a window, turns the stone of the
card, moves a slider, types into a field, reads the stone back in the next cell, and has the stone traced live. It prints what
it found and ends with code 1 where that is wrong. A picture of the live map goes into the file named behind the command.
It is no test of the suite, because JupyterLab is large; `test_explorer.py` holds what needs no JupyterLab.
"""

from __future__ import annotations

import os
import re
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import nbformat
from needs import launched
from playwright.sync_api import Page, TimeoutError, sync_playwright

ROOT = Path(__file__).parent.parent
CELLS = (
    "import raylab as rl\nstone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)\nstone",
    "explorer = rl.explore(stone)\nexplorer",
    'f"pavilion {rl.measure(explorer.stone).pavilion_angle_deg.mean:.2f}, tilt {explorer.view.tilt_deg:g}"',
)
WAIT_MS = 240_000


def main() -> int:
    token = secrets.token_hex(8)
    with socket.socket() as free, tempfile.TemporaryDirectory() as folder:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(text) for text in CELLS])
        notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(notebook, Path(folder) / "explorer.ipynb")
        words = [
            f"--port={port}",
            "--no-browser",
            f"--ServerApp.token={token}",
            f"--ServerApp.root_dir={folder}",
            "--allow-root",
        ]
        env = {**os.environ, "PYTHONPATH": str(ROOT)}
        server = subprocess.Popen([sys.executable, "-m", "jupyterlab", *words], env=env, stderr=subprocess.DEVNULL)
        try:
            wait_for(f"http://127.0.0.1:{port}/api?token={token}", server)
            with sync_playwright() as driver:
                browser = launched(driver)
                page = browser.new_page(viewport={"width": 1280, "height": 1000})
                page.set_default_timeout(WAIT_MS)
                page.goto(f"http://127.0.0.1:{port}/lab/tree/explorer.ipynb?token={token}")
                faults = driven(page)
                browser.close()
        finally:
            server.terminate()
            server.wait(30)
    for fault in faults:
        print(f"lab.py: {fault}")
    print("lab.py: the explorer does not work in JupyterLab" if faults else "lab.py: the explorer works in JupyterLab")
    return 1 if faults else 0


def wait_for(address: str, server: subprocess.Popen[bytes]) -> None:
    """Wait until the server answers; RuntimeError where it ends instead."""
    while server.poll() is None:
        with suppress(URLError, ConnectionError):
            urlopen(address).close()
            return
        time.sleep(0.3)
    raise RuntimeError("JupyterLab does not start; is it installed?")


def driven(page: Page) -> list[str]:
    """What goes wrong when a user runs the cells and moves a control."""
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    cells = page.locator(".jp-Notebook .jp-Cell")
    page.get_by_text(re.compile(r"\(ipykernel\) \| Idle")).wait_for()  # before, keys run nothing
    choose_kernel(page)
    cells.first.locator(".cm-content").click()
    page.keyboard.press("Shift+Enter")
    faults += turned(page)
    cells.nth(1).locator(".cm-content").click()
    page.keyboard.press("Shift+Enter")
    rest = ".raylab-explorer[data-state=exact]"
    page.wait_for_selector(rest)
    page.locator(".raylab-explorer [data-slider=tilt_deg]").fill("7.5")
    page.wait_for_selector(rest)
    field = page.locator(".raylab-explorer [data-field=pavilion_angle_deg]")
    field.fill("")
    field.press_sequentially("41.100")  # two zeros in a row restart the kernel where JupyterLab takes them for its own
    field.press("Enter")
    page.wait_for_selector(rest)
    page.wait_for_timeout(1000)  # for the state to be kept
    cells.nth(2).locator(".cm-content").click()
    page.keyboard.press("Shift+Enter")
    found = cells.nth(2).locator(".jp-OutputArea-output").inner_text()
    expected = "'pavilion 41.10, tilt 7.5'"
    faults += [] if found.strip() == expected else [f"the next cell shows {found!r}, not {expected!r}"]
    return faults + traced_live(page)


def traced_live(page: Page) -> list[str]:
    """What goes wrong with the map that the browser traces."""
    explorer = page.locator(".raylab-explorer")
    figure = explorer.locator("[data-map='0']")
    figure.locator("select").select_option("live")
    figure.scroll_into_view_if_needed()  # out of sight nothing is traced
    page.wait_for_selector(".raylab-explorer [data-map='0'][data-frames]:not([data-frames=''])")
    canvas = figure.locator(".map-frame > canvas")
    page.wait_for_timeout(3000)  # for some frames
    before = canvas.screenshot(path=sys.argv[1] if len(sys.argv) > 1 else None)
    explorer.locator("[data-slider=tilt_deg]").fill("20")
    figure.scroll_into_view_if_needed()
    page.wait_for_timeout(3000)
    return [] if canvas.screenshot() != before else ["the live map does not follow the slider"]


def choose_kernel(page: Page) -> None:
    """JupyterLab asks for a kernel where none has started in time; it offers that of the notebook."""
    with suppress(TimeoutError):
        page.locator(".jp-Dialog button", has_text="Select").last.click(timeout=5000)
        page.wait_for_selector(".jp-Notebook-ExecutionIndicator[data-status=idle]")


def turned(page: Page) -> list[str]:
    """What goes wrong when a user drags the stone of the card."""
    stone = page.locator(".jp-OutputArea-output canvas").first
    stone.scroll_into_view_if_needed()
    before = stone.screenshot()
    stone.drag_to(stone, source_position={"x": 100, "y": 150}, target_position={"x": 200, "y": 210})
    page.wait_for_timeout(1000)  # for the stone to be drawn
    return [] if stone.screenshot() != before else ["the stone of the card does not turn"]


if __name__ == "__main__":
    raise SystemExit(main())
