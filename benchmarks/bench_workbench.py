"""The workbench in a real browser: time from a slider to its picture, until a page is ready, memory after a minute of moves.

    python benchmarks/bench_workbench.py [--moves 60] [--soak 60] [--pictures DIR] [--cut "cushion brilliant"]
    python benchmarks/bench_workbench.py --server "cushion brilliant"

Times are from the event on the slider to the frame that shows the picture, dragged ones to the painted picture, in headless
chromium, which draws without a graphics card here: a desktop's browser is quicker. Run it on an idle machine; the load at the
start is printed with the figures, and after each the processor time that the server and the browser spent for it, which other
programs change less.

The second form asks the server's own answerer, without browser and connection, for the coarse and the exact picture of a cut at
random places of three sliders. It tells processor time, all threads together, which a busy machine changes little.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from needs import launched  # noqa: E402
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402
from test_workbench_page import Workbench, assert_reported, traced  # noqa: E402
from workbench_process import BenchProcess  # noqa: E402

import raylab as rl  # noqa: E402
from raylab.stone.known_cuts import get_cut  # noqa: E402
from raylab.workbench.answers import Answerer  # noqa: E402
from raylab.workbench.design_json import usual_design  # noqa: E402

SLIDERS = {"table_pct": (54.0, 62.0), "crown_angle_deg": (31.0, 36.0), "pavilion_angle_deg": (39.5, 42.0)}

# Move a slider, wait for the frame that shows the picture that answers the move, n times; ms each.
ONE_BY_ONE = """async ([key, n, low, high, exact]) => {
  const slider = document.querySelector(`[data-slider=${key}]`), root = document.documentElement, out = [];
  const frame = () => new Promise((done) => requestAnimationFrame(() => {
    const { port1, port2 } = new MessageChannel();
    port1.onmessage = done;  // a task of its own, which waits until the frame is laid out and painted
    port2.postMessage(null);
  }));
  for (let k = 0; k < n; k++) {
    const before = root.dataset.shownA;
    slider.value = low + (high - low) * Math.random();
    const start = performance.now();
    const shown = new Promise((done) => {
      const watch = new MutationObserver(() => {
        if (exact ? root.dataset.state === 'exact' : root.dataset.shownA !== before) { watch.disconnect(); done(); }
      });
      watch.observe(root, { attributes: true });
    });
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    if (exact) slider.dispatchEvent(new Event('change', { bubbles: true }));
    await shown;
    await frame();
    out.push(performance.now() - start);
  }
  return out;
}"""

# A hand that drags: an event every 16 ms for some seconds; ms from each answered event to its picture, and from each picture
# to the next.
DRAG = """async ([key, seconds, low, high]) => {
  const slider = document.querySelector(`[data-slider=${key}]`), root = document.documentElement, out = [], shown = [];
  let begun = performance.now(), moved = begun, moves = [];
  const asking = new MutationObserver(() => moves.push({ id: Number(root.dataset.requestedA), at: moved }));
  asking.observe(root, { attributes: true, attributeFilter: ['data-requested-a'] });
  const watch = new MutationObserver(() => {
    const id = Number(root.dataset.shownA);
    shown.push(performance.now());
    const move = moves.find((one) => one.id === id);
    if (move && !move.done) { move.done = true; out.push(performance.now() - move.at); }
  });
  watch.observe(root, { attributes: true, attributeFilter: ['data-shown-a'] });
  for (let k = 1; performance.now() - begun < 1000 * seconds; k++) {
    slider.value = low + (high - low) * (0.5 + 0.5 * Math.sin(k / 20));
    moved = performance.now();
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    await new Promise((done) => setTimeout(done, 16));
  }
  watch.disconnect();
  asking.disconnect();
  return [out, shown.slice(1).map((at, k) => at - shown[k])];
}"""

# Move a slider, let it rest, wait for all strips, n times; ms from the exact picture to the last strip.
STRIPS = """async ([key, n, low, high, count]) => {
  const slider = document.querySelector(`[data-slider=${key}]`), root = document.documentElement, out = [];
  for (let k = 0; k < n; k++) {
    slider.value = low + (high - low) * Math.random();
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    slider.dispatchEvent(new Event('change', { bubbles: true }));
    const until = (there) => new Promise((done) => {
      const watch = new MutationObserver(() => { if (there()) { watch.disconnect(); done(performance.now()); } });
      watch.observe(root, { attributes: true });
    });
    const rested = await until(() => root.dataset.state === 'exact');
    out.push(await until(() => Number(root.dataset.strips) >= count) - rested);
  }
  return out;
}"""

WILD = """async (seconds) => {
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));
  const range = { table_pct: [50, 65], crown_angle_deg: [30, 37], pavilion_angle_deg: [39.5, 42.5], lower_half_pct: [70, 85],
    star_pct: [45, 60], tilt_deg: [0, 15], diameter_mm: [5, 8] };
  const keys = Object.keys(range), end = performance.now() + 1000 * seconds;
  let moves = 0;
  for (; performance.now() < end; moves++) {
    const key = keys[Math.floor(keys.length * Math.random())], [low, high] = range[key];
    const slider = document.querySelector(`[data-slider=${key}]`);
    slider.value = low + (high - low) * Math.random();
    slider.dispatchEvent(new Event('input', { bubbles: true }));
    if (Math.random() < 0.1) { slider.dispatchEvent(new Event('change', { bubbles: true })); await pause(400); }
    await pause(5 + 40 * Math.random());
  }
  return moves;
}"""


def spent_s(process: BenchProcess) -> np.ndarray:
    """Seconds of processor time so far: of the server, and of the browser with all its processes."""
    ticks, parents = {}, {}
    for one in Path("/proc").glob("[0-9]*"):
        try:
            fields = (one / "stat").read_text().rpartition(")")[2].split()
        except OSError:  # it has ended meanwhile
            continue
        parents[int(one.name)], ticks[int(one.name)] = int(fields[1]), int(fields[11]) + int(fields[12])
    server, browser = process.process.pid, 0
    for pid in ticks:
        line = [pid]
        while line[-1] in parents and line[-1] not in (os.getpid(), server):
            line.append(parents[line[-1]])
        browser += ticks[pid] if line[-1] == os.getpid() and len(line) > 1 else 0
    return np.array([ticks[server], browser]) / os.sysconf("SC_CLK_TCK")


def shown(what: str, times_ms: list[float]) -> None:
    median, late = np.median(times_ms), np.quantile(times_ms, 0.95)
    print(f"{what:<60} median {median:6.0f} ms   95 % under {late:6.0f} ms   of {len(times_ms)}", flush=True)


def spending(process: BenchProcess, before: np.ndarray, pictures: int) -> None:
    """Print what each of some pictures took since `before`."""
    server, browser = 1000.0 * (spent_s(process) - before) / pictures
    print(f"{'':<60} processor time each: server {server:.0f} ms, browser {browser:.0f} ms", flush=True)


def start_to_page(browser: Browser) -> tuple[BenchProcess, Workbench, float, float]:
    """A fresh command and its first page: seconds to the printed address and to the exact picture."""
    begun = time.perf_counter()
    process = BenchProcess()
    listening = time.perf_counter() - begun
    page = Workbench(browser, "brightness")  # strips as a visitor has them
    page.open(process.address)
    return process, page, listening, time.perf_counter() - begun


def moved(process: BenchProcess, page: Workbench, moves: int) -> None:
    """Sliders to coarse and to exact pictures, face-up and tilted."""
    for tilt in (0, 7):
        page.slide("tilt_deg", tilt)
        for key, low, high in (("pavilion_angle_deg", 40, 42), ("table_pct", 54, 60)):
            before = spent_s(process)
            shown(f"{key} to coarse picture, tilt {tilt}", page.page.evaluate(ONE_BY_ONE, [key, moves, low, high, False]))
            spending(process, before, moves)
            page.rest()
        before = spent_s(process)
        times, gaps = page.page.evaluate(DRAG, ["crown_angle_deg", 4, 32, 36])
        shown(f"dragged, from the event to its picture, tilt {tilt}", times)
        shown(f"dragged, from a picture to the next, at most {max(gaps):.0f}, tilt {tilt}", gaps)
        spending(process, before, len(gaps) + 1)
        page.rest()
        shown(
            f"to exact picture, 60 ms rest incl., tilt {tilt}",
            page.page.evaluate(ONE_BY_ONE, ["table_pct", 12, 54, 60, True]),
        )
    page.page.click("#face-up")
    page.rest()
    for count in (9, 33):
        before = spent_s(process)
        shown(f"from rest to all strips with {count} places", page.page.evaluate(STRIPS, ["table_pct", 5, 54, 60, count]))
        spending(process, before, 5)


def memory_mb(process: BenchProcess, page: Page) -> tuple[float, float]:
    """Resident memory of the server and used heap of the page after a collection, MB."""
    tools = page.context.new_cdp_session(page)
    tools.send("HeapProfiler.collectGarbage")
    tools.send("Performance.enable")
    metrics = {one["name"]: one["value"] for one in tools.send("Performance.getMetrics")["metrics"]}
    tools.detach()
    status = Path(f"/proc/{process.process.pid}/status").read_text()
    return int(status.split("VmRSS:")[1].split()[0]) / 1024, metrics["JSHeapUsedSize"] / 1e6


def soak(process: BenchProcess, page: Workbench, seconds: float) -> None:
    """Random moves in three parts; memory after each; the last picture is the right one."""
    page.page.evaluate(WILD, 5.0)
    page.rest()
    marks = [memory_mb(process, page.page)]
    moves = 0
    for _ in range(3):
        moves += page.page.evaluate(WILD, seconds / 3)
        page.rest()
        marks.append(memory_mb(process, page.page))
    assert_reported(page, traced(page.values()))
    server, heap = zip(*marks, strict=True)
    print(f"{moves} random moves in {seconds:.0f} s; the last picture is what the library says of the last values")
    print("  server, MB resident: " + " -> ".join(f"{mb:.0f}" for mb in server))
    print("  page, MB of heap:    " + " -> ".join(f"{mb:.1f}" for mb in heap))


def pictures(page: Workbench, folder: Path) -> None:
    """The page as it looks, at both widths and in both themes."""
    folder.mkdir(parents=True, exist_ok=True)
    for scheme in ("light", "dark"):
        page.page.emulate_media(color_scheme=scheme)
        for width, height in ((1280, 860), (768, 1024)):
            page.page.set_viewport_size({"width": width, "height": height})
            page.rest()
            page.page.screenshot(path=folder / f"workbench-{width}-{scheme}.png")


def server(cut: str, moves: int) -> None:
    """Processor time of the server's share of an answer."""
    answerer, rng = Answerer({"head-shadow": rl.load_dome("head-shadow")}), np.random.default_rng(1)
    asked = {"kind": "picture", "side": "a", "dome": "head-shadow", "maps": ["contrast"], "facet": None}
    for tilt_deg in (0.0, 10.0):
        for step in ("coarse", "exact"):
            times = []
            for k in range(moves + 1):
                given = {key: float(rng.uniform(*ends)) for key, ends in SLIDERS.items()}
                design = usual_design(get_cut(cut), "W-1 (invented)", **given)
                start = time.process_time()
                answerer.answer({**asked, "id": k, "step": step, "design": design, "tilt_deg": tilt_deg})
                times.append(1e3 * (time.process_time() - start))
            shown(f"server's share, {cut}, {step}, tilted by {tilt_deg:g} degrees, processor time", times[1:])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--moves", type=int, default=60)
    parser.add_argument("--soak", type=float, default=60.0)
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--cut", help="another cut for the moves, which then have no soak after them")
    parser.add_argument("--server", metavar="CUT")
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} at the start")
    if options.server:
        server(options.server, options.moves)
        return
    with sync_playwright() as driver:
        browser = launched(driver)
        browser.new_page().close()
        starts = []
        for _ in range(3):
            process, page, listening, ready = start_to_page(browser)
            starts.append((listening, ready))
            page.page.context.close()
            process.stop()
        listening, ready = np.median(starts, axis=0)
        print(f"command to address {listening:.2f} s, to the first exact picture {ready:.2f} s (median of 3, warm)")
        process, page, _, _ = start_to_page(browser)
        if options.cut:
            page.page.select_option("#cut", options.cut)
            page.rest()
        if options.moves:
            moved(process, page, options.moves)
        if options.soak and not options.cut:
            soak(process, page, options.soak)
        if options.pictures:
            pictures(page, options.pictures)
        complaints = page.complaints
        page.page.context.close()
        browser.close()
        assert process.stop() == ""
        assert complaints == []


if __name__ == "__main__":
    main()
