"""A notebook's page without a notebook: the explorer's JavaScript in a browser, its Python side here, messages between them.

The page and the kernel talk as through a widget's model. The page fetches its messages, because only one thread may use the
browser and answers come from another.
"""

from __future__ import annotations

import base64
import json
import queue
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Browser, Page, Route

import raylab as rl
from raylab.notebook.explorer import Explorer
from raylab.notebook.stone_design import design_of
from raylab.notebook.widget_source import widget_source
from raylab.workbench.file_exchange import Opened

ADDRESS = "http://notebook.invalid/"

HTML = """<!doctype html><meta charset="utf-8"><title>a notebook</title>
<style>
  body { font: 20px serif; color: rgb(20, 20, 20); }
  input, button, select, table { display: none !important; }
  h2 { color: red; }
</style>
<h2>Heading of the notebook</h2><div id="first"></div><div id="second"></div>
<script type="module">
const [start, source] = await (await fetch("given.json")).json();
const values = { start, state: {} };
const heard = new Set();
const out = [];
globalThis.model = {
  get: (key) => values[key],
  set: (key, value) => { values[key] = value; },
  save_changes: () => out.push({ state: values.state }),
  send: (content) => out.push({ content }),
  on: (_, listener) => heard.add(listener),
  off: (_, listener) => heard.delete(listener),
};
async function turn() {
  for (const [content, data] of JSON.parse(await exchange(JSON.stringify(out.splice(0))))) {
    const bytes = Uint8Array.from(` ${atob(data)}`, (letter) => letter.charCodeAt(0)); // at an odd place of a larger buffer
    for (const listener of heard) listener(content, [new DataView(bytes.buffer, 1)]);
  }
  setTimeout(turn, 10);
}
turn();
const { default: widget } = await import(URL.createObjectURL(new Blob([source], { type: "text/javascript" })));
globalThis.show = async (id) => { globalThis[`end_${id}`] = await widget.render({ model, el: document.getElementById(id) }); };
</script>"""


class Widget:
    """What an explorer needs of a widget."""

    def __init__(self, start: dict[str, Any]) -> None:
        self.start, self.state = start, dict[str, Any]()
        self.sent: queue.Queue[tuple[dict[str, Any], bytes]] = queue.Queue()
        self.closed = False

    def on_msg(self, hear: Callable[[Any, dict[str, Any], Any], None]) -> None:
        self.hear = hear

    def send(self, content: dict[str, Any], buffers: list[bytes]) -> None:
        self.sent.put((content, buffers[0]))

    def close(self) -> None:
        self.closed = True

    def exchange(self, messages: str) -> str:
        """Take the page's messages, and hand it those that wait."""
        for message in json.loads(messages):
            if "content" in message:
                self.hear(self, message["content"], [])
            else:
                self.state = message["state"]
        waiting = []
        while not self.sent.empty():
            content, data = self.sent.get()
            waiting.append([content, base64.b64encode(data).decode()])
        return json.dumps(waiting)


def explorer_of(stone: rl.Stone, dome: str = "head-shadow") -> Explorer:
    """An explorer whose widget is none."""
    return Explorer(Opened(design_of(stone), stone.name, rl.load_dome(dome)), Widget)


def opened(browser: Browser, explorer: Explorer) -> Page:
    """The page of an explorer, which shows nothing yet."""

    def serve(route: Route) -> None:
        given = json.dumps([explorer.widget.start, widget_source()])
        is_page = route.request.url == ADDRESS
        route.fulfill(body=HTML if is_page else given, content_type="text/html" if is_page else "application/json")

    page = browser.new_page(viewport={"width": 1000, "height": 1100})
    page.route(f"{ADDRESS}**", serve)
    page.expose_function("exchange", explorer.widget.exchange)
    page.goto(ADDRESS)
    page.wait_for_function("Boolean(globalThis.show)")
    return page
