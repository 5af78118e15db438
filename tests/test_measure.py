"""`measure`: what it reads off stones that are perfect, half finished, imperfect, or no brilliants at all."""

import itertools
import json
import math
from collections import Counter

import numpy as np
import pytest
from polyhedra import body, box, random_polyhedron

from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.offsets import Offset, deviate
from raylab.stone.proportions import Measurements, measure
from raylab.stone.recognition import name_tiers
from raylab.stone.stone import Stone

GIVEN = {"table_pct": 56.0, "star_pct": 52.0, "lower_half_pct": 78.0, "girdle_pct": 3.8, "culet_pct": 1.5}
BUILT = round_brilliant(**GIVEN, crown_angle_deg=34.0, pavilion_angle_deg=41.0, diameter_mm=6.0, name="perfect")
QUANTITIES = ("diameter_mm", *GIVEN, "crown_angle_deg", "pavilion_angle_deg", "crown_height_pct", "pavilion_depth_pct")
QUANTITIES += ("depth_pct", "girdle_joint_pct", "girdle_valley_pct")


def only(stone: Stone, *tiers: str) -> Stone:
    """The stone with the facets of these tiers alone, as a cutter has it half-way."""
    keep = [f for f, tier in enumerate(stone.tiers) if tier in tiers]
    return body(stone.normals[keep], stone.distances_mm[keep], tiers=[stone.tiers[f] for f in keep], redundant="drop")


def disturbed(share: float, key: int = 0) -> Stone:
    """The brilliant with every plane shifted by a random share of its distance."""
    rng = np.random.default_rng([80, key])
    shifted = BUILT.distances_mm * (1.0 + share * rng.normal(size=len(BUILT)))
    return body(BUILT.normals, shifted, tiers=BUILT.tiers, redundant="drop")


def means(found: Measurements) -> np.ndarray:
    return np.array([getattr(found, name).mean for name in QUANTITIES])


def test_every_position_is_reported():
    found = measure(BUILT)
    counts = {
        "table_pct": 4,
        "star_pct": 8,
        "lower_half_pct": 16,
        "girdle_pct": 8,
        "girdle_joint_pct": 8,
        "girdle_valley_pct": 16,
    }
    counts |= {"crown_angle_deg": 8, "crown_height_pct": 8, "pavilion_depth_pct": 8, "culet_pct": 8, "depth_pct": 1}
    for name, count in counts.items():
        quantity = getattr(found, name)
        assert len(quantity.values) == len(set(quantity.at)) == count
        assert quantity.unit == ("deg" if name.endswith("_deg") else "%")
    assert found.crown_angle_deg.at[3] == "crown main 3"
    assert found.diameter_mm.unit == "mm"


def test_table_facet_rows_are_the_facets():
    rows = measure(BUILT).facets
    assert [row.name for row in rows] == [BUILT.facet_name(f) for f in range(len(BUILT))]
    assert sum(row.distance_mm * row.area_mm2 for row in rows) / 3.0 == pytest.approx(BUILT.volume_mm3, rel=1e-12)
    table = rows[0]
    corner = 0.56 * 3.0
    assert table.area_mm2 == pytest.approx(8 * 0.5 * corner**2 * math.sin(math.pi / 4), rel=1e-12)
    assert (table.slope_deg, table.azimuth_deg) == (0.0, 0.0)


def test_whole_stone_numbers_are_the_stones():
    found = measure(BUILT)
    assert (found.weight_ct, found.volume_mm3) == (BUILT.weight_ct, BUILT.volume_mm3)
    assert found.spread_mm2_per_ct == BUILT.spread_mm2_per_ct
    assert (found.name, found.material) == ("perfect", "diamond")


def test_a_turned_shifted_and_scaled_stone_measures_the_same():
    expected = means(measure(BUILT))
    turned = BUILT.moved(View(turn_deg=17.0).rotation(), [3.0, -2.0, 0.7])
    assert means(measure(turned)) == pytest.approx(expected, abs=1e-8)
    expected[0] *= 2.5
    assert means(measure(BUILT.scaled(2.5))) == pytest.approx(expected, abs=1e-9)


