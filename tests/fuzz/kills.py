"""Sweeps killed at random moments, as by a power cut.

* resumed until it is done: the result is the same to the byte;
* begun with ``force`` over another sweep: the folder never holds some of one sweep and some of the other, and a run without
  ``force`` ends with the bytes of the sweep that the folder's description names.
"""

from __future__ import annotations

import json
import os
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
out, table, force = sys.argv[1:]
rl.sweep({"crown_angle_deg": (30.0, 38.0, 8), "pavilion_angle_deg": (38.5, 42.5, 8)}, "head-shadow", table_pct=float(table),
         settings=rl.TraceSettings(precision=0.01), processes=2, out=out, force=force == "force")
"""
TABLES = ("57.0", "60.0")
"""What sets one sweep apart from the other."""


def started(out: Path, table: str = TABLES[0], *, force: bool = False) -> subprocess.Popen[bytes]:
    path = os.pathsep.join([str(Path(rl.__file__).parents[1]), os.environ.get("PYTHONPATH", "")])
    environment = {**os.environ, "PYTHONPATH": path}
    words = [sys.executable, "-c", SCRIPT, str(out), table, "force" if force else "resume"]
    return subprocess.Popen(words, env=environment, stderr=subprocess.DEVNULL)


def kill(process: subprocess.Popen[bytes], after_s: float) -> bool:
    """Whether the process was killed, or was done before."""
    time.sleep(after_s)
    process.send_signal(signal.SIGKILL)
    return process.wait() in (0, -signal.SIGKILL)


def finished(place: Path, table: str) -> tuple[bytes, float]:
    """The result of a sweep that nothing disturbs, and how many seconds it takes."""
    begun = time.monotonic()
    assert started(place / table, table).wait() == 0
    return (place / table / "sweep.nc").read_bytes(), time.monotonic() - begun


def killed_and_resumed(kills: int, seed: int = 0) -> int:
    """1 where a result differs or a run fails, else 0."""
    with tempfile.TemporaryDirectory() as name:
        out, random, rounds = Path(name, "out"), Random(seed), 0
        whole, longest_s = finished(Path(name), TABLES[0])
        for _ in range(kills):
            if not kill(started(out), random.uniform(0.0, longest_s)):
                print("a resumed run failed")
                return 1
            if (out / "sweep.nc").exists():
                rounds += 1
                if (out / "sweep.nc").read_bytes() != whole:
                    print("a resumed sweep gave another result")
                    return 1
                for file in sorted(out.rglob("*"), reverse=True):
                    file.rmdir() if file.is_dir() else file.unlink()
        print(f"{kills} kills, {rounds} sweeps finished in spite of them: every result the same to the byte")
    return 0


def killed_and_forced(kills: int, seed: int = 0) -> int:
    """1 where a folder holds a mixed set or a run fails, else 0."""
    with tempfile.TemporaryDirectory() as name:
        out, random, states = Path(name, "out"), Random(seed), {"whole": 0, "begun": 0, "empty": 0}
        whole = {table: finished(Path(name), table) for table in TABLES}
        longest_s = max(time_s for _, time_s in whole.values())
        for number in range(kills):
            if not kill(started(out, TABLES[number % 2], force=True), random.uniform(0.0, 1.3 * longest_s)):
                print("a forced run failed")
                return 1
            table, state = held(out)
            states[state] += 1
            if state == "whole" and (out / "sweep.nc").read_bytes() != whole[table][0]:
                print(f"kill {number}: the result is not that of the sweep that sweep.json names")
                return 1
            if state == "begun" and number % 5 == 0:
                failed = started(out, table).wait()
                if failed or (out / "sweep.nc").read_bytes() != whole[table][0]:
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
