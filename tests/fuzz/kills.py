"""A sweep killed at random moments, as by a power cut, and resumed until it is done: the result is the same to the byte."""

from __future__ import annotations

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
rl.sweep({"crown_angle_deg": rl.steps(30.0, 38.0, 8),
          "pavilion_angle_deg": rl.steps(38.5, 42.5, 8)}, "head-shadow", table_pct=57.0,
         settings=rl.TraceSettings(precision=0.01), processes=2, out=sys.argv[1])
"""


def started(out: Path) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "PYTHONPATH": str(Path(rl.__file__).parents[1])}
    return subprocess.Popen([sys.executable, "-c", SCRIPT, str(out)], env=environment)


def killed_and_resumed(kills: int) -> int:
    """1 where a result differs or a run fails, else 0."""
    with tempfile.TemporaryDirectory() as name:
        whole, out = Path(name, "whole"), Path(name, "out")
        begun = time.monotonic()
        assert started(whole).wait() == 0
        longest_s, random, rounds = time.monotonic() - begun, Random(0), 0
        for _ in range(kills):
            process = started(out)
            time.sleep(random.uniform(0.0, longest_s))
            process.send_signal(signal.SIGKILL)
            if process.wait() not in (0, -signal.SIGKILL):
                print(f"a resumed run failed: {process.returncode}")
                return 1
            if (out / "sweep.nc").exists():
                rounds += 1
                if (out / "sweep.nc").read_bytes() != (whole / "sweep.nc").read_bytes():
                    print("a resumed sweep gave another result")
                    return 1
                for file in sorted(out.rglob("*"), reverse=True):
                    file.rmdir() if file.is_dir() else file.unlink()
        print(f"{kills} kills, {rounds} sweeps finished in spite of them: every result the same to the byte")
    return 0