def test_half_finished_stone_tells_what_is_there():
    """Table, mains and girdle: no halves and stars yet, and the mains measure as they will."""
    found = measure(only(BUILT, "table", "crown main", "pavilion main", "girdle"))
    assert found.star_pct is None
    assert found.lower_half_pct is None
    for name in ("crown_angle_deg", "pavilion_angle_deg", "crown_height_pct", "girdle_pct", "diameter_mm"):
        assert getattr(found, name).mean == pytest.approx(getattr(measure(BUILT), name).mean, abs=1e-9)
    assert found.girdle_joint_pct.mean > found.girdle_pct.mean + 5.0  # the halves are still to take it off
    assert found.table_pct.mean == pytest.approx(56.0 / math.cos(math.pi / 8), abs=1e-9)  # corners between mains, no stars
    assert found.culet_pct.mean == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("missing", "absent"),
    [
        ("table", {"table_pct", "crown_height_pct", "star_pct"}),
        ("girdle", {"girdle_pct", "girdle_joint_pct", "girdle_valley_pct", "crown_height_pct", "pavilion_depth_pct"}),
        ("star", {"star_pct"}),
        ("lower half", {"lower_half_pct"}),
        ("crown main", {"crown_angle_deg", "crown_height_pct"}),
        ("pavilion main", {"pavilion_angle_deg", "pavilion_depth_pct"}),
    ],
)
def test_a_missing_tier_leaves_its_quantities_absent(missing, absent):
    found = measure(only(BUILT, *(set(BUILT.tiers) - {missing})))
    assert {name for name in QUANTITIES if getattr(found, name) is None} == absent


def test_a_body_without_a_girdle_has_size_and_weight():
    found = measure(random_polyhedron(4))
    assert set(found) == {"diameter_mm", "depth_pct", "length_mm", "width_mm", "length_ratio", "culet_pct"}
    assert found.weight_ct > 0.0


@pytest.mark.parametrize("turn_deg", [0.0, 25.0])
def test_a_stone_of_no_cut_has_the_lengths_that_any_stone_has(turn_deg):
    """A seven-sided stone, stretched by 1.3, in closed form; percentages are of its width, and it has no evenness to miss."""
    around = 2.0 * math.pi * np.arange(7) / 7.0
    stretched = np.array([[math.cos(a) / 1.3, math.sin(a), 0.0] for a in around])
    out = np.linalg.norm(stretched, axis=1)
    sides = stretched / out[:, None]
    slopes = [math.atan2(0.4, 0.5 / one) for one in out], [math.atan2(1.2, 1.0 / one) for one in out]
    normals, distances = [[0.0, 0.0, 1.0], *sides], [0.5, *(1.0 / out)]
    for side, angles, rim in ((1.0, slopes[0], 0.1), (-1.0, slopes[1], 0.1)):
        for wall, far, angle in zip(sides, 1.0 / out, angles, strict=True):
            normals.append([*(math.sin(angle) * wall[:2]), side * math.cos(angle)])
            distances.append(math.sin(angle) * far + math.cos(angle) * rim)
    found = measure(body(np.array(normals), np.array(distances)).moved(View(turn_deg=turn_deg).rotation(), np.zeros(3)))
    reach = 1.0 / math.cos(math.pi / 7.0)
    width = 2.0 * reach * max(abs(math.sin(a + math.pi / 7.0)) for a in around)
    length = 1.3 * (1.0 + reach)
    expected = {
        "length_mm": length, "width_mm": width, "length_ratio": length / width, "depth_pct": 180.0 / width,
        "table_pct": 50.0, "table_length_pct": 50.0, "crown_height_pct": 40.0 / width, "pavilion_depth_pct": 120.0 / width,
        "girdle_pct": 20.0 / width, "culet_pct": 0.0,
    }  # fmt: skip
    assert found.cut is None
    assert {key: found[key].mean for key in expected} == pytest.approx(expected, abs=1e-9)
    assert len(found.girdle_pct.values) == 7
    assert not any("spread" in key and key != "spread_mm2_per_ct" for key in found.numbers())
    assert Counter(row.tier for row in found.facets)["girdle"] == 7, "the default name of facets says no tier"


