"""Sweeps killed at random moments, as by a power cut.

* resumed until it is done, with its result in one file and in pieces: the result is the same to the byte;
* begun with ``force`` over another sweep: the folder never holds some of one sweep and some of the other, and a run without
  ``force`` ends with the bytes of the sweep that the folder's description names.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from random import Random

import raylab as rl

SCRIPT = """
import sys, raylab as rl
from raylab.sweeps.dealing import block_shape
block_shape.__defaults__ = (16,)  # four blocks of a result in pieces
out, table, how = sys.argv[1:]
axes = {"crown_angle_deg": rl.steps(30.0, 38.0, 8), "pavilion_angle_deg": rl.steps(38.5, 42.5, 8)}
rl.sweep(axes, "head-shadow", table_pct=float(table),
         settings=rl.TraceSettings(precision=0.01), processes=2, out=out, force=how == "force", zarr=how == "pieces")
"""
TABLES = ("57.0", "60.0")
"""What sets one sweep apart from the other."""


def started(out: Path, table: str = TABLES[0], how: str = "whole") -> subprocess.Popen[bytes]:
    path = os.pathsep.join([str(Path(rl.__file__).parents[1]), os.environ.get("PYTHONPATH", "")])
    environment = {**os.environ, "PYTHONPATH": path}
    words = [sys.executable, "-c", SCRIPT, str(out), table, how]
    return subprocess.Popen(words, env=environment, stderr=subprocess.DEVNULL)


def kill(process: subprocess.Popen[bytes], after_s: float) -> bool:
    """Whether the process was killed, or was done before."""
    time.sleep(after_s)
    process.send_signal(signal.SIGKILL)
    return process.wait() in (0, -signal.SIGKILL)


def finished(place: Path, table: str, how: str = "whole") -> tuple[bytes, float]:
    """The result of a sweep that nothing disturbs, and how many seconds it takes."""
    begun = time.monotonic()
    assert started(place / table, table, how).wait() == 0
    return result(place / table), time.monotonic() - begun


def result(out: Path) -> bytes:
    """The bytes of a finished sweep's result, one file after another where it is in pieces; empty where it is not finished."""
    if not (out / "sweep.json").exists() or "result_sha256" not in json.loads((out / "sweep.json").read_text()):
        return b""
    files = [file for file in sorted((out / "sweep.zarr").rglob("*")) if file.is_file()] or [out / "sweep.nc"]
    return b"".join(file.name.encode() + file.read_bytes() for file in files)


def killed_and_resumed(kills: int, seed: int = 0) -> int:
    """1 where a result differs or a run fails, else 0. Every second kill is one of a sweep whose result is in pieces."""
    rounds = {"whole": 0, "pieces": 0}
    for how in rounds:
        with tempfile.TemporaryDirectory() as name:
            out, random = Path(name, "out"), Random(seed)
            whole, longest_s = finished(Path(name), TABLES[0], how)
            for _ in range(-(-kills // 2)):
                if not kill(started(out, how=how), random.uniform(0.0, longest_s)):
                    print("a resumed run failed")
                    return 1
                if found := result(out):
                    rounds[how] += 1
                    if found != whole:
                        print("a resumed sweep gave another result")
                        return 1
                    shutil.rmtree(out)
    print(f"{kills} kills, sweeps finished in spite of them {rounds}: every result the same to the byte")
    return 0


def killed_and_forced(kills: int, seed: int = 0) -> int:
    """1 where a folder holds a mixed set or a run fails, else 0."""
    with tempfile.TemporaryDirectory() as name:
        out, random, states = Path(name, "out"), Random(seed), {"whole": 0, "begun": 0, "empty": 0}
        whole = {table: finished(Path(name), table) for table in TABLES}
        longest_s = max(time_s for _, time_s in whole.values())
        for number in range(kills):
            if not kill(started(out, TABLES[number % 2], "force"), random.uniform(0.0, 1.3 * longest_s)):
                print("a forced run failed")
                return 1
            table, state = held(out)
            states[state] += 1
            if state == "whole" and result(out) != whole[table][0]:
                print(f"kill {number}: the result is not that of the sweep that sweep.json names")
                return 1
            if state == "begun" and number % 5 == 0:
                failed = started(out, table).wait()
                if failed or result(out) != whole[table][0]:
                    print(f"kill {number}: what a killed run left gave another result")
                    return 1
        print(f"{kills} kills with force: {states}, never a mixed set")
    return 0


def held(out: Path) -> tuple[str, str]:
    """The sweep that a folder's description names, and whether it is whole, begun, or there is none."""
    if not (out / "sweep.json").exists():
        assert not (out / "sweep.nc").exists(), "a result without its description"
        return "", "empty"
    facts = json.loads((out / "sweep.json").read_text())
    return str(facts["fixed"]["table_pct"]), "whole" if (out / "sweep.nc").exists() else "begun"
