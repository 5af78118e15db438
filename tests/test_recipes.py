"""Recipes by tiers: what they make, against the cuts; every cut back from its own; and what is refused, in one line."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

import raylab as rl
from raylab.cli import main
from raylab.cli.options import Subject
from raylab.designs.keys import resolved
from raylab.errors import StoneError
from raylab.stone.cuts import CUTS
from raylab.stone.offsets import Offset
from raylab.workbench.design_json import stone_of
from raylab.workbench.file_exchange import open_bytes

ROUND = """
schema = 1

[stone]
name = "by hand (invented)"
symmetry = "8, mirror 0"

[stone.outline]
shape = "circle"
diameter_mm = 6.5

[stone.girdle]
thickness_mm = 0.2275
facets = 96

[[stone.tier]]
name = "pavilion main"
side = "pavilion"
azimuth_deg = 0
slope_deg = 40.75
meets = "girdle"

[[stone.tier]]
name = "lower half"
side = "pavilion"
azimuth_deg = 11.25
through = [{ foot = "pavilion main" }, { on = ["pavilion main", "pavilion main"], way_pct = 77 }]

[[stone.tier]]
name = "crown main"
side = "crown"
azimuth_deg = 0
slope_deg = 34.5
meets = "girdle"

[[stone.tier]]
name = "table"
side = "crown"
slope_deg = 0
through = [{ on = ["crown main 0"], azimuth_deg = 0, height_mm = TABLE }]

[[stone.tier]]
name = "star"
side = "crown"
azimuth_deg = 22.5
through = [{ on = ["table", "crown main 0"], azimuth_deg = 0 }, { on = ["crown main", "crown main"], way_pct = STAR }]

[[stone.tier]]
name = "upper half"
side = "crown"
azimuth_deg = 11.25
through = [{ foot = "crown main" }, { on = ["crown main", "crown main", "star 0"] }]
"""
HIGH = 0.2275 / 2.0 + (3.25 - 0.57 * 3.25) * math.tan(math.radians(34.5))
WAY = 50.0 * (1.0 - 0.57 * math.cos(math.pi / 8.0))
"""Half the way from the girdle to the table's edge, as a share of the way to the axis."""
ROUND = ROUND.replace("TABLE", repr(HIGH)).replace("STAR", repr(WAY))
SQUARE = (Path(__file__).parents[1] / "scenes" / "stones" / "square-with-cut-corners.toml").read_text(encoding="utf-8")
PENTAGON = (Path(__file__).parents[1] / "scenes" / "stones" / "uneven-pentagon.toml").read_text(encoding="utf-8")
CORNERS = PENTAGON[PENTAGON.index("corners_mm") : PENTAGON.index("\n\n[stone.girdle]")]
TIER = '\n[[stone.tier]]\nname = "row"\nside = "crown"\n'


@pytest.fixture(autouse=True)
def elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def made(text: str, name: str = "r.toml") -> rl.Stone:
    Path(name).write_text(text, encoding="utf-8")
    return rl.load_stone(name)


def apart(one: rl.Stone, other: rl.Stone) -> float:
    """How far the planes of each tier lie from those of the other stone: normals and mm."""
    assert sorted(one.tiers) == sorted(other.tiers)
    worst = 0.0
    for tier in set(one.tiers):
        a, b = one.facets_of(tier), other.facets_of(tier)
        normals = np.abs(one.normals[a][:, None] - other.normals[b][None]).max(axis=2)
        far = np.maximum(normals, np.abs(one.distances_mm[a][:, None] - other.distances_mm[b][None]))
        assert sorted(far.argmin(axis=1)) == list(range(len(a)))
        worst = max(worst, float(far.min(axis=1).max()))
    return worst


def tiers_in(path: str) -> dict[str, list[dict]]:
    """The entries of a recipe by tier."""
    found: dict[str, list[dict]] = {}
    for entry in tomllib.loads(Path(path).read_text(encoding="utf-8"))["stone"]["tier"]:
        found.setdefault(entry["name"], []).append(entry)
    return found