def test_a_square_box_by_callippers_on_its_corners():
    found = measure(box(2.0, 1.0, "diamond"))
    assert found.diameter_mm.values == pytest.approx([math.sqrt(8.0)] * 4)
    assert found.depth_pct.mean == pytest.approx(50.0), "of the width, as it is of no known cut"


def test_an_out_of_round_girdle_shows_in_the_spread():
    """Stretched by 2 % along x: the diameter runs from 6 to 6.12 mm and is 6.06 on average (to second order)."""
    stretch = np.diag([1.0 / 1.02, 1.0, 1.0])
    bent = BUILT.normals @ stretch
    length = np.linalg.norm(bent, axis=1)
    found = measure(body(bent, BUILT.distances_mm / length, tiers=BUILT.tiers))
    assert found.diameter_mm.max == pytest.approx(6.12, abs=1e-9)
    assert found.diameter_mm.min == pytest.approx(6.0, abs=2e-3)
    assert found.diameter_mm.mean == pytest.approx(6.06, abs=1e-3)
    assert found.diameter_mm.spread == pytest.approx(0.12, abs=2e-3)
    assert found.depth_pct.mean == pytest.approx(measure(BUILT).depth_pct.mean / 1.01, abs=0.02)


@pytest.mark.parametrize("key", range(4))
def test_small_faults_move_small_amounts_and_show_in_the_spread(key):
    """Planes shifted by 1e-5 of their distance: lengths move by some 1e-5 of the diameter, stretched where facets meet flatly.

    Facets of nearly equal slope meet 10 to 60 times that far off, so 1e-5 leaves up to 0.2 of a percent in a length.
    """
    found, perfect = measure(disturbed(1e-5, key)), measure(BUILT)
    assert np.max(np.abs(means(found) - means(perfect))) < 0.2
    assert all(0.0 < getattr(found, name).spread < 0.5 for name in ("table_pct", "star_pct", "lower_half_pct", "girdle_pct"))
    assert len(found.table_pct.values) == 4  # chamfered corners stay corners


def test_a_knife_edge_girdle_is_zero_thick_there():
    """Seven of eight girdle sectors ground away from above: the girdle is zero at those mains."""
    stone = only(BUILT, "table", "crown main", "pavilion main", "girdle")
    lower = np.where([t == "crown main" and f > 1 for f, t in enumerate(stone.tiers)], 0.45, 0.0)
    sharp = body(stone.normals, stone.distances_mm - lower, tiers=stone.tiers, redundant="drop")
    found = measure(sharp)
    assert found.girdle_pct.min == pytest.approx(0.0, abs=1e-9)
    assert found.girdle_pct.max > 3.0


@pytest.mark.parametrize(("upper", "lower"), [(2.0, -1.5), (-2.5, 3.0)])
def test_a_painted_stone_measures_as_it_was_built(upper, lower):
    """Halves turn about the line from foot to tip, so all lengths stay; the girdle at its joints is thicker by what is painted,
    by hand: R tan(slope) (cos(11.25 - p) - cos(11.25 + p)) of each half."""
    shape = {"crown_angle_deg": 34.0, "pavilion_angle_deg": 41.0}
    stone = round_brilliant(**GIVEN, **shape, upper_painting_deg=upper, lower_painting_deg=lower)
    found = measure(stone)
    for key, value in {**GIVEN, **shape, "upper_painting_deg": upper, "lower_painting_deg": lower}.items():
        assert found[key].mean == pytest.approx(value, abs=1e-9), key
        assert found[key].spread < 1e-9, key
    thicker = 0.0
    for tier, toward in (("upper half", upper), ("lower half", lower)):
        near, far = (math.cos(math.radians(11.25 + turn)) for turn in (-toward, toward))
        thicker += 50.0 * math.tan(math.radians(stone.slope_deg()[stone.facets_of(tier)[0]])) * (near - far)
    assert found.girdle_joint_pct.mean - found.girdle_pct.mean == pytest.approx(thicker, abs=1e-9)


