"""The command line as a user meets it: real processes, exit codes, one line per fault, files whole or not at all."""

from __future__ import annotations

import ctypes
import gc
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from numba.core import serialize
from polyhedra import box

import raylab as rl
from raylab import __main__, compiling
from raylab.cli import _interrupt, main, run
from raylab.demo import demo_files
from raylab.results.maps import DEFINITIONS

ROOT = Path(__file__).parent.parent
SCENE = """\
schema = 1
title = "[bold] a test scene"
[stone]
cut = "round brilliant"
name = "[red]test[/red] stone"
table_pct = 57
crown_angle_deg = 34.5
pavilion_angle_deg = 40.75
girdle_facets = 32
material = "sapphire"
[dome]
name = "head-shadow"
[output]
resolution = 24
samples = 4
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "s.toml").write_text(SCENE)
    return tmp_path


def raylab(*words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "raylab", *map(str, words)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.fixture
def refused(folder: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., str]:
    """The one line on stderr that a command line is refused with; exit code 2, nothing on stdout, nothing left behind."""
    monkeypatch.chdir(folder)

    def line(*words: str) -> str:
        before = sorted(folder.rglob("*"))
        code = main(words)
        out, err = capfd.readouterr()
        assert (code, out) == (2, "")
        assert err.startswith("raylab: ")
        assert err.count("\n") == 1
        assert err.endswith("\n")
        assert sorted(folder.rglob("*")) == before
        return err.removeprefix("raylab: ").strip()

    return line


def test_render_writes_everything_and_says_the_numbers(folder):
    done = raylab("render", "s.toml", "--out", "deep/out", cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    out = folder / "deep" / "out"
    facts = json.loads((out / "summary.json").read_text())
    with xr.open_dataset(out / "maps.nc", engine="h5netcdf") as maps:
        names = set(maps.data_vars) - {"path"}  # numbers of paths are no picture
        assert maps.attrs["scene_hash"] == facts["scene"]["hash"]
        assert maps.luminance.shape == (24, 24)
        mean = float(np.average(maps.leak.fillna(0.0), weights=maps.coverage))
    assert names <= set(DEFINITIONS)
    expected = {"summary.json", "maps.nc", "luminance.tiff", "overview.png", *(f"{name}.png" for name in names)}
    assert set(os.listdir(out)) == expected
    assert f"{len(expected)} files in deep/out" in done.stdout
    assert sum(facts["ledger"].values()) == pytest.approx(1.0, abs=1e-12)
    assert mean == pytest.approx(facts["brackets"]["leak"][0], abs=1e-6)
    for name, value in {**facts["ledger"], **facts["stats"]}.items():
        row = next(line for line in done.stdout.splitlines() if line.split()[:1] == [name])
        low, high = facts["brackets"][name]
        assert row.split()[1:4] == [f"{value:z.5f}", f"{low:z.5f}", f"{high:z.5f}"]
    assert "[red]test[/red] stone" in done.stdout
    assert "ordinary index" in done.stdout


def test_render_prints_json_where_a_machine_reads(folder, monkeypatch, capsys):
    monkeypatch.chdir(folder)
    assert main(["render", "s.toml", "--out", "out", "--json", "--resolution", "12", "--tilt-deg", "9"]) == 0
    facts = json.loads(capsys.readouterr().out)  # a loaded machine has lines of progress on stderr
    assert facts == json.loads((folder / "out" / "summary.json").read_text())
    assert (facts["settings"]["resolution"], facts["view"]["tilt_deg"]) == (12, 9.0)


def test_nothing_is_overwritten_without_force(folder, refused):
    (folder / "out").mkdir()
    (folder / "out" / "leak.png").write_text("mine")
    (folder / "out" / "notes.txt").write_text("mine too")
    line = refused("render", "s.toml", "--out", "out")
    assert line.startswith("out/leak.png: exists already; nothing was written; expected another folder")
    assert main(["render", str(folder / "s.toml"), "--out", str(folder / "out"), "--force"]) == 0
    assert (folder / "out" / "leak.png").read_bytes().startswith(b"\x89PNG")
    assert (folder / "out" / "notes.txt").read_text() == "mine too"


FAULTS = [
    (
        ["measure", "s.toml", "--drawing", "d.jpg"],
        "--drawing = 'd.jpg': a drawing is a PNG file; expected a file name",
    ),
    (
        ["show", "s.toml", "--out", "s.txt"],
        "--out = 's.txt': the page is an HTML file; expected a file name",
    ),
    (["sweep", "pavilion-by-dome", "--out", "o", "--processes", "0"], "--processes = 0: not a number of processes; expected"),
    (["rendr"], 'Unknown command "rendr". Did you mean "render"?'),
    (["render", "s.toml"], "--out: missing; expected a path; see `raylab render --help`"),
    (["render", "s.toml", "--out", "o", "--resolutin", "5"], "Unknown option: --resolutin. Did you mean --resolution?"),
    (["domes", "head-shadow"], "head-shadow: one value too many; see `raylab domes --help`"),
    (["compare", "s.toml", "s.toml", "--dome", "head"], "--dome = 'head': unknown dome; did you mean 'head-shadow'?"),
    (["render", "s.toml", "--out", "o", "--resolution", "five"], "--resolution = 'five': wrong type; expected a whole number"),
    (["render", "s.toml", "--out", "o", "--resolution", "2.5"], "--resolution = '2.5': wrong type; expected a whole number"),
    (["compare", "s.toml", "s.toml", "--seed", "1.5"], "--seed = '1.5': wrong type; expected a whole number"),
    (
        ["repolish", "s.toml", "--facet", "table", "--out", "o", "--depth-mm", "x"],
        "--depth-mm = 'x': wrong type; expected a number",
    ),
    (
        ["repolish", "s.toml", "--facet", "table", "--out", "o", "--depth-mm", "9"],
        "--depth-mm = 9.0: the planes enclose no body",
    ),
    (["brillianteer", "blocked", "--out", "o", "--coverage", "-1"], "--coverage = -1.0: out of range; expected 0.1 to 100"),
    (["render", "s.toml", "--out", "o", "--resolution", "0"], "--resolution = 0: out of range; expected a whole number from 1"),
    (["render", "s.toml", "--out", "o", "--samples", "5"], "--samples = 5: not a square number; expected 1, 4, 9"),
    (["render", "s.toml", "--out", "o", "--engine", "magic"], '"magic"'),
    (["render", "s.toml", "--out", "o", "--dome", "evensky"], "--dome = 'evensky': unknown dome"),
    (["render", "s.toml", "--out", "o", "--dome", "d.toml"], "d.toml: no such file; expected a TOML file"),
    (["render", "s.toml", "--out", "o", "--tilt-deg", "181"], "--tilt-deg = 181.0: out of range; expected 0 to 180 degrees"),
    (["render", "s.toml", "--out", "s.toml"], "s.toml: not a folder; expected a folder to write to"),
    (["render", "lost.toml", "--out", "o"], "lost.toml: no such file; expected a TOML file"),
    (["render", ".", "--out", "o"], ".: not a file; expected a TOML file"),
    (["measure", "lost.toml"], "lost.toml: no such file; expected a TOML file"),
    (["measure", "stone.xyz"], "stone.xyz: unknown kind of stone file (.xyz); expected a file that ends in"),
    (["measure", "s.toml", "--save", "stone.xyz"], "stone.xyz: unknown kind of stone file; expected"),
    (["measure", "s.toml", "--save", "s.toml"], "s.toml: exists already; nothing was written"),
    (["scenes", "lost"], "lost: no such folder; expected a folder with scene files (*.toml)"),
    (["domes", "extra"], "extra"),
]


@pytest.mark.parametrize(("words", "says"), FAULTS, ids=[" ".join(words) for words, _ in FAULTS])
def test_bad_input_is_one_line_and_exit_code_2(refused, words, says):
    assert says in refused(*words)


@pytest.mark.parametrize("words", [["rendr"], ["render", "s.toml", "--out", "o", "--samples", "5"]])
def test_a_process_ends_as_main_does(folder, refused, words):
    done = raylab(*words, cwd=folder)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", f"raylab: {refused(*words)}\n")


def test_a_faulty_scene_is_reported_with_file_key_value_and_expectation(folder, refused):
    (folder / "s.toml").write_text(SCENE.replace("table_pct = 57", "table_pct = 570"))
    line = refused("render", "s.toml", "--out", "o")
    assert line == "s.toml: stone.table_pct = 570.0: out of range; expected 1 to 99 %"


def test_help_of_every_command_shows_an_example(capsys):
    silent = {"eyes", "film"}  # they tell no numbers
    for command in ("render", "color", "measure", "scenes", "materials", "domes", *silent):
        assert main([command, "--help"]) == 0
        record = capsys.readouterr().out
        assert "For example:" in record
        assert f"raylab {command}" in record.split("For example:")[1]
        assert ("as JSON" in record) == (command not in silent)
    assert main(["--help"]) == 0
    assert "no grade" in capsys.readouterr().out


def test_the_parameters_of_a_cut_tell_what_may_be_left_out(capsys):
    """Followed, the list gives a stone: what it calls required is all that must be stated."""
    assert main(["cuts", "pear brilliant"]) == 0
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    last = {row[0]: row[-1] for row in rows if len(row) > 3}
    assert (last["table_pct"], last["crown_end_angle_deg"], last["star_pct"]) == ("required", "none", "50.0")
    assert main(["cuts", "pear brilliant", "--json"]) == 0
    listed = {one["key"]: one for one in json.loads(capsys.readouterr().out)[0]["parameters"]}
    assert listed["crown_end_angle_deg"]["unset"] == "all crown mains meet in one point on the axis"
    assert listed["crown_end_angle_deg"]["optional"]
    assert not listed["table_pct"]["optional"]


def test_measure_reads_stones_and_scenes(folder, capsys):
    path = str(folder / "s.toml")
    assert main(["measure", path]) == 0
    record = capsys.readouterr().out
    row = next(line for line in record.splitlines() if line.strip().startswith("pavilion angle"))
    assert row.split()[2:] == ["40.7500", "40.7500", "40.7500", "0.0000", "deg", "8"]
    assert next(line for line in record.splitlines() if line.strip().startswith("upper half")).split()[2] == "16"
    assert main(["measure", path, "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["table_pct"]["mean"] == pytest.approx(57.0, abs=1e-9)
    assert len(facts["facets"]) == 57 + 32
    assert main(["measure", path, "--facets"]) == 0
    assert "crown main 7" in capsys.readouterr().out


def test_measure_states_how_well_a_measured_stone_is_known(folder, capsys):
    """The width of a box: two steps of 3 um, two tilts of 0.05 degrees at the ends of sides of 6 mm; a design has no errors."""
    path = folder / "box.csv"
    sides = [("table", "up", 0, 0, 1.5), ("base", "down", 0, 0, 1.5)]
    sides += [("girdle", "up", 90, azimuth, far) for azimuth, far in ((0, 3), (90, 2), (180, 3), (270, 2))]
    rows = [
        f"{max(k - 2, 0)},{tier},{side},{slope},{azimuth},{far}" for k, (tier, side, slope, azimuth, far) in enumerate(sides)
    ]
    path.write_text("# unit: mm\nfacet,tier,side,slope_deg,azimuth_deg,distance_mm\n" + "\n".join(rows), encoding="utf-8")
    assert main(["measure", str(path), "--uncertainty"]) == 0
    lines = capsys.readouterr().out.splitlines()
    width = next(line.split() for line in lines if line.split()[:1] == ["width"])
    mean, error, low, high = map(float, width[1:5])
    assert mean == 4.0
    assert error == pytest.approx(np.sqrt(2.0) * np.hypot(3e-3, np.radians(0.05) * 3.0), rel=0.3)
    assert low < 4.0 - 1.5 * error
    assert 4.0 + 1.5 * error < high
    assert any(line.startswith("+-: standard uncertainty") for line in lines)
    assert main(["measure", str(folder / "s.toml"), "--uncertainty"]) == 2
    assert "s.toml: --uncertainty: a stone by its proportions has none; expected a measured stone" in capsys.readouterr().err


def test_measure_names_the_tiers_of_a_scan_of_no_known_cut_itself(folder, capsys):
    rl.save_stone(box(3.0, 2.0, 1.5), folder / "box.stl")
    assert main(["measure", str(folder / "box.stl"), "--unit", "mm"]) == 0
    assert "of no known cut: tiers by side, ring from the girdle on and slope; percentages" in capsys.readouterr().out


def test_measure_saves_the_stone_and_its_drawing(folder, capsys):
    words = ["measure", str(folder / "s.toml"), "--save", str(folder / "s.stl"), "--drawing", str(folder / "s.png")]
    assert main(words) == 0
    assert sorted(os.listdir(folder)) == ["s.png", "s.stl", "s.toml"]
    assert main(words) == 2
    assert "exists already" in capsys.readouterr().err
    assert main([*words, "--force"]) == 0


def test_lists(folder, capsys):
    (folder / "broken.toml").write_text("schema = 1")
    assert main(["scenes", str(folder)]) == 0
    record = capsys.readouterr().out
    assert "[bold] a test scene" in record
    assert "not usable: " in next(line for line in record.splitlines() if "broken.toml" in line)
    assert main(["scenes", str(folder), "--json"]) == 0
    assert [Path(one["file"]).name for one in json.loads(capsys.readouterr().out)] == ["broken.toml", "s.toml"]
    assert main(["domes", "--json"]) == 0
    assert "head-shadow" in {one["name"] for one in json.loads(capsys.readouterr().out)}
    assert main(["materials", "--json"]) == 0
    facts = {one["name"]: one for one in json.loads(capsys.readouterr().out)}
    # Peter 1923 in the refractiveindex database: n_D = 2.41726, B-G = 0.04445
    assert facts["diamond"]["n_d"] == pytest.approx(2.41726, abs=1e-5)
    assert facts["diamond"]["dispersion_bg"] == pytest.approx(0.04445, abs=5e-6)
    assert facts["moissanite"]["dispersion_bg"] is None  # G lies outside the page's range
    assert main(["materials"]) == 0
    assert "2.4173" in next(line for line in capsys.readouterr().out.splitlines() if " diamond " in line)


@pytest.mark.parametrize("word", ["materials", "--help"])
def test_a_closed_pipe_is_no_fault(folder, word):
    words = [sys.executable, "-m", "raylab", word]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(words, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=60) == 0


CLOSED = "import os, sys; os.close(0); os.close(1); os.execv(sys.executable, sys.argv[1:])"


def test_a_stream_that_was_closed_before_is_no_fault(folder):
    """What would go there goes nowhere, and a file that the command writes doesn't get its number."""
    there = folder / "there.csv"
    words = [sys.executable, "-m", "raylab", "measure", "s.toml", "--save", str(there)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", CLOSED, *words], cwd=folder, env=env, stderr=subprocess.PIPE, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert "girdle diameter" not in there.read_text()
    assert "facet,tier,side" in there.read_text()


IGNORING = "import os, signal, sys; signal.signal(signal.SIGINT, signal.SIG_IGN); os.execv(sys.executable, sys.argv[1:])"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_interrupt_leaves_nothing_half_written(folder, number):
    """Ctrl-C, or another wish to end, while a large picture is traced: an exit code, one line, and no folder.

    The process that gets SIGHUP was started to ignore Ctrl-C, as a script's background is, and goes on ignoring it.
    """
    words = [sys.executable, "-m", "raylab", "render", "s.toml", "--out", "out", "--engine", "rays"]
    words = [sys.executable, "-c", IGNORING, *words] if number == signal.SIGHUP else words
    words += ["--resolution", "2000", "--samples", "64"]  # minutes of work: it can't be done before the signal
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(words, cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        waited = time.monotonic()
        while not list(folder.glob(".*.part")) and time.monotonic() - waited < 60:
            time.sleep(0.05)
        time.sleep(0.5)
        if number == signal.SIGHUP:
            process.send_signal(signal.SIGINT)
            time.sleep(0.5)
            assert process.poll() is None
            assert list(folder.glob(".*.part"))
        process.send_signal(number)
        try:
            out, err = process.communicate(timeout=60)
        finally:
            process.kill()
    told = [line for line in err.splitlines() if not line.startswith("raylab: tracing: ")]  # a slow machine says how far it is
    assert (process.returncode, out, told) == (128 + number, "", ["raylab: interrupted"])
    assert sorted(os.listdir(folder)) == ["s.toml"]


def test_an_interrupt_within_a_callback_of_compiled_code_is_not_lost(monkeypatch, capsys):
    """ctypes drops what its callbacks raise; the compiler calls such, and Ctrl-C may strike in one."""

    def interrupted() -> None:
        raise KeyboardInterrupt

    def command(*_arguments, **_options) -> None:
        ctypes.CFUNCTYPE(None)(interrupted)()
        begun = time.monotonic()
        while time.monotonic() - begun < 30.0:
            time.sleep(0.01)

    usual = sys.unraisablehook
    monkeypatch.setattr("raylab.cli.app", command)
    assert main([]) == 130
    assert capsys.readouterr().err == "raylab: interrupted\n"
    assert sys.unraisablehook is usual


def test_an_interrupt_waits_while_a_kernel_unpickles():
    """A kernel takes what that gives without looking whether it has failed, and the process would end by a fault of memory."""

    def unpickle() -> str:
        signal.raise_signal(signal.SIGINT)
        return "whole"

    calling = unpickle.__code__.replace(co_name=serialize._numba_unpickle.__name__)
    unpickle.__code__ = calling
    usual = signal.signal(signal.SIGINT, _interrupt)
    try:
        assert unpickle() == "whole"
        with pytest.raises(KeyboardInterrupt) as struck:
            time.sleep(30.0)
        assert struck.value.args == (signal.SIGINT,)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, usual)


def test_an_interrupt_waits_while_a_library_is_imported(tmp_path, monkeypatch):
    """A library that imports what it can use takes an interrupt for its absence, and the command would go on without both."""
    (tmp_path / "not_always_there.py").write_text("import signal\nsignal.raise_signal(signal.SIGINT)\n")
    (tmp_path / "uses_what_is_there.py").write_text(
        "try:\n    import not_always_there as used\nexcept BaseException:\n    used = None\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    usual = signal.signal(signal.SIGINT, _interrupt)
    try:
        import uses_what_is_there

        assert uses_what_is_there.used is not None
        with pytest.raises(KeyboardInterrupt) as struck:
            time.sleep(30.0)
        assert struck.value.args == (signal.SIGINT,)
    finally:
        signal.signal(signal.SIGINT, usual)
        sys.modules.pop("uses_what_is_there", None)
        sys.modules.pop("not_always_there", None)


def test_an_interrupt_while_the_command_is_imported_is_one_line(monkeypatch, capsys):
    class Struck:
        @staticmethod
        def find_spec(name: str, *_: object) -> None:
            if name == "raylab.cli":
                raise KeyboardInterrupt

    monkeypatch.delitem(sys.modules, "raylab.cli")
    monkeypatch.setattr(sys, "meta_path", [Struck, *sys.meta_path])
    assert __main__.run() == 130
    assert capsys.readouterr().err == "raylab: interrupted\n"


def test_files_that_a_command_writes_come_together(folder, monkeypatch, capsys):
    """A drawing that is in the way, or an interrupt at the last of many files, and none is there."""
    (folder / "there.png").write_bytes(b"")
    words = ["measure", folder / "s.toml", "--save", folder / "new.csv", "--drawing", folder / "there.png"]
    assert main([str(word) for word in words]) == 2
    assert "there.png: exists already" in capsys.readouterr().err
    copied, usual = [], shutil.copyfile

    def struck(source: Path, target: Path) -> None:
        copied.append(usual(source, target))
        if len(copied) == len(demo_files()):
            raise KeyboardInterrupt

    monkeypatch.setattr(shutil, "copyfile", struck)
    assert main(["scenes", "--copy", str(folder / "mine")]) == 130
    assert sorted(os.listdir(folder)) == ["s.toml", "there.png"]
    monkeypatch.undo()
    for more in ([], ["--force"]):
        assert main(["scenes", "--copy", str(folder / "mine"), *more]) == 0
        assert {path.relative_to(folder / "mine") for path in (folder / "mine").rglob("*.*")} == set(demo_files())
        (folder / "mine" / "stones" / "offer-a.csv").unlink()


def test_an_interrupt_waits_until_the_compiler_is_between_two_kernels():
    """LLVM's objects would be freed twice, or a kernel be left without code, where it struck at any moment."""
    passed = []

    def last() -> None:
        with compiling.one_kernel():
            signal.raise_signal(signal.SIGINT)
            passed.append("to the end of a kernel")

    def outer() -> None:
        with compiling.one_kernel():
            signal.raise_signal(signal.SIGINT)
            passed.append("to the beginning of the next one")
            with compiling.one_kernel():
                passed.append("into it")

    def faulty() -> None:
        with compiling.one_kernel():
            signal.raise_signal(signal.SIGINT)
            raise ValueError

    usual = signal.signal(signal.SIGINT, _interrupt)
    try:
        for made in (last, outer, faulty):
            with pytest.raises(KeyboardInterrupt) as struck:
                made()
            assert struck.value.args == (signal.SIGINT,)
        with compiling.one_kernel():
            passed.append("once alone")
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, usual)
    assert passed == ["to the end of a kernel", "to the beginning of the next one", "once alone"]


def test_what_an_interrupted_command_leaves_half_made_is_thrown_away_in_silence(monkeypatch, capsys):
    """As the compiler's objects, whose finalizers fail where an interrupt struck while they were made."""

    class HalfMade:
        def __del__(self) -> None:
            raise TypeError("half made")

    def command(*_arguments, **_options) -> None:
        making, kept = HalfMade(), [HalfMade()]  # noqa: F841 - freed with this frame
        kept.append(kept)
        raise KeyboardInterrupt

    monkeypatch.setattr("raylab.cli.app", command)
    for of_a_process in ("_end_as_by_ctrl_c", "gc.freeze", "gc.set_threshold", "keep_freed_memory"):
        monkeypatch.setattr(f"raylab.cli.{of_a_process}", lambda *_: None)
    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)  # put back after the test
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    assert run() == 130
    gc.collect()
    assert capsys.readouterr().err == "raylab: interrupted\n"


