"""Measurements by cut, recognition, the lie of a scan, its errors, outlines and planes of cuts: a line broken, a test fails.

Each row breaks one line of one function and names the test that must notice. The code of the function is replaced in place,
so that whoever holds it, a `Measured` of a cut for one, runs the broken one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import test_cuts
import test_extent
import test_measure
import test_recognition
import test_scan
import test_uncertainty
from broken_lines import broken

import raylab as rl
from raylab.stone import recognition
from raylab.stone.cuts import (
    bounds,
    cushion_brilliant,
    cut_cornered_brilliant,
    outline_brilliant,
    outlines,
    princess_cut,
    rose_cut,
    steps,
    triangular_brilliant,
)
from raylab.stone.measuring import callipers, length, outline_corners, plane_uncertainty
from raylab.stone.measuring import long_stone as of
from raylab.stone.recognizing import long_brilliants, outline_fit, rings, shape, sided
from raylab.stone.scanning import (
    anew,
    envelope,
    few_points,
    girdle_ellipse,
    girdle_fit,
    girdle_points,
    girdle_search,
    moves,
    noise,
    plane_fit,
    refining,
    report,
    stone_pose,
    walls,
)


def back(name: str) -> Callable[[], None]:
    """That the parameters of a cut come back from a stone."""
    stones = {name: rl.cut(name, **test_recognition.GIVEN[name])}
    return lambda: test_recognition.test_parameters_that_went_in_come_out(stones, name)


def no_cut() -> None:
    test_measure.test_a_stone_of_no_cut_has_the_lengths_that_any_stone_has(25.0)


def rings_of_a_measured_stone() -> None:
    test_recognition.test_tiers_of_no_cut_are_those_of_the_recipe_on_a_measured_stone(0)


def sought() -> None:
    test_scan.test_a_plane_of_few_points_is_sought_far_from_where_it_is(1)


def refined_anew() -> None:
    with pytest.MonkeyPatch.context() as patch:
        test_scan.test_all_planes_are_refined_once_one_was_sought_anew(patch)


def lacks(name: str, *of: tuple[str, int, int]) -> Callable[[], None]:
    return lambda: test_recognition.test_a_cut_is_known_by_what_is_there_and_what_lacks_is_said(name, of)


def turned_mains() -> None:
    turns = {0: 4.0, 180: -2.3}
    test_recognition.test_a_long_stone_is_known_though_the_mains_at_its_points_are_turned("marquise brilliant", turns)


def four_mains() -> None:
    test_recognition.test_four_pavilion_mains_are_known_and_measured("oval brilliant")


def hull() -> None:
    test_cuts.test_a_pavilion_of_four_mains_is_the_hull_of_its_corners("cushion brilliant")


def noisy_scan() -> None:
    test_scan.test_every_facet_of_a_noisy_scan_is_found_within_its_error(5)


def long_scan(row: int) -> None:
    """A row of the scans of long stones."""
    (mark,) = test_scan.test_a_long_stone_is_as_long_as_it_is_said_to_be.pytestmark
    test_scan._check_extents(*mark.args[1][row])


def thin_girdle(row: int) -> None:
    (mark,) = test_scan.test_a_thin_girdle_of_few_points_is_found_about_the_table.pytestmark
    test_scan.test_a_thin_girdle_of_few_points_is_found_about_the_table(*mark.args[1][row])


def on_thick_girdle() -> None:
    """The last row of the long brilliants at their limits."""
    (mark,) = test_recognition.test_a_long_brilliant_at_the_limits_keeps_its_names.pytestmark
    test_recognition.test_a_long_brilliant_at_the_limits_keeps_its_names(*mark.args[1][-1])


def merged() -> None:
    with pytest.MonkeyPatch.context() as patch:
        test_scan.test_flats_that_noise_does_not_tell_apart_are_as_uncertain_as_they_bend(patch)


def dent() -> None:
    test_scan.test_a_dent_and_a_bump_are_reported_with_place_area_and_depth(50.0, "below")


def square_of_emerald() -> None:
    name = "square emerald cut"
    test_recognition.test_a_cut_is_recognised_from_planes_that_lie_anyhow({name: rl.cut(name, table_pct=60.0)}, name)


def octagon() -> None:
    name = "cut-cornered brilliant"
    stones = {name: rl.cut(name, **test_recognition.GIVEN[name])}
    test_recognition.test_a_cut_is_recognised_from_planes_that_lie_anyhow(stones, name)


def refused(says: str) -> None:
    """The rows of stones that can't be, of which one message says this."""
    (mark,) = test_cuts.test_impossible_stones_are_refused_in_one_line.pytestmark
    for make, words in mark.args[1]:
        if says in words:
            test_cuts.test_impossible_stones_are_refused_in_one_line(make, words)