def test_valleys_of_an_even_girdle():
    """The rim of a half is highest (lowest) where main and joint meet it, at 11.25 degrees to either side of its own azimuth,
    plan radius R cos 11.25 there and R in between: R tan(slope) (1 - cos 11.25) off the girdle from above and below."""
    found = measure(BUILT)
    slope = {tier: math.radians(BUILT.slope_deg()[BUILT.tiers.index(tier)]) for tier in ("upper half", "lower half")}
    off = 50.0 * sum(map(math.tan, slope.values())) * (1.0 - math.cos(math.radians(11.25)))
    assert found.girdle_valley_pct.values == pytest.approx([3.8 - off] * 16, abs=1e-9)
    assert found.girdle_joint_pct.values == pytest.approx([3.8] * 8, abs=1e-9)


def test_one_facet_off_is_reported_by_name_and_spread():
    found = measure(deviate(BUILT, {"crown main 3": Offset(slope_deg=0.5), "pavilion main 6": Offset(slope_deg=-0.25)}))
    crown, pavilion = found.crown_angle_deg, found.pavilion_angle_deg
    assert dict(zip(crown.at, crown.values, strict=True))["crown main 3"] == pytest.approx(34.5, abs=1e-9)
    assert (crown.mean, crown.min, crown.max, crown.spread) == pytest.approx((34.0625, 34.0, 34.5, 0.5), abs=1e-9)
    assert (pavilion.mean, pavilion.min, pavilion.spread) == pytest.approx((41.0 - 0.25 / 8, 40.75, 0.25), abs=1e-9)


def test_to_dict_is_plain_json():
    plain = measure(BUILT).to_dict()
    again = json.loads(json.dumps(plain))
    assert again == plain
    assert plain["table_pct"]["mean"] == pytest.approx(56.0)
    assert set(plain["table_pct"]) == {"mean", "min", "max", "spread", "unit", "values"}
    assert plain["facets"][0]["tier"] == "table"
    assert measure(only(BUILT, *(set(BUILT.tiers) - {"star"}))).to_dict()["star_pct"] is None
    assert "star_pct" not in measure(random_polyhedron(4)).to_dict(), "of no known cut"


def test_it_is_a_mapping_of_what_was_found():
    found = measure(only(BUILT, *(set(BUILT.tiers) - {"star"})))
    assert found["table_pct"] is found.table_pct
    assert "star_pct" not in found
    assert found.star_pct is None
    assert set(found.definitions) == set(found) | {"star_pct"}
    assert found.definitions["star_pct"].label == "star length"
    with pytest.raises(KeyError):
        _ = found["star_pct"]
    with pytest.raises(AttributeError, match="unknown measured quantity 'tabel_pct'"):
        _ = found.tabel_pct


CROWN, PAVILION = [(3.0, 0.1), (2.6, 0.5), (2.1, 0.8), (1.5, 1.0)], [(3.0, 0.1), (2.2, 1.1), (1.2, 1.9), (0.0, 2.5)]
"""Half the section of a step stone: from the axis, and from the girdle plane, mm."""


def step_stone(order: int, steps: int, flats: int) -> Stone:
    """A step stone of that many sides: rows of facets above each other on crown and pavilion, and a girdle of flats."""
    normals, distances = [(0.0, 0.0, 1.0)], [CROWN[steps][1]]
    for side, section in ((1.0, CROWN[: steps + 1]), (-1.0, [*PAVILION[:steps], PAVILION[-1]])):
        for (r, z), (inner, above) in itertools.pairwise(section):
            slope = math.atan2(above - z, r - inner)
            around = [2.0 * math.pi * k / order for k in range(order)]
            normals += [(math.sin(slope) * math.cos(a), math.sin(slope) * math.sin(a), side * math.cos(slope)) for a in around]
            distances += [r * math.sin(slope) + z * math.cos(slope)] * order
    normals += [(math.cos(2.0 * math.pi * k / flats), math.sin(2.0 * math.pi * k / flats), 0.0) for k in range(flats)]
    return body(np.array(normals), np.array([*distances, *[2.999] * flats]))


STEP_CUTS = {4: "baguette", 6: "hexagonal step cut", 8: "square emerald cut"}


