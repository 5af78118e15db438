"""A name or an object, everywhere: what takes a dome takes its name and its file too."""

from __future__ import annotations

from pathlib import Path

import pytest

import raylab as rl

ROOT = Path(__file__).parent.parent
STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=16)
COARSE = rl.TraceSettings(precision=0.1)
BLOCKED = ROOT / "scenes" / "stones" / "blocked.csv"
DESIGN = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
UNDER = {
    "Scene": lambda dome: rl.Scene(STONE, dome).hash(),
    "trace": lambda dome: rl.trace(STONE, dome, resolution=8, precision=0.1).summary.to_dict(),
    "tilt": lambda dome: rl.tilt(STONE, dome, [0.0, 5.0], settings=COARSE).brightness.values.tolist(),
    "scintillation": lambda dome: rl.scintillation(STONE, dome, [0.0, 5.0], resolution=16, settings=COARSE),
    "compare": lambda dome: rl.compare(STONE, STONE, dome=dome, tilts=(0.0,), resolution=8, settings=COARSE).to_dict(),
    "sweep": lambda dome: rl.sweep(
        {"tilt_deg": [0.0]}, dome, processes=1, settings=COARSE, **DESIGN
    ).brightness.values.tolist(),
    "gradient": lambda dome: rl.gradient(DESIGN, dome, keys=["table_pct"], settings=COARSE).slope.values.tolist(),
    "with_head": lambda dome: rl.with_head(dome, 300.0),
    "brillianteer": lambda dome: rl.brillianteer(rl.load_stone(BLOCKED), dome, settings=COARSE, resolution=8).to_dict(),
}


@pytest.mark.parametrize("what", UNDER)
def test_a_dome_is_given_by_name_by_file_or_as_an_object(what, tmp_path):
    """The same everywhere: the same numbers come out, and another thing is refused in one line."""
    file = tmp_path / "head-shadow.toml"
    file.write_bytes((ROOT / "raylab" / "lighting" / "domes" / "head-shadow.toml").read_bytes())
    seen = [repr(UNDER[what](dome)) for dome in (rl.load_dome("head-shadow"), "head-shadow", file)]
    assert seen[0] == seen[1] == seen[2]
    with pytest.raises(rl.InputError, match=r"dome = 'head-shade': unknown dome; did you mean 'head-shadow'\?"):
        UNDER[what]("head-shade")
    with pytest.raises(rl.InputError, match="dome = 7: wrong type"):
        UNDER[what](7)
