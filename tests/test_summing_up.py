"""The sentence at the top of a report says what the verdicts say, in plain words, and puts no stone before another."""

from __future__ import annotations

import itertools
import re

import pytest

from raylab.comparison.summing_up import light_in_words, summed_up
from raylab.comparison.verdicts import Verdict
from raylab.lighting.dome_file import dome_names

SKY = "an even sky"


def verdict(name: str, pair: str, values: tuple[float, float], half: float = 0.005, *, measured: bool = True) -> Verdict:
    difference = values[0] - values[1]
    return Verdict(name, *pair, values, difference - half, difference + half, measured)


def view(tilt_deg: float, *verdicts: Verdict) -> tuple[float, dict[str, list[Verdict]]]:
    names = dict.fromkeys(one.name for one in verdicts)
    return tilt_deg, {name: [one for one in verdicts if one.name == name] for name in names}


def test_alike_face_up_and_different_when_tilted():
    same = verdict("brightness", "AB", (0.69, 0.691))
    brighter = verdict("brightness", "AB", (0.77, 0.791))
    assert summed_up([view(0.0, same), view(10.0, brighter)], SKY) == (
        "Under an even sky, face-up, the measurements can't tell A and B apart; tilted by 10°, "
        "B is brighter by 2.10 percentage points.",
    )


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (verdict("leak", "AB", (0.1, 0.101)), "the measurements can't tell A and B apart"),
        (verdict("leak", "AB", (0.1, 0.101), measured=False), "the tracing is too coarse to tell A and B apart"),
        (verdict("leak", "AB", (0.1, 0.1), 1e-6), "A and B are equal"),
        (verdict("leak", "AB", (float("nan"), 0.1)), "nothing is known of the difference of A and B"),
        (verdict("contrast_rms", "AB", (0.5, 0.4)), "A has more contrast (0.500 against 0.400)"),
        (
            verdict("symmetry", "AB", (0.5, 0.9)),
            "B has the more symmetric pattern (0.900 against 0.500, where 1 is perfect symmetry)",
        ),
        (verdict("symmetry", "AB", (0.8996, 0.9004), 1e-5), "B has the more symmetric pattern by less than 0.001"),
    ],
)
def test_each_outcome_has_its_own_words(one, words):
    assert summed_up([view(0.0, one)], SKY) == (f"Under an even sky, face-up, {words}.",)


def test_a_difference_that_is_established_is_never_hidden_by_one_that_is_not():
    several = [
        verdict("brightness", "AB", (0.69, 0.691)),
        verdict("contrast_rms", "AB", (0.5, 0.4)),
        verdict("leak", "AB", (0.1, 0.2)),
        verdict("symmetry", "AB", (0.9, 0.8)),
    ]
    assert summed_up([view(5.0, *several)], SKY) == (
        "Under an even sky, tilted by 5°, A has more contrast (0.500 against 0.400) and has the more symmetric pattern "
        "(0.900 against 0.800, where 1 is perfect symmetry), "
        "B leaks more light by 10.00 percentage points.",
    )


def test_views_in_which_the_same_is_true_share_a_clause_with_the_range_of_the_numbers():
    tilted = [view(tilt, verdict("brightness", "AB", (0.80, b))) for tilt, b in ((0.0, 0.75), (10.0, 0.77), (20.0, 0.76))]
    assert summed_up(tilted, SKY) == (
        "Under an even sky, face-up and tilted by 10° and 20°, A is brighter by 3.00 to 5.00 percentage points.",
    )
    patterns = [view(tilt, verdict("contrast_rms", "AB", (a, 0.31))) for tilt, a in ((0.0, 0.45), (10.0, 0.42))]
    assert summed_up(patterns, SKY) == (
        "Under an even sky, face-up and tilted by 10°, A has more contrast (0.420 to 0.450 against 0.310).",
    )
    assert summed_up([tilted[1], tilted[1]], SKY) == (
        "Under an even sky, tilted by 10° and 10°, A is brighter by 3.00 percentage points.",
    )


def test_other_statistics_say_nothing():
    glare = verdict("glare", "AB", (0.2, 0.1))
    assert summed_up([view(0.0, glare, verdict("leak", "AB", (0.1, 0.1), 1e-6))], SKY) == (
        "Under an even sky, face-up, A and B are equal.",
    )


def of_pairs(stones: str, values: dict[str, float]) -> tuple[float, dict[str, list[Verdict]]]:
    pairs = ("".join(pair) for pair in itertools.combinations(stones, 2))
    return view(0.0, *(verdict("brightness", pair, (values[pair[0]], values[pair[1]])) for pair in pairs))


def test_of_three_stones_each_pair_has_its_sentence():
    found = summed_up([of_pairs("ABC", {"A": 0.7, "B": 0.7, "C": 0.6})], SKY)
    assert found == (
        "A and B under an even sky: face-up, the measurements can't tell A and B apart.",
        "A and C under an even sky: face-up, A is brighter by 10.00 percentage points.",
        "B and C under an even sky: face-up, B is brighter by 10.00 percentage points.",
    )


def test_of_many_stones_the_pairs_that_differ_are_counted():
    values = {"A": 0.7, "B": 0.7, "C": 0.6, "D": 0.5}
    assert summed_up([of_pairs("ABCD", values)], SKY) == (
        "Under an even sky, of 6 pairs of stones, these numbers differ in at least one view: 5 in brightness; "
        "A and B can't be told apart in any view.",
    )
    alike = dict.fromkeys("ABCD", 0.7)
    assert summed_up([of_pairs("ABCD", alike)], SKY) == (
        "Under an even sky, none of the 6 pairs of stones can be told apart in any view.",
    )


def test_no_word_puts_one_stone_before_another():
    values = {"A": 0.7, "B": 0.7, "C": 0.6, "D": 0.5}
    said = " ".join(summed_up([of_pairs(stones, values)], SKY)[k] for stones in ("AC", "ABC", "ABCD") for k in (0, -1))
    assert not re.search(r"\b(better|best|worse|worst|wins?|place|rank|first|second|over)\b", said)


def test_every_shipped_light_for_stones_has_plain_words():
    said = {name: light_in_words(name) for name in dome_names()}
    assert not any(words.startswith("the dome") for words in said.values())