# --- what recipes make ----------------------------------------------------------------------------------------------------


def test_a_round_brilliant_by_hand_is_that_of_its_proportions():
    """Mains by slope on the girdle, halves from foot to tip, stars from the table to half the way: the cut's own planes."""
    stone = made(ROUND)
    expected = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    assert apart(stone, expected) < 1e-13
    assert [stone.facet_name(f) for f in stone.facets_of("star")] == [f"star {k}" for k in range(8)]
    assert stone.azimuth_deg()[stone.facets_of("star")] == pytest.approx([22.5 + 45.0 * k for k in range(8)])
    assert (stone.name, stone.cut, str(stone.symmetry), stone.measured) == ("by hand (invented)", "", "8, mirror 0.0", False)


def test_azimuths_can_be_listed_and_follow_the_outline():
    """The same square by symmetry, by a list, and one per side; a list is not repeated."""
    as_listed = SQUARE.replace('one_per = "side"', "azimuth_deg = [0, 90, 180, 270]")
    by_symmetry = SQUARE.replace('one_per = "corner"', "azimuth_deg = 45")
    first = made(SQUARE)
    assert max(apart(first, made(as_listed)), apart(first, made(by_symmetry))) < 1e-14
    assert len(first) == 8 + 1 + 4 * 6 + 2 * 8
    with pytest.raises(StoneError, match="pavilion side at azimuth 0: lies in the plane of a pavilion side"):
        made(SQUARE.replace('one_per = "side"', "azimuth_deg = [0, 90, 0]", 1))


def test_a_side_star_takes_over_at_its_height():
    """Closed form: its lower edge lies at the height, on the steep side's plane; its slope is its own."""
    stone = made(SQUARE)
    assert len(stone.facets_of("side star")) == 4
    for f in stone.facets_of("side star"):
        corners = stone.vertices_mm[stone.polyhedron.loops[f]]
        assert corners[:, 2].min() == pytest.approx(0.6, abs=1e-12)
        assert stone.slope_deg()[f] == pytest.approx(27.0, abs=1e-12)
        lower = corners[corners[:, 2] < 0.6 + 1e-9]
        inward = (0.6 - 0.1) / math.tan(math.radians(44.0))
        assert np.abs(lower @ stone.normals[f] - stone.distances_mm[f]).max() < 1e-12
        assert (lower[:, :2] @ stone.normals[f, :2]) / np.hypot(*stone.normals[f, :2]) == pytest.approx(2.8 - inward)


def test_a_free_polygon_is_read_from_a_table_of_corners():
    """All mains fall towards the stated point, each from its side: apex and volume of the pyramid below in closed form."""
    stone = made(PENTAGON)
    corners = np.array(tomllib.loads(PENTAGON)["stone"]["outline"]["corners_mm"])
    lines = ["# invented", "x_mm,y_mm", *(f"{x},{y}" for x, y in corners[::-1])]  # the other way around
    Path("five.csv").write_text("\n".join(lines), encoding="utf-8")
    assert apart(stone, made(PENTAGON.replace(CORNERS, 'shape = "polygon"\nfile = "five.csv"').replace(
        'shape = "polygon"\nshape', "shape"))) < 1e-15  # fmt: skip
    assert stone.vertices_mm[stone.vertices_mm[:, 2].argmin()] == pytest.approx([0.0, 0.0, -2.3], abs=1e-12)
    x, y = corners.T
    area = 0.5 * float(x @ np.roll(y, -1) - np.roll(x, -1) @ y)
    below = [f for f in range(len(stone)) if stone.tiers[f] == "pavilion main"]
    volume = float(stone.polyhedron.areas[below] @ (stone.distances_mm[below] + 0.1 * stone.normals[below, 2])) / 3.0
    assert volume == pytest.approx(area * 2.2 / 3.0, rel=1e-12)