def turned(name: str) -> Callable[[], None]:
    """That a turned stone of a cut is found to lie as it was turned."""
    stone = next(one for one in test_extent.STONES if one.name == name)
    return lambda: test_extent.test_a_turned_stone_lies_as_it_was_turned(37.0, stone)


def bounds_of(name: str) -> Callable[[], None]:
    """That the bounds which a cut's refusals name are bounds."""
    return lambda: test_cuts.test_who_follows_a_refusal_has_a_stone_or_meets_another_rule(name)


def unusual(name: str) -> None:
    """That a bound is named for a stone of a cut that is far from usual in several ways."""
    (mark,) = test_cuts.test_a_bound_is_named_where_several_things_are_far_from_usual.pytestmark
    (given,) = (one for one in mark.args[1] if one[0] == name)
    test_cuts.test_a_bound_is_named_where_several_things_are_far_from_usual(*given)


def described(name: str) -> Callable[[], None]:
    """That an outline is the shape that its lengths describe."""
    return lambda: test_cuts.test_an_outline_is_the_shape_that_its_lengths_describe(name)


def stands_on(name: str) -> Callable[[], None]:
    """That a cut stands on the outline that its keys describe."""
    (mark,) = test_cuts.test_a_cut_stands_on_the_outline_that_its_keys_describe.pytestmark
    (given,) = (one for one in mark.args[1] if one[0] == name)
    return lambda: test_cuts.test_a_cut_stands_on_the_outline_that_its_keys_describe(*given)


def outline(name: str) -> None:
    """That an outline has the areas and the lines that its support says."""
    test_cuts.test_a_prism_on_an_outline_is_as_large_as_seen(name)
    test_cuts.test_lines_through_an_outline_are_as_long_as_crofton_says(name)


def rounded() -> None:
    test_cuts.test_a_cushion_has_the_corners_that_its_sides_leave_room_for(1.6, 1.0)


def image_of_a_round() -> None:
    test_cuts.test_an_oval_is_the_image_of_a_round(1)


def frusta(name: str) -> None:
    test_cuts.test_a_step_cut_weighs_its_frusta(name, 3, 3)


def princess() -> None:
    test_cuts.test_a_princess_is_made_of_its_triangles(2)


def cornered() -> None:
    test_cuts.test_a_cut_cornered_brilliant_is_made_of_its_triangles(2, 0.14)


