"""Facet tables: exact round trips, every liberty that is allowed, and one clear line for everything that is not."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from polyhedra import finishes, random_polyhedron

import raylab as rl
from raylab.cli import main
from raylab.stone.facet_table import facet_table, read_facet_table
from raylab.stone.finish import POLISHED
from raylab.stone.offsets import Offset, deviate


def brilliant(**changes) -> rl.Stone:
    return rl.round_brilliant(**({"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75} | changes))


STONE = brilliant(culet_pct=1.0, girdle_finish="absorbing")
TEXT = facet_table(STONE)
LINES = TEXT.splitlines()
HEADER = LINES.index("facet,tier,side,slope_deg,azimuth_deg,distance_mm")


def read(tmp_path, text: str | bytes) -> rl.Stone:
    path = tmp_path / "stone.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_facet_table(path)


def assert_same(found: rl.Stone, stone: rl.Stone) -> None:
    assert np.abs(found.normals - stone.normals).max() <= 1e-15
    assert np.array_equal(found.distances_mm, stone.distances_mm)
    assert (found.tiers, found.indices, found.symmetry) == (stone.tiers, stone.indices, stone.symmetry)
    assert found.finishes == stone.finishes
    assert found.material == stone.material


@pytest.mark.parametrize(
    "stone",
    [
        STONE,
        brilliant(material=rl.get_material("sapphire").tinted([(450.0, 0.1), (650.0, 0.02)])),
        brilliant(material=rl.get_material("spinel").tinted(0.3), diameter_mm=123.4),
        deviate(brilliant(), {"table": Offset(slope_deg=0.3, azimuth_deg=200.0), "girdle 5": Offset(slope_deg=-2.0)}),
        random_polyhedron(5),
    ],
    ids=["absorbing girdle, culet", "colour by wavelength", "one colour", "leaning table and girdle", "any body"],
)
def test_a_stone_comes_back_exactly(stone, tmp_path):
    named = rl.Stone.from_planes(  # bodies of a constant index have no name that a table could hold
        stone.normals,
        stone.distances_mm,
        tiers=stone.tiers,
        indices=stone.indices,
        material=stone.material if stone.material.name in rl.materials() else "diamond",
        finishes=stone.finishes,
        symmetry=stone.symmetry,
    )
    assert_same(read(tmp_path, facet_table(named)), named)


def test_the_finish_of_part_of_a_tier_comes_back(tmp_path):
    absorbing = finishes(np.isin(np.arange(len(STONE)), [3, 60, 61]))
    stone = rl.Stone.from_planes(
        STONE.normals, STONE.distances_mm, tiers=STONE.tiers, indices=STONE.indices, finishes=absorbing
    )
    assert_same(read(tmp_path, facet_table(stone)), stone)


@settings(max_examples=200, deadline=None)
@given(
    st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda n: np.linalg.norm(n) > 1e-3),
    st.floats(0.5, 2.0),
)
def test_any_plane_comes_back(tmp_path_factory, normal, distance):
    """One free plane cut off a cube that is large enough not to lose it."""
    cube = np.vstack([np.eye(3), -np.eye(3)])
    stone = rl.Stone.from_planes([*cube, normal], [*[5.0] * 6, distance], redundant="drop")
    assert_same(read(tmp_path_factory.mktemp("t"), facet_table(stone)), stone)


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + TEXT,
        TEXT.replace("\n", "\r\n"),
        TEXT.replace("\n", "\n\n# a comment: between\n"),
        "\n".join([*LINES[:HEADER], *(",".join(reversed(line.split(","))) + ",x" for line in LINES[HEADER:])]),
        TEXT.replace(",girdle,up,90.0", ",girdle,,90.0"),
        TEXT.replace(",", " , "),
    ],
    ids=[
        "byte-order mark",
        "line ends of another system",
        "comments",
        "columns in another order",
        "vertical facets without a side",
        "spaces",
    ],
)
def test_liberties_that_change_nothing(text, tmp_path):
    assert_same(read(tmp_path, text), STONE)


def test_slopes_run_from_0_to_90_and_the_side_stands_beside_them():
    rows = [line.split(",") for line in LINES[HEADER + 1 :]]
    assert {side for _, tier, side, *_ in rows if tier in ("table", "star", "crown main", "upper half")} == {"up"}
    assert {side for _, tier, side, *_ in rows if tier in ("lower half", "pavilion main", "culet")} == {"down"}
    assert all(0.0 <= float(slope) <= 90.0 and not slope.startswith("-") for *_, slope, _, _ in rows)
    assert [slope for _, tier, _, slope, *_ in rows if tier in ("table", "culet")] == ["0.0", "0.0"]


def test_the_cut_comes_back(tmp_path):
    assert read(tmp_path, TEXT).cut == "round brilliant"
    bare = read(tmp_path, TEXT.replace("# cut: round brilliant\n", ""))
    assert bare.cut is None
    assert rl.measure(bare).cut == "round brilliant", "by its tiers"


def test_without_notes_it_is_a_diamond_of_the_files_name(tmp_path):
    stone = read(tmp_path, "\n".join(LINES[HEADER:]))
    facts = (stone.material.name, stone.name, stone.symmetry, set(stone.finishes))
    assert facts == ("diamond", "stone", rl.SymmetryGroup(), {POLISHED})


def line_of(text: str) -> int:
    return next(number for number, line in enumerate(LINES, start=1) if text in line)


MAIN = line_of(",pavilion main,")
TABLE = line_of(",table,")
DISTANCE = LINES[TABLE - 1].split(",")[-1]
ROWS = "\n".join(LINES[HEADER:])
NOTES = "\n".join(LINES[:HEADER])
TABBED = NOTES + "\n" + ROWS.replace(",", "\t")
PEOPLES = "Facet no.;Tiers;Side;Slope [°];Azimut;Distance / millimetres"


@pytest.mark.parametrize(
    "text",
    [
        TABBED,
        TABBED.replace(".", ","),
        NOTES + "\n" + ROWS.replace(",", ";").replace(".", ",").replace(LINES[HEADER].replace(",", ";"), PEOPLES),
        "\n".join(f'"{line}";;;;;' for line in LINES[:HEADER])
        + "\n;;;;;\n"
        + ROWS.replace(",", ";").replace("\n", ";\n")
        + ";",
        TABBED.replace("\tcrown main\tup", "\tCrown  Main\tUP").replace(f"\t{DISTANCE}", f"\t{DISTANCE} mm"),
        "\n".join([*LINES[:HEADER], *(line + ",x" for line in LINES[HEADER:])]).replace(
            "distance_mm,x", "distance_mm,slope (rad)"
        ),
    ],
    ids=[
        "tabs",
        "decimal commas",
        "headings of people",
        "cells of an export",
        "capitals and units",
        "another unit beside ours",
    ],
)
def test_tables_of_spreadsheets_are_read(text, tmp_path):
    text = text.replace("mirror 0,0", "mirror 0.0")  # a comment is no cell
    assert_same(read(tmp_path, text), STONE)
    (tmp_path / "copied.tsv").write_text(text, "utf-8")
    assert_same(rl.load_stone(tmp_path / "copied.tsv"), STONE)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "stone.csv: empty file; expected a first line facet,tier,side,slope_deg,azimuth_deg,distance_mm"),
        ("# unit: mm\n", "stone.csv: empty file"),
        (LINES[HEADER], "stone.csv: no facets"),
        ("\n".join(LINES[: HEADER + 3]), "stone.csv: facets = 2: too few facets to close a stone"),
        (
            TEXT.replace("side,slope_deg", "side,slope (rad)"),
            f":{HEADER + 1}: slope (rad): wrong unit of slope; expected slope_deg",
        ),
        (TEXT.replace("side,slope_deg", "side,slopes / rad"), "slopes / rad: wrong unit of slope"),
        (TEXT.replace("side,slope_deg", "side,slope in radians"), f"stone.csv:{HEADER + 1}: missing column slope_deg"),
        (
            TEXT.replace("facet,tier,side,", "facet (deg),tier,side,", 1),
            "facet (deg): wrong unit of facet; expected facet, which",
        ),
        (TEXT.replace(",azimuth_deg", ",slope (°)"), f"csv:{HEADER + 1}: missing column azimuth_deg"),
        (TEXT.replace("slope_deg", "slope").replace("distance_mm", "distance_mm,slope (°)"), "repeated column slope_deg"),
        (TEXT.replace("distance_mm", "distance / cm"), "distance / cm: wrong unit of distance; expected distance_mm"),
        (
            TABBED.replace(DISTANCE, DISTANCE.replace(".", ","), 1),
            f":{TABLE}: distance_mm = '{DISTANCE.replace('.', ',')}': decimal",
        ),
        (TABBED.replace(DISTANCE, "1.070,5", 1).replace(".", ","), f":{TABLE}: distance_mm = '1,070,5': not a number"),
        (TABBED.replace("0\ttable\tup", "0\ttable", 1), f":{TABLE}: 5 values for 6 columns; expected one value per column"),
        ("\n".join([*LINES[:-1], LINES[-1].replace(",", ";")]), f"stone.csv:{len(LINES)}: 1 values for 6 columns (semi"),
        (TEXT.replace(f",{DISTANCE}", f",{DISTANCE.replace('.', ',')}", 1), f":{TABLE}: 7 values for 6 columns (a comma in a"),
        (
            TEXT.replace(DISTANCE, '"1,07"', 1),
            f":{TABLE}: distance_mm = '1,07': not a number; expected a decimal number, with a",
        ),
        (TEXT.replace(DISTANCE, "deep", 1), f"stone.csv:{TABLE}: distance_mm = 'deep': not a number"),
        (TEXT.replace(DISTANCE, "nan", 1), f"stone.csv:{TABLE}: distance_mm = 'nan': not a number"),
        (TEXT.replace(DISTANCE, "1e999", 1), f"stone.csv:{TABLE}: distance_mm = inf: out of range; expected -10000 to 10000"),
        (TEXT.replace("0,table,up,0.0", "0,table,up,95", 1), f":{TABLE}: slope_deg = 95.0: out of range; expected 0 to 90"),
        (TEXT.replace("0,table,up,0.0", "0,table,up,-0", 1), f":{TABLE}: slope_deg = -0.0: out of range; expected 0 to 90"),
        (TEXT.replace("0,table,up", "0,table,", 1), f":{TABLE}: side = '': unknown side; expected up or down"),
        (TEXT.replace("0,table,up", "0,table,top", 1), f":{TABLE}: side = 'top': unknown side; expected up or down"),
        (TEXT.replace("0,table,up", "0,table,down", 1), f":{TABLE}: side = 'down': a table that faces down; expected up"),
        (
            TEXT.replace("cut: round brilliant", "cut: round brillant"),
            "stone.csv:4: cut = 'round brillant': unknown cut; did you mean",
        ),
        (TEXT.replace("0,table", "one,table", 1), f"stone.csv:{TABLE}: facet = 'one': invalid facet number"),
        (TEXT.replace("0,table", "0,", 1), f"stone.csv:{TABLE}: tier: missing"),
        (TEXT.replace("0,table", '0,"table', 1), f"stone.csv:{TABLE}: invalid line"),
        (TEXT.replace("side,slope_deg", "side,lean", 1), f"stone.csv:{HEADER + 1}: missing column slope_deg"),
        (TEXT.replace("facet,tier", "facet,tier,tier", 1), f"stone.csv:{HEADER + 1}: repeated column tier"),
        (TEXT + LINES[-1], f"stone.csv:{len(LINES) + 1}: facet = 0: culet 0 repeats line {len(LINES)}"),
        (TEXT.replace("unit: mm", "unit: cm"), "stone.csv:3: unit = 'cm': wrong unit of distance; expected mm, as in"),
        (TEXT.replace(": diamond", ": diamnod"), "stone.csv:5: material = 'diamnod': unknown material; did you mean"),
        (
            TEXT.replace("# material", "# materail"),
            "csv:5: materail: unknown note in a comment; did you mean 'material'?",
        ),
        (TEXT.replace("unit: mm", "material: diamond"), "stone.csv:5: material = 'diamond': repeats line 3"),
        (TEXT.replace("finish: girdle", "finish: girdel"), "stone.csv:6: finish = 'girdel': unknown tier or facet"),
        (TEXT.replace("= absorbing", "= absorbin"), "stone.csv:6: finish = 'absorbin': unknown finish; did you mean"),
        (TEXT.replace("girdle = absorbing", "girdle"), "stone.csv:6: finish = 'girdle': missing finish; expected 'girdle = "),
        (
            TEXT.replace("symmetry: 8, mirror 0.0", "symmetry: many"),
            "stone.csv:7: symmetry = 'many': not a symmetry; expected such as 8",
        ),
        (TEXT.replace("mirror 0.0", "mirrored"), "stone.csv:7: symmetry = '8, mirrored': not a symmetry"),
        (TEXT.replace("lower half,down", "lower half,up", 1), ": side = 'up': a lower half that faces up; expected down"),
        (TEXT.replace("# unit: mm", "# absorption_per_mm: 450:0.1 650"), "csv:3: absorption_per_mm = '450:0.1 650': invalid"),
        (TEXT.replace("# unit: mm", "# absorption_per_mm: red"), "stone.csv:3: absorption_per_mm = 'red': not a number"),
        ("\n".join(line for line in LINES if ",down," not in line), "stone.csv: the planes enclose no body"),
        (TEXT.encode("utf-16"), "stone.csv: line 1: not UTF-8"),
        (TEXT.replace("table", "ta\0ble").encode(), "stone.csv: not a text file; it contains zero bytes"),
    ],
)
def test_faults_are_reported_in_one_line(text, message, tmp_path):
    with pytest.raises(rl.InputError) as facts:
        read(tmp_path, text)
    assert message in str(facts.value)
    assert str(facts.value).startswith(str(tmp_path))
    assert "\n" not in str(facts.value)


def test_a_missing_file_and_a_folder(tmp_path):
    with pytest.raises(rl.InputError, match=r"none\.csv: no such file"):
        read_facet_table(tmp_path / "none.csv")
    with pytest.raises(rl.InputError, match="not a file"):
        read_facet_table(tmp_path)


def test_what_a_table_can_not_hold_is_refused():
    with pytest.raises(rl.InputError, match="names its material"):
        facet_table(brilliant(material=rl.Material.constant(1.7)))
    with pytest.raises(rl.InputError, match="names its material"):
        facet_table(brilliant(material=rl.Material.constant(1.7, name="diamond")))
    odd = rl.Stone.from_planes(STONE.normals, STONE.distances_mm, tiers=["a\nb"] * len(STONE), indices=range(len(STONE)))
    with pytest.raises(rl.InputError, match="invalid tier name"):
        facet_table(odd)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_noise_is_never_more_than_an_input_error(tmp_path_factory, data):
    with pytest.raises(rl.InputError):
        read(tmp_path_factory.mktemp("t"), data)


WEIRD = (
    "",
    "-0",
    "+.5e-3",
    "1e308",
    "-1e-320",
    "0x10",
    "nan",
    "\u0663",
    "1,5",
    '"',
    "'",
    "\ufeff",
    "#",
    "\x0b",
    "\u2028",
    "90.0000001",
)


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_damaged_table_is_read_or_refused_in_one_line(tmp_path, capsys, data):
    """Through the command: bytes overwritten, cut out or put in, and cells exchanged for odd ones. Never a traceback, never a
    file left behind."""
    lines = list(LINES)
    for _ in range(data.draw(st.integers(0, 3))):
        row = data.draw(st.integers(0, len(lines) - 1))
        cells = lines[row].split(",")
        odd = data.draw(st.sampled_from(WEIRD) | st.text(max_size=8) | st.floats().map(str))
        cells[data.draw(st.integers(0, len(cells) - 1))] = odd
        lines[row] = ",".join(cells)
    damaged = bytearray("\n".join(lines), "utf-8")
    for _ in range(data.draw(st.integers(0, 3))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        damaged[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    path, saved = tmp_path / "stone.csv", tmp_path / "saved.stl"
    path.write_bytes(damaged)
    saved.unlink(missing_ok=True)
    code = main(["measure", str(path), "--json", "--save", str(saved)])
    facts = capsys.readouterr()
    if code == 0:
        assert facts.err == ""
        assert json.loads(facts.out)["volume_mm3"] > 0.0
    else:
        assert (code, facts.out, len(facts.err.splitlines())) == (2, "", 1)
        assert facts.err.startswith(f"raylab: {path}")
    assert saved.exists() == (code == 0)