def test_curved_outlines_of_a_recipe():
    """Mains that stand on an oval and fall towards one point are the oval brilliant's."""
    oval = rl.oval_brilliant(table_pct=57, width_mm=5.0)
    mains = oval.facets_of("pavilion main")
    azimuths = oval.azimuth_deg()[mains].tolist()
    top = {"name": "lid", "side": "crown", "slope_deg": 0.0, "distance_mm": 0.5}
    text = "schema = 1\n[stone]\n[stone.outline]\nshape = 'oval'\nlength_mm = 7\nwidth_mm = 5\n"
    text += "[stone.girdle]\nthickness_mm = 0.175\n"
    text += f"[[stone.tier]]\nname = 'pavilion main'\nside = 'pavilion'\nazimuth_deg = {azimuths}\nmeets = 'girdle'\n"
    text += f"through = [{{ axis_mm = {-0.0875 - 2.5 * math.tan(math.radians(40.75))!r} }}]\n[[stone.tier]]\n"
    text += "\n".join(f"{key} = {value!r}" for key, value in top.items())
    stone = made(text)
    own = stone.facets_of("pavilion main")
    assert np.abs(stone.normals[own] - oval.normals[mains]).max() < 1e-13
    assert np.abs(stone.distances_mm[own] - oval.distances_mm[mains]).max() < 1e-13


# --- every cut, written and read back -------------------------------------------------------------------------------------

_STATED = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}


@pytest.mark.parametrize(
    ("cut", "more"),
    [*((cut, {}) for cut in rl.cuts()), (CUTS["pear brilliant"], {"pavilion_mains": 4})],
    ids=lambda one: one.name if isinstance(one, rl.Cut) else str(one),
)
def test_every_cut_comes_back_from_its_recipe(cut, more):
    """To 1e-12 in every plane, with what else the stone says; and no tier but level ones is known by its planes alone."""
    given = {one.key: _STATED[one.key] for one in cut.parameters if one.default is None and one.key in _STATED} | more
    given |= {"girdle_facets": 32} if "girdle_facets" in cut.keys else {}
    stone = rl.cut(cut.name, **given, girdle_finish="absorbing", material="sapphire", name="one (invented)")
    rl.save_stone(stone, "one.toml")
    again = rl.load_stone("one.toml")
    assert apart(stone, again) < 1e-12
    assert (again.cut, again.name, again.material) == (stone.cut, stone.name, stone.material)
    assert str(again.symmetry) == str(stone.symmetry)
    assert {again.finishes[f].kind for f in np.flatnonzero(again.on_girdle)} == {"absorbing"}
    known = [entry for entries in tiers_in("one.toml").values() for entry in entries if "distance_mm" in entry]
    assert {entry["slope_deg"] for entry in known} <= {0.0}


def test_a_recipe_says_how_a_round_brilliant_is_made(capsys):
    assert main(["recipe", "round brilliant", "--table-pct", "57", "--crown-angle-deg", "34.5",
                 "--pavilion-angle-deg", "40.75", "--out", "r.toml"]) == 0  # fmt: skip
    assert "153 facets" in capsys.readouterr().out
    tiers = tiers_in("r.toml")
    for name, slope in (("pavilion main", 40.75), ("crown main", 34.5)):
        side = name.split()[0]
        assert tiers[name] == [{"name": name, "side": side, "azimuth_deg": 0.0, "slope_deg": slope, "meets": "girdle"}]
    (lower,), (star,), (upper,) = (tiers[name] for name in ("lower half", "star", "upper half"))
    assert lower["through"] == [
        {"foot": "pavilion main 0"},
        {"on": ["pavilion main 0", "pavilion main 1"], "way_pct": 77.0},
    ]
    assert star["through"][0]["on"] == ["crown main 0", "crown main 1"]
    assert star["through"][0]["way_pct"] == pytest.approx(WAY, rel=1e-12)
    assert upper["through"] == [{"foot": "crown main 0"}, {"on": ["crown main 0", "crown main 1", "star 0"]}]
    stated = tomllib.loads(Path("r.toml").read_text(encoding="utf-8"))["stone"]
    assert stated["outline"] == {"shape": "circle", "diameter_mm": 6.5}