emerald, oval = test_recognition.test_steps_keel_and_bulge_of_an_emerald_cut, test_recognition.test_an_oval_along_and_across
uneven, tips = test_recognition.test_an_uneven_outline_shows_by_how_much, test_cuts.test_four_halves_meet_where_two_mains_do
lying = test_recognition.test_a_scanned_stone_of_no_cut_lies_on_its_girdle_with_its_length_along_x
elsewhere = test_recognition.test_a_girdle_whose_flats_stand_elsewhere_is_as_thick_at_the_mains
on_the_rest = test_recognition.test_a_stone_of_no_cut_whose_scan_lost_a_wall_lies_on_the_rest_of_its_girdle
mixed = test_recognition.test_steps_over_chevrons_and_chevrons_over_steps_are_no_princess_cut
round_of_four = test_recognition.test_a_round_stone_of_four_mains_below_is_no_oval
steps_tell = test_recognition.test_the_steps_tell_the_sides_where_walls_are_lost_or_off
starless = test_recognition.test_mains_whose_stars_are_lost_stay_mains
narrow_table = test_recognition.test_a_single_cut_is_known_by_mains_wider_at_the_girdle_than_twice_at_the_table
axes = test_scan.test_planes_fitted_one_by_one_cost_alike_about_any_axis
stated_ends = test_cuts.test_stated_ends_leave_the_width_as_it_is
chord = test_scan.test_a_chord_over_a_gap_of_a_girdle_is_no_wall
thin = test_scan.test_all_points_clearly_below_crown_and_pavilion_are_sought_for_walls
bevel = test_scan.test_no_bevel_is_found_between_a_thin_curved_girdle_and_the_halves
tilts = test_scan.test_a_slope_is_as_uncertain_as_the_table_and_along_a_long_facet_the_tilt_across_is_less
culet = test_cuts.test_a_culet_at_its_bound_is_cut
leaning = test_cuts.test_another_number_is_named_where_no_girdle_is_thick_enough
lacking = test_scan.test_a_girdle_that_lacks_a_wall_stands_around_the_table
points = test_uncertainty.test_the_flats_beside_a_point_err_one_by_one
columns = test_scan.test_a_wall_through_two_columns_of_points_may_be_none_across_a_corner