@pytest.mark.parametrize(("order", "steps"), [(8, 1), (8, 2), (8, 3), (4, 3), (6, 2)])
def test_a_step_stone_is_not_measured_as_a_round_brilliant(order, steps):
    """Its steps border table and girdle as stars and halves do; its corners and its outline tell."""
    stone = step_stone(order, steps, order)
    found = measure(stone)
    assert found.cut == STEP_CUTS[order]
    assert found.star_pct is None
    assert found.recognition.share_pct == 100.0
    named = name_tiers(stone.normals, stone.distances_mm)
    rows = [f"{word} {side} step" for word in ("first", "second", "third")[:steps] for side in ("crown", "pavilion")]
    assert {name: named.names.count(name) for name in rows} == dict.fromkeys(rows, order)
    assert set(named.names) == {"table", "girdle", *rows}


BY_STEPS = {1: ("main",), 2: ("half", "main"), 3: ("half", "main", "star")}
NAMES = {
    "crown": {"half": "upper half", "main": "crown main", "star": "star"},
    "pavilion": {"half": "lower half", "main": "pavilion main", "star": "extra"},
}


@pytest.mark.parametrize(("order", "steps"), [(8, 1), (8, 2), (8, 3), (4, 3), (6, 2)])
def test_names_do_not_make_a_round_of_a_step_stone(order, steps):
    """Rows of a step stone that a file calls by a brilliant's names: steps, and no number of a round."""
    stone = step_stone(order, steps, order)
    tiers = ["table"]
    for side in ("crown", "pavilion"):
        tiers += [NAMES[side][row] for row in BY_STEPS[steps] for _ in range(order)]
    found = measure(body(stone.normals, stone.distances_mm, tiers=[*tiers, *["girdle"] * order]))
    assert found.cut == STEP_CUTS[order]
    assert {row.tier for row in found.facets if not row.tier.endswith(" step")} == {"table", "girdle"}
    assert found.star_pct is None


@pytest.mark.parametrize(("order", "steps"), [(8, 1), (8, 2), (8, 3), (4, 3), (6, 2)])
def test_a_knife_edge_does_not_make_a_round_of_a_step_stone(order, steps):
    stone = step_stone(order, steps, order)
    edge = ~np.isclose(stone.normals[:, 2], 0.0)
    assert measure(body(stone.normals[edge], stone.distances_mm[edge])).cut == STEP_CUTS[order]


def test_a_round_with_a_knife_edge_is_one():
    round_ = only(BUILT, *(set(BUILT.tiers) - {"girdle"}))
    assert measure(body(round_.normals, round_.distances_mm)).cut == "round brilliant"


def test_a_blocked_round_is_distinguished_from_a_step_stone_by_its_girdle():
    """Mains alone are a single cut as they stand; that they may be a round brilliant to be is said beside it."""
    found = measure(step_stone(8, 1, 96))
    assert found.cut == "single cut"
    assert found.recognition.also == ("round brilliant",)
    assert str(found.recognition).endswith("; before its last facets also: round brilliant")


def test_a_round_brilliant_is_not_called_another_cut_too():
    words = str(measure(body(BUILT.normals, BUILT.distances_mm)).recognition)
    assert words.startswith("round brilliant, 100.0 %")
    assert words.endswith("; the same facets in other proportions: old European cut")


# Alignment. Each fault below is built into the planes by a known amount, so the measure has a closed form.

SKEWED = ("star", "crown main", "upper half")
TURNS = (0.0, 17.0)


def part(*tiers: str) -> np.ndarray:
    """(F,) bool: facets of these tiers."""
    return np.array([tier in tiers for tier in BUILT.tiers])


def with_part_moved(facets: np.ndarray, *, turn_deg: float = 0.0, shift_mm: tuple[float, float] = (0.0, 0.0)) -> Stone:
    """The brilliant with some planes turned about z and shifted in plan."""
    turned = BUILT.normals @ View(turn_deg=turn_deg).rotation().T
    normals = np.where(facets[:, None], turned, BUILT.normals)
    return body(normals, BUILT.distances_mm + facets * (normals[:, :2] @ shift_mm), tiers=BUILT.tiers, indices=BUILT.indices)