def test_the_command_line_starts_without_heavy_imports():
    """Help must be quick: nothing that draws, compiles or reads arrays is imported for it."""
    code = (
        "import sys; from raylab.cli import main; main(['--help']); "
        "heavy = {'matplotlib', 'xarray', 'numba', 'scipy', 'pyvista', 'pydantic', 'trimesh'} & set(sys.modules); "
        "sys.exit(f'imported {heavy}' if heavy else 0)"
    )
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (0, "")


# Output and its characters.

ODD = "\u0416\N{SUPERSCRIPT THREE} \N{SNOWMAN} \N{PLUS-MINUS SIGN}5\N{DEGREE SIGN} -1.5"


@pytest.mark.parametrize(
    ("page", "words", "shown"),
    [
        ("ascii", ["measure", "s.toml"], "\\u0416^3 \\u2603 +-5 deg -1.5"),
        ("ascii", ["measure", "s.toml", "--json"], "\\u2603"),
        ("cp1251", ["render", "s.toml", "--out", "out"], "\u0416^3 \\u2603 \N{PLUS-MINUS SIGN}5\N{DEGREE SIGN} -1.5"),
        ("utf-8", ["measure", "s.toml"], f"{ODD[:-4]}\N{MINUS SIGN}1.5"),
    ],
)
def test_no_output_fails_for_its_characters(folder, page, words, shown):
    """Redirected under a code page that lacks superscripts, degrees or letters of the stone's name."""
    (folder / "s.toml").write_text(SCENE.replace("[red]test[/red] stone", ODD), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "raylab", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": page},
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    text = done.stdout.decode(page)
    assert shown in text
    if "--json" in words:
        assert json.loads(text)["name"] == ODD


@pytest.mark.parametrize(
    "words",
    [
        ("measure",),
        ("render", "--out", "out"),
        ("repolish", "--facet", "star 0", "--out", "out"),
        ("brillianteer", "--out", "out"),
        ("compare", "s.toml"),
    ],
)
def test_what_a_scan_lacks_is_named_as_its_option(refused, words):
    command, *rest = words
    scan = ROOT / "scenes" / "stones" / "offer-a.ply"
    line = f"{scan}: --unit: a .ply file states no unit; expected one of um, mm, cm, m, in"
    assert refused(command, str(scan), *rest) == line
