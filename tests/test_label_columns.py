"""Labels beside a picture: no two overlap, none leaves it, and lines don't cross."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from raylab.pictures.label_columns import placed, with_labels


@pytest.mark.parametrize("seed", range(20))
def test_labels_keep_apart_and_inside_and_in_the_order_of_their_points(seed):
    rng = np.random.default_rng(seed)
    points = rng.uniform((0.0, 0.0), (1200.0, 900.0), (int(rng.integers(1, 30)), 2))
    labels = placed(points, [str(k) for k in range(len(points))], (1200, 900))
    assert sorted(label.words for label in labels) == sorted(str(k) for k in range(len(points)))
    for on_left in (True, False):
        side = sorted((label for label in labels if label.on_left == on_left), key=lambda label: label.y)
        assert [label.point[1] for label in side] == sorted(label.point[1] for label in side)
        assert all(after.y - before.y > 1.5 * 0.027 * 900 for before, after in itertools.pairwise(side))
        assert all(20.0 < label.y < 880.0 for label in side)


def test_points_in_one_half_share_the_columns_when_one_is_full():
    points = np.column_stack([np.linspace(10.0, 590.0, 40), np.full(40, 450.0)])
    on_left = [label.on_left for label in placed(points, ["x"] * 40, (1200, 900))]
    assert 15 <= sum(on_left) <= 25


def test_a_picture_keeps_its_size_and_its_middle():
    picture = np.full((300, 400, 3), 200, np.uint8)
    found = with_labels(picture, np.array([[200.0, 100.0]]), ["a $ label_1"])
    assert found.shape == picture.shape
    assert (found[200:] == picture[200:]).all(), "nothing is drawn below the label and its line"
    assert (found != picture).any()