def painted(tier: str, angle_deg: float) -> Stone:
    """The halves of one tier turned about z towards the main that each leans on."""
    entry = (
        np.where(np.array(BUILT.indices) % 2 == 0, -1.0, 1.0) * angle_deg
    )  # even halves have their main at the lower azimuth
    rows = [
        normal @ View(turn_deg=turn).rotation().T if kind == tier else normal
        for normal, turn, kind in zip(BUILT.normals, entry, BUILT.tiers, strict=True)
    ]
    return body(rows, BUILT.distances_mm, tiers=BUILT.tiers, indices=BUILT.indices)


@pytest.mark.parametrize("turn", TURNS)
def test_an_even_stone_is_aligned_however_it_lies(turn):
    found = measure(BUILT.moved(View(turn_deg=turn).rotation(), [1.0, -2.0, 0.4]))
    for name in ("table_offcentre_pct", "culet_offcentre_pct", "table_to_culet_pct", "out_of_round_pct"):
        assert getattr(found, name).mean == pytest.approx(0.0, abs=1e-9)
    assert found.table_tilt_deg.mean == pytest.approx(0.0, abs=1e-9)
    for name, count in {"azimuth_shift_deg": 56, "twist_deg": 8, "upper_painting_deg": 16, "lower_painting_deg": 16}.items():
        assert getattr(found, name).values == pytest.approx([0.0] * count, abs=1e-9)


@pytest.mark.parametrize(
    ("tiers", "name"), [(("table", *SKEWED), "table"), (("lower half", "pavilion main", "culet"), "culet")]
)
def test_a_shifted_half_of_the_stone_is_off_centre_by_its_shift(tiers, name):
    """0.03 mm to one side and 0.04 mm to another: 0.05 mm in 6 mm, at 53.13 degrees; the outline doesn't move."""
    found = measure(with_part_moved(part(*tiers), shift_mm=(0.03, 0.04)))
    moved, still = (found.table_offcentre_pct, found.culet_offcentre_pct)[:: 1 if name == "table" else -1]
    assert moved.mean == pytest.approx(100.0 * 0.05 / 6.0, abs=1e-9)
    assert moved.at == ("towards azimuth 53.13",)
    assert still.mean == pytest.approx(0.0, abs=1e-9)
    assert found.table_to_culet_pct.mean == pytest.approx(100.0 * 0.05 / 6.0, abs=1e-9)
    assert found.out_of_round_pct.mean == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("turn", [2.0, -3.0])
def test_a_turned_crown_is_twisted_by_its_turn(turn):
    found = measure(with_part_moved(part(*SKEWED), turn_deg=turn))
    assert found.twist_deg.values == pytest.approx([turn] * 8, abs=1e-9)
    shifts = dict(zip(found.azimuth_shift_deg.at, found.azimuth_shift_deg.values, strict=True))
    assert [shifts["crown main 0"], shifts["star 5"], shifts["upper half 7"]] == pytest.approx([turn / 2] * 3, abs=1e-9)
    assert [shifts["pavilion main 3"], shifts["lower half 0"]] == pytest.approx([-turn / 2] * 2, abs=1e-9)
    assert found.upper_painting_deg.mean == pytest.approx(0.0, abs=1e-9)  # a turn of the whole crown paints nothing
    assert found.upper_painting_deg.spread == pytest.approx(abs(turn), abs=1e-9)


@pytest.mark.parametrize("tier", ["upper half", "lower half"])
@pytest.mark.parametrize("angle", [1.0, -1.0])
def test_painting_is_positive_and_thickens_the_joints_digging_out_the_reverse(tier, angle):
    """Rim of a half along its own azimuth at plan radius r: z = (d - s r)/c, so at the girdle's corner (r = R cos of what lies
    between) a turn by a towards the main changes the height by s R (cos(11.25 - a) - cos 11.25)/c at main and joint alike."""
    found = measure(painted(tier, angle))
    upper, lower = found.upper_painting_deg, found.lower_painting_deg
    turned, even = (upper, lower) if tier == "upper half" else (lower, upper)
    assert turned.values == pytest.approx([angle] * 16, abs=1e-9)
    assert even.values == pytest.approx([0.0] * 16, abs=1e-9)
    slope = np.radians(BUILT.slope_deg()[BUILT.tiers.index(tier)])
    nominal, away, nearer = (math.cos(math.radians(a)) for a in (11.25, 11.25 + angle, 11.25 - angle))
    at_joint = 50.0 * math.tan(slope) * (nominal - away)
    at_main = min(0.0, 50.0 * math.tan(slope) * (nominal - nearer))  # higher than the main's own rim it can't get
    assert found.girdle_joint_pct.values == pytest.approx([3.8 + at_joint] * 8, abs=1e-9)
    assert found.girdle_pct.values == pytest.approx([3.8 + at_main] * 8, abs=1e-9)