def test_a_recipe_says_how_steps_and_chevrons_are_made():
    rl.save_stone(rl.emerald_cut(table_pct=60), "e.toml")
    tiers = tiers_in("e.toml")
    first, second = tiers["first pavilion step"], tiers["second pavilion step"]
    assert [(entry["one_per"], entry["meets"]) for entry in first] == [("side", "girdle"), ("corner", "girdle")]
    assert [(entry["one_per"], entry["meets"]) for entry in second] == [
        ("side", "first pavilion step"),
        ("corner", "first pavilion step"),
    ]
    assert (first[0]["slope_deg"], second[0]["slope_deg"]) == (52.0, 45.0)
    rl.save_stone(rl.princess_cut(table_pct=66, chevrons=2), "p.toml")
    tiers = tiers_in("p.toml")
    assert [tiers[name][0]["meets"] for name in ("pavilion side", "crown side", "side star")] == [
        "girdle",
        "girdle",
        "crown side",
    ]
    assert {"girdle_corner": 0} in tiers["first chevron"][0]["through"]


def test_what_only_planes_tell_is_stated_by_planes():
    """A stone with one main off: that main by slope and distance, and the facets that don't fit its place too."""
    even = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
    stone = rl.deviate(even, {"pavilion main 3": Offset(slope_deg=0.05, depth_mm=0.002)})
    rl.save_stone(stone, "u.toml")
    again = rl.load_stone("u.toml")
    assert apart(stone, again) < 1e-12
    assert any("distance_mm" in entry for entry in tiers_in("u.toml")["pavilion main"])
    assert [entry["slope_deg"] for entry in tiers_in("u.toml")["crown main"]] == [34.5]


def test_stones_that_have_no_recipe_are_refused():
    s = 1.0 / math.sqrt(3.0)
    faces = np.array([[x, y, z] for x in (s, -s) for y in (s, -s) for z in (s, -s)])
    octahedron = rl.Stone.from_planes(faces, np.ones(8), name="o")
    with pytest.raises(rl.InputError, match="needs a girdle of vertical facets; expected a table of facets"):
        rl.save_stone(octahedron, "o.toml")
    assert not Path("o.toml").exists()


# --- every door -----------------------------------------------------------------------------------------------------------


def test_every_door_reads_a_recipe(capsys):
    """In a scene, as a scene's stone file, as a stone alone, and on the axis of a sweep: the same planes."""
    stone = made(SQUARE, "mine.toml")
    view = '\n[dome]\nname = "head-shadow"\n'
    Path("inline.toml").write_text(SQUARE + view, encoding="utf-8")
    Path("named.toml").write_text(f'schema = 1\n[stone]\nfile = "mine.toml"\n{view}', encoding="utf-8")
    for name in ("inline.toml", "named.toml"):
        assert rl.load_scene(name).stone.plane_bytes() == stone.plane_bytes()
    alone = Subject().scene(Path("mine.toml"))
    assert (alone.dome.name, alone.stone.plane_bytes()) == ("head-shadow", stone.plane_bytes())
    assert main(["measure", "square-with-cut-corners", "--save", "again.toml"]) == 0
    assert "unknown cut" in capsys.readouterr().out
    assert apart(stone, rl.load_stone("again.toml")) < 1e-12
    assert len(resolved("stone", "mine.toml")) == len(stone)


def test_a_table_of_facets_of_no_known_cut_keeps_the_names_of_its_tiers(capsys):
    """As every command that takes a tier does, though "crown main" is a brilliant's too."""
    square = made(SQUARE)
    rl.save_stone(square, "mine.csv")
    assert main(["measure", "mine.csv"]) == 0
    said = capsys.readouterr().out
    assert "unknown cut" in said
    assert "of no known cut: tiers as the file names them; percentages are of the width" in said
    assert {row.tier for row in rl.measure(rl.load_stone("mine.csv")).facets} == set(square.tiers)


