"""Compile the kernels that most tests need, once for all processes of a run: ``python tests/kernels.py rays``, or ``beams``.

numba keeps what it compiles beside the source. Processes that begin at once compile everything each for itself, and the tests
begin in two. So `run.py` calls this before the tests, for both engines side by side.
"""

from __future__ import annotations

import sys

import raylab as rl


def compile_kernels(engine: str) -> None:
    """Trace a small picture of a clear stone and of a tinted one."""
    for tint in (0.0, 0.05):
        material = rl.get_material("diamond").tinted(tint)
        stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, material=material)
        rl.trace(stone, rl.load_dome("head-shadow"), rl.View(tilt_deg=10.0), resolution=16, engine=engine, precision=0.1)


if __name__ == "__main__":
    compile_kernels(sys.argv[1])