def test_a_tilted_table_is_measured_against_the_girdle():
    """The table turned about y through its middle: its edge at a main falls by the plan distance times the tilt's tangent."""
    tilt = 0.7
    table = part("table")
    height = BUILT.distances_mm[0]
    lean = np.where(table[:, None], [math.sin(math.radians(tilt)), 0.0, math.cos(math.radians(tilt))], BUILT.normals)
    stone = body(lean, np.where(table, height * math.cos(math.radians(tilt)), BUILT.distances_mm), tiers=BUILT.tiers)
    found = measure(stone)
    assert found.table_tilt_deg.mean == pytest.approx(tilt, abs=1e-9)
    assert found.twist_deg.spread == pytest.approx(0.0, abs=1e-9)
    # Percent, r from the axis: the table's edge lies at h - r f where it sinks, on the main's plane h - m (r - t), and at
    # h + r f where it rises, on the two stars' common line h - s (r - t); t is where all of them met.
    t, f = 28.0, math.tan(math.radians(tilt))
    m = math.tan(math.radians(34.0))
    s = math.tan(math.radians(BUILT.slope_deg()[BUILT.tiers.index("star")])) * math.cos(math.radians(22.5))
    rise = 22.0 * m  # crown height
    assert found.crown_height_pct.values[0] == pytest.approx(rise - f * m * t / (m - f), abs=1e-9)
    assert found.crown_height_pct.values[4] == pytest.approx(rise + f * s * t / (s + f), abs=1e-9)


def test_the_four_table_diameters_of_a_stretched_stone():
    """Stretched by 2 % along x, table corners at the mains: t 1.02, t, and twice t times the root of (1.02^2 + 1)/2."""
    bent = BUILT.normals @ np.diag([1.0 / 1.02, 1.0, 1.0])
    length = np.linalg.norm(bent, axis=1)
    found = measure(body(bent, BUILT.distances_mm / length, tiers=BUILT.tiers))
    widths = sorted(0.01 * value * found.diameter_mm.mean for value in found.table_pct.values)
    t = 0.56 * 6.0
    assert widths == pytest.approx([t, *[t * math.sqrt((1.02**2 + 1.0) / 2.0)] * 2, 1.02 * t], abs=1e-9)
    assert found.out_of_round_pct.mean == pytest.approx(100.0 * found.diameter_mm.spread / found.diameter_mm.mean, abs=1e-12)
    assert found.out_of_round_pct.mean == pytest.approx(100.0 * 0.12 / 6.06, abs=0.05)


@pytest.mark.parametrize("turn", TURNS)
def test_tiers_are_recognized_by_shape_where_no_names_are_given(turn):
    bare = body(BUILT.normals, BUILT.distances_mm).moved(View(turn_deg=turn).rotation())
    found, named = measure(bare), measure(BUILT.moved(View(turn_deg=turn).rotation()))
    assert (found.tiers_from, named.tiers_from) == ("shape", "names")
    assert means(found) == pytest.approx(means(named), abs=1e-9)
    assert [row.tier for row in found.facets] == list(BUILT.tiers)
    assert found.upper_painting_deg.values == pytest.approx(named.upper_painting_deg.values, abs=1e-9)
    assert set(bare.tiers) == {"facet"}  # the caller's stone keeps its names


def test_half_finished_stones_have_twist_but_no_painting():
    found = measure(only(BUILT, "table", "crown main", "pavilion main", "girdle"))
    assert found.twist_deg.mean == pytest.approx(0.0, abs=1e-9)
    assert found.upper_painting_deg is None
    assert measure(random_polyhedron(4)).twist_deg is None