def test_a_stated_cut_is_checked_against_the_facets(tmp_path):
    path = tmp_path / "mine.toml"
    rl.save_stone(rl.oval_brilliant(table_pct=57.0, length_ratio=1.4), path)
    text = path.read_text(encoding="utf-8")
    assert made(text).cut == "oval brilliant"
    with pytest.raises(rl.InputError) as told:
        made(text.replace('cut = "oval brilliant"', 'cut = "pear brilliant"'))
    says = "stone.cut = 'pear brilliant': the facets are those of another cut; expected 'oval brilliant', or none"
    assert str(told.value).endswith(says)
    with pytest.raises(rl.InputError, match="no tier of this cut is among the recipe's; expected tiers such as"):
        made(SQUARE.replace('material = "diamond"', 'cut = "rose cut"'))
    square = rl.cut("emerald cut", table_pct=57.0, length_ratio=1.0)
    rl.save_stone(square, path, force=True)  # as long as it is wide: recognised as a square emerald cut too
    assert made(path.read_text(encoding="utf-8")).cut == "emerald cut"


def test_the_page_takes_up_a_recipe_as_facets_and_follows_no_file():
    opened = open_bytes("mine.toml", SQUARE.replace('material = "diamond"', 'cut = "princess cut"').encode())
    assert opened.design["kind"] == "facets"
    assert len(stone_of(opened.design)) == len(made(SQUARE))
    assert stone_of(open_bytes("mine.toml", SQUARE.encode()).design).cut == ""
    with pytest.raises(rl.InputError, match="refers to another file"):
        open_bytes("five.toml", PENTAGON.replace(CORNERS, 'file = "five.csv"').encode())


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["princes cut", "--table-pct", "60", "--out", "x.toml"], "unknown cut; did you mean 'princess cut'?"),
        (
            ["princess cut", "--tabel-pct", "60", "--out", "x.toml"],
            "--tabel-pct: no parameter of the princess cut",
        ),
        (["princess cut", "--table-pct", "wide", "--out", "x.toml"], "--table-pct = 'wide': not a number; expected 1 to 99 %"),
        (["princess cut", "--out", "x.toml"], "--table-pct: missing; expected 1 to 99 %"),
        (["princess cut", "--out", "x.toml", "--table-pct"], "--table-pct: missing; expected a value"),
        (
            ["round brilliant", "--table-pct", "57", "--out", "x.toml"],
            "--crown-angle-deg or --crown-height-pct: missing; expected one of the two",
        ),
        (
            ["round brilliant", "--crown-angle-deg", "34", "--crown-height-pct", "15", "--out", "x.toml"],
            "--crown-height-pct: --crown-angle-deg and --crown-height-pct are alternatives; give only one",
        ),
        (
            ["princess cut", "--table-pct", "9", "--crown-angel-deg", "9", "--out", "x.toml"],
            "did you mean '--crown-angle-deg'?",
        ),
        (["princess cut", "--table-pct", "60", "--out", "x.csv"], "a recipe is a TOML file"),
        (["princess cut", "--table-pct", "60", "--star-angle-deg", "39", "--out", "x.toml"], "the stars are no flatter"),
        (
            ["marquise brilliant", "--table-pct", "57", "--pavilion-end-angle-deg", "70", "--out", "r.toml"],
            "expected --pavilion-end-angle-deg at most ",
        ),
        (["round brilliant", "--table-pct", "57", "--out", "r.toml"], "--crown-angle-deg or --crown-height-pct: missing"),
    ],
)
def test_the_command_refuses_in_one_line(argv, says, capsys):
    assert main(["recipe", *argv]) == 2
    line = capsys.readouterr().err
    assert says in line
    assert line.count("\n") == 1
    assert not list(Path().iterdir())


