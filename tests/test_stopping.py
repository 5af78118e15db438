"""Work ends soon where nobody waits for it, and pauses change no number.

Times are of the processor, from the wish to the end: a machine that does other work meanwhile changes none of them. The limits
are wide, and each is far below what the work itself takes.
"""

from __future__ import annotations

import doctest
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from polyhedra import many_facets
from processor_time import of_ended_s, processor_s
from small_scenes import scene_of

import raylab as rl
from raylab import stopping
from raylab.files import save_stone
from raylab.optics.materials import get_material
from raylab.scene.pixel_grid import grid_around
from raylab.stopping import Stopped, pause, stopped_by
from raylab.threads import at_once, in_order
from raylab.tracers.exact import beam_kernel, pixel_coverage
from raylab.tracers.exact import tracer as exact
from raylab.tracers.exact.image import exact_image
from raylab.tracers.exact.tracer import trace_beams
from raylab.tracers.sampled import rays
from raylab.tracers.sampled.sampling import sample_image

ROOT = Path(__file__).parent.parent
HEAD_SHADOW = rl.load_dome("head-shadow")
LATE_S = 1.0
"""Work must end within this, on two processors; 0.3 s by the clock are promised on a machine that does nothing else."""


class Watched:
    """A check that counts the pauses, notes their threads, and raises once `over` is set."""

    def __init__(self) -> None:
        self.pauses, self.threads, self.over = 0, set[int](), threading.Event()

    def __call__(self) -> None:
        self.pauses += 1
        self.threads.add(threading.get_ident())
        if self.over.is_set():
            raise Stopped


def late_s(work: Callable[[], object]) -> float:
    """Seconds from the wish to stop to the end of work in a thread of its own, which has paused ten times by then."""
    watched, ends = Watched(), []

    def run() -> None:
        with pytest.raises(Stopped), stopped_by(watched):
            work()
        ends.append(time.process_time())

    thread = threading.Thread(target=run)
    thread.start()
    begun = time.monotonic()
    while watched.pauses < 10 and thread.is_alive() and time.monotonic() - begun < 120.0:
        time.sleep(0.01)
    wished = time.process_time()
    watched.over.set()
    thread.join(120.0)
    assert ends, "it was done, or did not end"
    return ends[0] - wished


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(stopping).failed == 0


def test_every_check_around_is_called_and_none_outside():
    outer, inner = Watched(), Watched()
    with stopped_by(outer):
        with stopped_by(inner):
            pause()
        pause()
    pause()
    assert (outer.pauses, inner.pauses) == (2, 1)


@pytest.mark.parametrize("several", [at_once, lambda work, items: list(in_order(work, items, 2))])
def test_threads_stop_with_the_one_that_waits_for_them(several):
    """A check of the caller's ends the work of its threads, and so does a fault of one of them."""

    def endless(fails: bool) -> None:
        while True:
            pause()
            if fails:
                raise ZeroDivisionError
            time.sleep(0.001)

    watched = Watched()
    threading.Timer(0.1, watched.over.set).start()
    with pytest.raises(Stopped), stopped_by(watched):
        several(endless, [False, False])
    assert watched.threads
    assert threading.get_ident() not in watched.threads
    with pytest.raises(ZeroDivisionError):
        several(endless, [True, False])


def numbers(scene: rl.Scene) -> list[np.ndarray]:
    """All that both tracers make of a scene."""
    beams, grid = trace_beams(scene, 589.3), grid_around(scene.stone, scene.view, scene.resolution)
    drawn, sampled = exact_image(beams, grid, 589.3), sample_image(scene, 589.3, grid)
    found = [beams.vertices_mm, beams.rows, beams.nodes, beams.strongest, beams.through]
    found.append(beams.moments)
    return [*found, *drawn.fields.values(), *sampled.fields.values(), sampled.totals.mean]


@pytest.mark.parametrize("absorption", [0.0, 0.3])
def test_pauses_change_no_number(monkeypatch, absorption):
    """Bit for bit, however often the kernels come back."""
    material = get_material("diamond").tinted(absorption) if absorption else "diamond"
    stone = rl.round_brilliant(
        table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=16, material=material
    )
    scene = scene_of(stone, HEAD_SHADOW, rl.View(tilt_deg=7.0), 96, precision=2e-2, samples=4)
    usual, often = Watched(), Watched()
    with stopped_by(usual):
        expected = numbers(scene)
    rows = len(stone)
    for module, few in ((beam_kernel, 5 * rows), (pixel_coverage, 5), (rays, 1)):
        monkeypatch.setattr(module, "SLICE", few)
    monkeypatch.setattr(exact, "BOOKED", 7)
    with stopped_by(often):
        found = numbers(scene)
    assert often.pauses > 20 * usual.pauses
    for one, other in zip(found, expected, strict=True):
        np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize(
    "options", [{"engine": "beams", "precision": 1e-3}, {"engine": "rays", "samples": 400}], ids=["beams", "rays"]
)
def test_a_trace_of_two_thousand_facets_ends_at_once(options):
    """It would take minutes."""
    scene = scene_of(many_facets(2000), HEAD_SHADOW, None, 512, **options)
    assert late_s(lambda: rl.trace_scene(scene)) < LATE_S


def test_the_exact_tracer_says_how_far_it_is():
    """Rising shares that end at 1; whoever raises there ends the work."""
    scene, shares = scene_of(many_facets(40), HEAD_SHADOW, precision=2e-2), []
    trace_beams(scene, 589.3, progress=lambda done, total: shares.append(done / total))
    assert len(shares) > 5
    assert shares == sorted(shares)
    assert shares[0] >= 0.0
    assert shares[-1] == 1.0
    steps = np.diff([0.0, *shares])
    assert steps.max() < 0.5, "no step is most of the way"

    def enough(done: float, total: float) -> None:
        if done / total > 0.5:
            raise Stopped

    with pytest.raises(Stopped):
        trace_beams(scene, 589.3, progress=enough)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs the processor time of another process")
def test_ctrl_c_ends_a_command_within_a_round(tmp_path):
    """The kernels are compiled by the tests before, or here."""
    scene = scene_of(many_facets(40), HEAD_SHADOW, None, 24, precision=2e-2)
    rl.trace_scene(scene)
    save_stone(many_facets(2000), tmp_path / "many.csv")
    (tmp_path / "s.toml").write_text('schema = 1\n[stone]\nfile = "many.csv"\n[dome]\nname = "head-shadow"\n')
    words = [sys.executable, "-m", "raylab", "render", "s.toml", "--out", "out"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(words, cwd=tmp_path, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        begun = time.monotonic()
        while processor_s(process.pid) < 4.0 and time.monotonic() - begun < 60.0:  # importing takes two
            time.sleep(0.05)
        wished = processor_s(process.pid) + of_ended_s()
        process.send_signal(signal.SIGINT)
        try:
            out, err = process.communicate(timeout=60)
        finally:
            process.kill()
    told = [line for line in err.splitlines() if not line.startswith("raylab: tracing: ")]  # a slow machine says how far it is
    assert (process.returncode, out, told) == (130, "", ["raylab: interrupted"])
    assert of_ended_s() - wished < LATE_S + 1.0, "with what ending a process takes"