MUTANTS: list[tuple[Any, str, str, Callable[[], None]]] = [
    # What is measured on stones with length and width.
    (of.length, "[0]", "[1]", no_cut),
    (of.width, "[1]", "[0]", back("emerald cut")),
    (of.ratio, "along / across", "across / along", back("emerald cut")),
    (of.table_width, "[1] for f", "[0] for f", back("emerald cut")),
    (of.table_length, "[0] / whole", "[1] / whole", emerald),
    (of.slopes, "slope_deg()[facets]", "slope_deg()[facets[:1]]", emerald),
    (of.Row.facets, "(90.0, 270.0)", "(90.0,)", emerald),
    (of.Row.facets, "step * k for k", "step * k + 90.0 for k", oval),
    (of.Row.facets, 'facing if f not in found["ends"] and f', "facing if f", emerald),
    (of.girdle, "_azimuths(c, facets)", "c.stone.azimuth_deg()[facets] + 9.0", tips),
    (of.girdle_corners, "if not corners:", "if corners:", tips),
    (of.girdle_corners, "c.girdle_at(corners), axis=1", "c.girdle_at(corners)[:, :1], axis=1", emerald),
    (of.corner_angles, "angle for _, angle in", "180.0 - angle for _, angle in", emerald),
    (outline_corners.sharp_corners, "SHARP_DEG < turn < 180.0", "90.0 < turn < 180.0", emerald),
    (outline_corners.sharp_corners, "> SHORT *", "> 0.0 *", points),
    (plane_uncertainty._ground_together, "= False", "= True", points),
    (of.crown_height, " / nz - rim", " / nz", back("emerald cut")),
    (of.pavilion_depth, "[:, 0] - float", "[:, 1] - float", emerald),
    (of.culet_width, "[1] if culet", "[0] if culet", oval),
    (of.keel, '[0]], "%"', '[1]], "%"', emerald),
    (of._keel, "across[other] < -ASIDE", "across[other] > ASIDE", emerald),
    (of.bulge, "(points[:, 2] < points[rim, 2])", "(points[:, 2] > points[rim, 2])", emerald),
    (
        of.bulge,
        "np.where(own & walls, points[:, 2], np.inf).argmin()",
        "np.where(own, points[:, 2], -np.inf).argmax()",
        emerald,
    ),
    (of._uneven, "points.min(axis=0)) / 2.0", "points.min(axis=0)) * 0.0", uneven),
    (of.left_against_right, "-AROUND", "180.0 - AROUND", uneven),
    (of.end_against_end, "180.0 - AROUND", "-AROUND", uneven),
    (callipers.whole_depth, "top - bottom", "top", back("emerald cut")),
    (length.extents, "+ 90.0", "+ 89.0", back("emerald cut")),
    (of._place, "loop[int(reach.argmax())]", "c.outline[int((c.outline @ u).argmax())]", elsewhere),
    (callipers.Callipers.__init__, "(self.outline)[1] if", "(self.outline)[0] if", emerald),
    (length.length_deg_of, "length_azimuth_deg(stone.outline_mm) if mirror", "0.0 if mirror", no_cut),
    (callipers.Callipers.girdle_at, "found = np.where(walls.any(axis=0), walls, meets & outermost)", "found = meets", tips),
    (length._pointed, "behind > ahead", "ahead > behind", turned("pear brilliant")),
    (length.length_azimuth_deg, "np.angle(-fourth)", "np.angle(fourth)", turned("square emerald cut")),
    # Names by shape, and how a scan lies.
    (recognition.recognition_of, " | {FACET}", "", no_cut),
    (rings.ring_names, "contact > ON_RING", "contact > 0.05", rings_of_a_measured_stone),
    (rings.ring_names, "~own, own", "~own, before", test_recognition.test_what_is_no_cut_is_named_by_side_ring_and_slope),
    (rings._by_slope, "> STEP_DEG", "> 10.0 * STEP_DEG", test_recognition.test_what_is_no_cut_is_named_by_side_ring_and_slope),
    (outline_fit.cut_corners, "math.sqrt(2.0) * _diagonal", "1.5 * _diagonal", square_of_emerald),
    (sided._sides, "SAME_SIDE", "math.pi", square_of_emerald),
    (sided._sides, "~shape.steep & there", "there", steps_tell),
    (sided._chevroned, "first, 8, 2", "first + 1, 8, 2", octagon),
    (sided._chevroned, "at_table - at_girdle", "at_table", lacks("princess cut", ("side star", 2, 4), ("corner facet", 4, 8))),
    (sided._merged, "and all(beside[f] > ON_HALF", "or all(beside[f] > ON_HALF", mixed),
    (long_brilliants._by_reach, "(left.sum() - len(stars))", "count", lacks("triangular brilliant", ("upper half", 6, 12))),
    (long_brilliants.long_brilliant, "halved and", "False and", round_of_four),
    (stone_pose._level, "min(lean.values()) + SAME_DEG", "90.0", lying),
    (stone_pose._girdle_lean_deg, "90.0 - shape", "shape", lying),
    (stone_pose.stone_pose, "-math.radians(tiers", "math.radians(tiers", lying),
    (stone_pose.stone_pose, "float(np.mean(edges))", "0.0", lying),
    (stone_pose._girdle_at, "(top + bottom) / 2.0", "top", lying),
    # What a scan says of its errors.
    (noise.pooled_noise, "planes.rms[order][", "0.9 * planes.rms[order][", noisy_scan),
    (plane_fit._solved, "np.maximum(spread[:, 0], 0.0)", "np.maximum(spread[:, 1], 0.0)", noisy_scan),
    (plane_fit._solved, "B / (M[:, :, None]", "B / (3.0 * M[:, :, None]", noisy_scan),
    (report.facet_fits, "slope += _quadratic", "slope += 0.0 * _quadratic", tilts),
    (report.facet_fits, "down = np.cross(across, stone.normals)", "down = across", tilts),
    (girdle_fit.fit_girdle, "if cost < least", "if cost < (False, 0.0)", bevel),
    (girdle_ellipse.stretched, "ratio if back else 1.0", "1.0", lambda: long_scan(2)),
    (girdle_fit.fit_girdle, "NEEDED * (len(walls) - fixed)", "UNKNOWNS * (len(walls) - fixed) * math.log(len(on_band))", axes),
    (girdle_fit.fit_girdle, "+ len(walls) - fixed", "", test_scan.test_walls_that_stand_cost_less_than_planes_that_may_lean),
    (girdle_fit._needed, "UNKNOWNS * math.log(sought)", "-1e9", chord),
    (
        girdle_fit._walls,
        "if cost >= least",
        "if walls is not None",
        lambda: test_scan.test_walls_of_a_thin_girdle_cut_off_none_of_its_corners(0),
    ),
    (
        girdle_fit.fit_girdle,
        "return _exceeds(heights, noise), score",
        "return score > explained, score",
        test_scan.test_points_that_stand_for_large_areas_are_off_no_more_than_others,
    ),
    (girdle_points.points_about, "min(0.5 * margin, CUTOFF * noise)", "0.5 * margin", thin),
    (girdle_fit.bent, "1.0 + BEND *", "1.0 + 0.0 *", merged),
    (envelope.edge_rounding, "[0.25, 0.5]", "[0.5, 0.5]", test_scan.test_facets_that_large_ones_hide_are_no_rounded_edges),
    (
        girdle_search.levels,
        "NEARLY * max(share)",
        "0.0",
        test_scan.test_the_girdle_stands_around_the_table_though_mains_are_larger,
    ),
    (moves._Trial._uneven, "> CLEARLY * np.sqrt", "> 1e9 * np.sqrt", test_scan.test_a_star_that_only_tilts_the_table_is_found),
    (
        moves._may_be_one,
        "CLEARLY * noise",
        "0.0 * noise",
        lambda: test_scan.test_a_facet_of_few_points_that_was_parted_is_made_one(26),
    ),
    (
        few_points.averaged,
        "either > UNSURE",
        "either < 0.0",
        test_scan.test_a_facet_is_as_uncertain_as_which_points_are_its_own,
    ),
    (
        few_points._posterior,
        "(height, others), noise",
        "(height, height), noise",
        test_scan.test_a_facet_is_as_uncertain_as_which_points_are_its_own,
    ),
    (anew.sought_anew, "count < FEW", "count < 0", sought),
    (anew._better, "fitted[0, 3], others), noise", "fitted[0, 3], others), 1e3 * noise", sought),
    (girdle_search.with_few_anew, "is state.planes", "is not None", refined_anew),
    (
        refining.only_needed,
        "if needed.all()",
        "if True",
        test_scan.test_what_the_points_can_do_without_is_left_out,
    ),
    (girdle_search.without_bevels, "2 * within > count", "2 * within < 0", bevel),
    (girdle_search.with_girdle, "if first == largest or", "if True or", lambda: thin_girdle(1)),
    (stone_pose._level, "NEARLY * min(", "0.99 * min(", on_the_rest),
    (long_brilliants._with_leaning, "< BROAD", "< 1e9", on_thick_girdle),
    (long_brilliants._by_reach, "- 2.0 * _edged", "- 0.0 * _edged", starless),
    (shape.by_contact, "in names else at_girdle", "in names else at_table", narrow_table),
    (
        girdle_search.levels,
        "NEARLY * max(share)",
        "0.9 * max(share)",
        test_scan.test_a_girdle_that_lacks_a_wall_stands_around_the_table,
    ),
    (walls._Sides.across_corners, "self.sums(inside) == 0.0", "self.sums(inside) < 0.0", columns),
    (walls._Sides.planes, "+ self.across_corners()", "+ 0.0 * self.across_corners()", columns),
    (long_brilliants._frames, "2.0 * math.pi / step", "1.0", turned_mains),
    (report.unexplained, "+ shift_mm", "+ 0.0 * shift_mm", dent),
    # Four pavilion mains, and what a long brilliant refuses.
    (bounds.bound, "if holds(middle) else", "if not holds(middle) else", bounds_of("princess cut")),
    (bounds.with_bound, "sorted(_changes(some", "sorted(_changes(blamed", leaning),
    (bounds.with_bound, "(_over_slider, _toward_ends)", "(_over_slider,)", lambda: unusual("triangular brilliant")),
    (bounds.with_bound, "more in both", "more in []", lambda: unusual("emerald cut")),
    (outline_brilliant.facets_on, "feet.foot[each // 2 :: each]", "feet.foot[::each]", tips),
    (outline_brilliant.facets_on, "np.repeat(tops, each, axis=0)", "np.tile(tops, (each, 1))", hull),
    (outline_brilliant._check_culet, ".min()\n", ".max()\n", culet),
    (outline_brilliant._check_tips, "> 1e-9", "> 1e9", lambda: refused("halves would cut off the tips")),
    # Outlines and cuts against closed forms: Cauchy and Crofton, an oval as a stretched round, stacked frusta, triangles.
    (outlines.Ellipse.support, "self.across * math.sin", "self.along * math.sin", lambda: outline("ellipse")),
    (outlines.Arcs.contact, "arc.point(azimuth)", "arc.point(arc.end)", lambda: outline("pear")),
    (outlines.cushion, "side_radius - corner_radius", "side_radius", rounded),
    (outlines.Sides.support, ".max()", ".min()", lambda: outline("cut corners")),
    (outlines.marquise, "4.0 * width", "3.9 * width", described("marquise")),
    (outlines.pear, "0.0, 0.0, half", "0.01, 0.0, half", described("pear")),
    (outlines.cushion, "(end + side) / 2.0 + sign", "(end + side) / 2.0 + 0.99 * sign", described("cushion")),
    (outlines.bowed_triangle, "2.0 * side_radius", "2.1 * side_radius", described("bowed triangle")),
    (outlines.rectangle, "(x - corner, y)", "(x - 0.9 * corner, y)", described("cut corners")),
    (outlines.tapered, "-narrow / 2.0", "-narrow / 2.1", described("tapered")),
    (outlines.hexagon, "x - y / math.sqrt(3.0)", "x - y / 1.7", described("hexagon")),
    (outlines.regular, "math.cos(math.pi / sides)", "math.cos(3.1 / sides)", described("octagon")),
    (triangular_brilliant._planes, "/ 100.0", "/ 110.0", stands_on("triangular brilliant")),
    (
        cushion_brilliant._planes,
        '["corner_radius_pct"] / 100.0',
        '["corner_radius_pct"] / 110.0',
        stands_on("cushion brilliant"),
    ),
    (outlines.Ellipse.flats, "math.cos(math.pi / count) / length", "1.0 / length", image_of_a_round),
    (outline_brilliant._mains, "along**2", "np.abs(along)", lambda: stated_ends("oval brilliant", (0.75, 0.75))),
    (outline_brilliant._mains, "along > 0.0", "along < 0.0", lambda: stated_ends("pear brilliant", (1.0, 0.5))),
    (
        outline_brilliant.facets_on,
        "above.rise[count // 4]",
        "above.rise[0]",
        lambda: stated_ends("pear brilliant", (1.0, 0.5)),
    ),
    (outline_brilliant._feet, "stretch * math.sin(one)", "math.sin(one)", image_of_a_round),
    (steps._steps, "(tangent / plan.rate)", "(tangent * plan.rate)", lambda: frusta("emerald cut")),
    (steps.corner_rates, "(1.0 - corner)", "(1.0 + corner)", lambda: frusta("square emerald cut")),
    (steps.flattening, "first_deg - k * less_deg", "first_deg - 2 * k * less_deg", lambda: frusta("baguette")),
    (steps._deepest, "points[within, 2].max()", "0.9 * points[within, 2].max()", lambda: frusta("hexagonal step cut")),
    (princess_cut._planes, "top = over + star *", "top = over + crown *", princess),
    (cut_cornered_brilliant._planes, "(near, far, beside)", "(near, far, point)", cornered),
    (rose_cut._planes, "ring + star * reach", "ring + side * reach", test_cuts.test_a_rose_stands_on_its_ring),
]


@pytest.mark.parametrize(("function", "line", "instead", "notices"), MUTANTS, ids=lambda one: getattr(one, "__name__", None))
def test_a_broken_line_is_noticed(function, line, instead, notices, monkeypatch):
    broken(monkeypatch, function, line, instead)
    with pytest.raises((AssertionError, AttributeError, KeyError, TypeError, ValueError, IndexError)):
        notices()