# --- what a recipe can't close, and what it leaves loose ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "old", "new", "says"),
    [
        (SQUARE, "slope_deg = 58", "slop_deg = 58", "stone.tier#1.slop_deg = 58: unknown key; did you mean 'slope_deg'?"),
        (SQUARE, '"rectangle"', '"rectangel"', "stone.outline.shape = 'rectangel': unknown outline; did you mean 'rectangle'?"),
        (SQUARE, 'side = "pavilion"\n', "", "stone.tier#1.side: missing; expected 'crown' or 'pavilion'"),
        (SQUARE, '"rectangle"', '"heart"', "stone.outline.shape = 'heart': a heart is not convex: light could"),
        (SQUARE, "corner_mm = 1.1", "corner_mm = 3", "stone.outline.corner_mm = 3.0: the cut corners meet"),
        (SQUARE, "corner_mm = 1.1", "corner_mm = 0", "pavilion corner 0 at azimuth 45 cuts nothing: the stone only touches it"),
        (SQUARE, 'side = "pavilion"', 'side = "crown"', "stone.tier#1.side = 'crown': a pavilion side on the crown"),
        (SQUARE, "slope_deg = 58\n", "slope_deg = 58\ndistance_mm = 2\n", "#1: pavilion side at azimuth 0: states too much"),
        (SQUARE, "slope_deg = 58\n", "", "stone.tier#1: pavilion side at azimuth 0: states too little: an azimuth and 1 point"),
        (SQUARE, "height_mm = 0.6\n", "", "stone.tier#7.height_mm: side star at azimuth 0: missing"),
        (SQUARE, '"crown side"\nheight', '"crwn side"\nheight', "tier#7.meets = 'crwn side': side star at azimuth 0: no tier"),
        (SQUARE, 'one_per = "side"', "", "stone.tier#1.azimuth_deg: pavilion side: missing; expected an azimuth beside meets"),
        (SQUARE, 'symmetry = "4, mirror 0"', 'cut = "princes cut"', "stone.cut = 'princes cut': unknown cut; did you mean"),
        (SQUARE, 'slope_deg = 58\nmeets = "girdle"', 'slope_deg = 58\nmeets = "girdel"',
         "stone.tier#1.meets = 'girdel': pavilion side at azimuth 0: no tier of this name is cut yet; did you mean 'girdle'?"),
        (SQUARE, "{ girdle_corner = 0 }", "{ girdle_corner = 9 }", "pavilion main at azimuth 22.5: no such corner; expected 0"),
        (SQUARE, "thickness_mm = 0.2", "thickness_mm = 0.2\nfacets = 96", "girdle.facets = 96: this outline has its own sides"),
        (SQUARE, "slope_deg = 41.5\nthrough = [{ girdle_corner = 0 }]", "slope_deg = 41.5\ndistance_mm = 4",
         "stone.tier#3: pavilion main 0 at azimuth 22.5 cuts nothing: the stone ends 0.8748 mm before it"),
        (SQUARE, "\n", f"{TIER}slope_deg = 0\ndistance_mm = 0.8\n", "stone.tier#6: table is cut away again by the tiers"),
        (SQUARE, "\n", f"{TIER}slope_deg = 0\ndistance_mm = -4\n", "stone.tier#10: the row contradicts the tiers before it"),
        (SQUARE, "\n", f'{TIER}one_per = "side"\nslope_deg = 36\nmeets = "crown side"\nheight_mm = 0.35\n',
         "stone.tier#7: side star 0 at azimuth 0 doesn't meet crown side 0: other facets lie between them"),
        (ROUND, "azimuth_deg = 0\nslope_deg = 40.75", 'one_per = "side"\nslope_deg = 40.75', "the outline has no sides"),
        (ROUND, '"pavilion main", "pavilion main"', '"star", "star"', "lower half at azimuth 11.25: no tier of this name"),
        (ROUND, '"crown main 0"], azimuth_deg = 0 }', '"crown main 9"], azimuth_deg = 0 }', "expected crown main 0 to 7"),
        (ROUND, "thickness_mm = 0.2275", "thickness_mm = 0.02", "nothing is left of the girdle at azimuth 5.625"),
        (SQUARE, "\n", f"{TIER}azimuth_deg = 22.5\nslope_deg = 50\nthrough = [{{ xyz_mm = [2.75, 1.67, -0.15] }}]\n",
         "stone.girdle.thickness_mm = 0.2: the girdle isn't closed: row"),
        (ROUND, "\n", '\n[[stone.tier]]\nname = "culet"\nside = "pavilion"\nslope_deg = 0\ndistance_mm = 2\n',
         "stone.tier#2: lower half 0 at azimuth 11.25 doesn't meet what it is laid to: culet cuts away its point 2 by 0.3"),
        (ROUND, '{ foot = "pavilion main" }', "{ xyz_mm = [1, 2] }", "tier#2.through#1.xyz_mm = (1.0, 2.0): not a point"),
        (ROUND, '{ foot = "pavilion main" }', '{ foot = "pavilion main", axis_mm = 1 }', "a point stated by foot, axis_mm"),
        (ROUND, "way_pct = 77", "way_pct = 177", "stone.tier#2.through#2.way_pct = 177.0: out of range; expected 0 to 100 %"),
        (ROUND, "symmetry = \"8, mirror 0\"", 'symmetry = "8, miror 0"', "stone.symmetry = '8, miror 0': not a symmetry"),
        (PENTAGON, CORNERS, 'file = "none.csv"', "stone.outline.file = 'none.csv': no such file"),
        (PENTAGON, CORNERS, "", "stone.outline.corners_mm: a polygon is stated once; expected either corners_mm or file"),
        (PENTAGON, "[-2.1, 2.0]", "[0.1, 0.3]", "stone.outline.corners_mm = (0.1, 0.3): not convex: light could leave"),
        (PENTAGON, CORNERS, "corners_mm = [[1, 0], [-0.8, 0.6], [0.3, -0.95], [0.3, 0.95], [-0.8, -0.6]]", "crosses itself"),
        (PENTAGON, CORNERS, "corners_mm = [[1, 1], [-1, -1], [1, -1], [-1, 1]]", "these corners don't run once around an area"),
        (PENTAGON, "[0.9, -2.4]]", "[0.9, -2.4], [3.1, 0.2]]", "corners_mm = (3.1, 0.2): the outline doesn't turn here"),
        (PENTAGON, "[0.9, -2.4]]", "[0.9, -2.4], [2, -1.1]]", "corners_mm = (2.0, -1.1): the outline doesn't turn here"),
        (PENTAGON, CORNERS, "corners_mm = [[1, 1], [3, 1], [3, 3]]", "the axis x = y = 0 lies outside the outline"),
    ],
)  # fmt: skip
def test_faults_are_told_with_tier_and_place(text, old, new, says, capsys):
    faulty = text + new if old == "\n" else text.replace(old, new, 1)
    Path("r.toml").write_text(faulty, encoding="utf-8")
    assert main(["measure", "r.toml"]) == 2
    line = capsys.readouterr().err
    assert says in line
    assert line.startswith("raylab: r.toml: stone.")
    assert line.count("\n") == 1


@pytest.mark.parametrize(("side", "word"), [("crown", "below"), ("pavilion", "above")])
def test_an_open_recipe_says_where(side, word):
    only = [part for part in PENTAGON.split("[[stone.tier]]")[1:] if f'side = "{side}"' in part]
    head = PENTAGON.split("[[stone.tier]]")[0]
    with pytest.raises(StoneError, match=f"open {word}; expected a tier with side"):
        made(head + "".join(f"[[stone.tier]]{part}" for part in only))


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ("x,y\n3,0\n", "five.csv:1: unknown columns; expected x_mm,y_mm"),
        ("x_mm,y_mm\n3,zero\n", "five.csv:2: y_mm = 'zero': not a length"),
        ("x_mm,y_mm\n3,0,1\n", "five.csv:2: 3 values for 2 columns"),
        ("x_mm,y_mm\n3,0\n0,3\n-3,0\n-0.1,0.3\n0,-3\n", "five.csv: corners = (-0.1, 0.3): not convex"),
        ("# nothing\n", "five.csv: corners = 0: no outline"),
    ],
)
def test_a_faulty_table_of_corners_is_told_with_its_line(table, says):
    Path("five.csv").write_text(table, encoding="utf-8")
    with pytest.raises(rl.InputError) as told:
        made(PENTAGON.replace(CORNERS, 'file = "five.csv"'))
    assert says in str(told.value)
