"""The report's figures and cells hold the comparison's numbers, each in its place."""

from __future__ import annotations

import base64
import io
import math
import pickle
import warnings
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.colors import to_rgba
from matplotlib.patches import Polygon, Rectangle

import raylab as rl
from raylab.comparison.comparing import compare
from raylab.comparison.comparison import Comparison
from raylab.comparison.uncertainty import Estimate, _of_draws
from raylab.comparison.verdicts import Verdict, words
from raylab.report import pictures, report_html, tables
from raylab.results.statistics import shares
from raylab.results.statistics.definition import Statistic
from raylab.sweeps.workers import serve, trace_chunk
from raylab.tracers.ledger import DOUBT, ENTRIES, FIELDS, GLARE, HEAD, LEAK, SKY, UNTRACED

DOME = rl.load_dome("head-shadow")
BASE = {"table_pct": 57.0, "crown_angle_deg": 34.5, "girdle_facets": 16}
COARSE = rl.TraceSettings(precision=2e-2)


@pytest.fixture(scope="module")
def two() -> Comparison:
    stones = [rl.round_brilliant(**BASE, pavilion_angle_deg=angle, name=f"<b>angle {angle}") for angle in (40.75, 42.5)]
    return compare(*stones, dome=DOME, known_to_pct=45.0, resolution=48, settings=COARSE, tilts=(0.0, 15.0))


def test_bars_of_the_ledger(two):
    figure = pictures.ledger_figure(two)
    used = [e for e in ENTRIES if any(light[k][e].statistic.value > 5e-5 for light in two.light for k in (0, 1))]
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["face-up", "tilt 15°"]
    for view, axes in enumerate(figure.axes):
        assert [label.get_text() for label in figure.axes[0].get_yticklabels()] == used
        assert axes.get_yticks().tolist() == list(range(len(used)))
        assert (axes.get_xlim(), axes.get_ylim()) == ((0.0, 118.0), (len(used) - 0.45, -0.55))
        assert [axes.spines[side].get_visible() for side in ("top", "right", "left", "bottom")] == [False, False, True, True]
        assert axes.get_legend_handles_labels()[1] == list(two.labels)
        bars = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
        wanted, lines, texts = [], [], []
        for k, label in enumerate(two.labels):
            for row, entry in enumerate(used):
                one = two.light[view][k][entry]
                value, y = 100.0 * one.statistic.value, row + (-0.2, 0.2)[k]
                wanted.append((value, y, 0.36, to_rgba(pictures.SHADES[k]), pictures.HATCHES[k]))
                low, high = (100.0 * max(0.0, end) for end in one.interval(two.coverage))
                if entry != "untraced":
                    lines.append((low, high, y))
                texts.append((max(high, value) + 2.0, y, f"{label} {value:.1f} %"))
        found = [
            (
                bar.get_width(),
                bar.get_y() + bar.get_height() / 2.0,
                bar.get_height(),
                bar.get_facecolor(),
                bar.get_hatch() or "",
            )
            for bar in bars
        ]
        for one, other in zip(found, wanted, strict=True):
            assert one[:3] == pytest.approx(other[:3])
            assert one[3:] == other[3:]
        drawn = [(*line.get_xdata(), line.get_ydata()[0]) for line in axes.lines]
        assert np.allclose(drawn, lines)
        assert {line.get_marker() for line in axes.lines} == {"|"}
        for text, other in zip(axes.texts, texts, strict=True):
            assert (*text.get_position(), text.get_text()) == (pytest.approx(other[0]), pytest.approx(other[1]), other[2])
            assert text.get_verticalalignment() == "center"


def test_marks_of_the_verdicts(two):
    figure = pictures.verdict_figure(two)
    (axes,) = figure.axes
    wanted = []
    for view in range(2):
        for name in ("brightness", "contrast_rms", "leak", "symmetry"):
            for verdict in two.light_verdicts(view).get(name, ()):
                if verdict.outcome != "unknown":
                    wanted.append((f"{words(name).name}, {tables.tilt_name(two, view)}", verdict))
    assert {verdict.name for _, verdict in wanted} >= {"brightness", "contrast_rms", "leak"}
    assert [label.get_text() for label in axes.get_yticklabels()] == [text for text, _ in wanted]
    assert axes.get_yticks().tolist() == list(range(len(wanted)))
    zero, *marks = axes.lines
    assert zero.get_xdata()[0] == 0.0
    most = 1.6
    for row, (mark, (_, verdict)) in enumerate(zip(marks, wanted, strict=True)):
        half = max(verdict.high - verdict.difference, verdict.difference - verdict.low)
        x = verdict.difference / half
        most = max(most, 1.15 * abs(x))
        assert mark.get_xdata()[0] == pytest.approx(x)
        assert mark.get_ydata()[0] == row
        sure = verdict.outcome != "not significant"
        assert mark.get_marker() == ("D" if sure else "o")
        assert to_rgba(mark.get_markerfacecolor()) == to_rgba(pictures.INK if sure else "white")
        assert (abs(x) > 1.0) == sure
    assert axes.get_xlim() == (-most, most)
    assert axes.get_ylim() == (len(wanted) - 0.5, -0.5)
    (band,) = axes.patches
    assert (band.get_x(), band.get_x() + band.get_width(), band.get_hatch()) == (-1.0, 1.0, "..")
    assert axes.get_xlabel() == "B larger  ←  difference / smallest significant difference  →  A larger"
    assert [axes.spines[side].get_visible() for side in ("top", "right", "left", "bottom")] == [False, False, False, True]
    assert axes.yaxis.majorTicks[0].tick1line.get_markersize() == 0.0
    assert axes.xaxis.majorTicks[0].tick1line.get_markersize() > 0.0


@pytest.mark.parametrize(("difference", "x"), [(0.3, 1.0), (-0.3, -1.0)])
def test_a_difference_without_any_doubt_stands_at_the_bands_edge(two, monkeypatch, difference, x):
    only = Verdict("leak", *two.labels, difference, difference, difference)
    monkeypatch.setattr(Comparison, "light_verdicts", lambda self, view: {"leak": (only,)})
    assert [line.get_xdata()[0] for line in pictures.verdict_figure(two).axes[0].lines[1:]] == [x, x]


@pytest.mark.parametrize("name", ["luminance", "contrast", "leak"])
def test_maps_in_their_places(two, name):
    figure = pictures.maps_figure(two, name)
    pixel, x, y = two.maps.attrs["pixel_mm"], two.maps.x.values, two.maps.y.values
    ends = (x[0] - pixel / 2, x[-1] + pixel / 2, y[0] - pixel / 2, y[-1] + pixel / 2)
    maps, bars = figure.axes[:4], figure.axes[4:]
    most = {"luminance": DOME.peak_radiance, "leak": 1.0}.get(name)
    for number, axes in enumerate(maps):
        stone, view = divmod(number, 2)
        (image,) = axes.images
        values = np.asarray(two.maps[name])[stone, view]
        assert np.array_equal(np.ma.filled(image.get_array(), np.nan), values, equal_nan=True)
        assert image.get_extent() == pytest.approx(ends)
        assert image.origin == "lower"
        assert axes.get_title(loc="left") == f"{two.labels[stone]}, {tables.tilt_name(two, view)}"
        statistic = {"luminance": "brightness", "contrast": "contrast_rms", "leak": "leak"}[name]
        shown = words(statistic).show(two.light[view][stone][statistic].statistic.value)
        assert axes.get_xlabel() == f"{words(statistic).name} {shown}"
        assert image.norm.vmin == (-1.0 if name == "contrast" else 0.0)
        if most is not None:
            assert image.norm.vmax == most
        assert len([patch for patch in axes.patches if isinstance(patch, Polygon)]) == 1
    assert len(bars) == 2
    said = {"luminance": "luminance (1: brightest radiance)", "contrast": "contrast (L - mean)/mean", "leak": "leakage"}
    assert {bar.get_ylabel() for bar in bars} == {said[name]}
    assert np.isfinite(np.asarray(two.maps[name])).any(axis=(0, 1, 2)).mean() > 0.85, "the grid just holds the stones"


def test_differences_in_their_places(two):
    figure = pictures.difference_figure(two)
    values = np.asarray(two.difference("luminance", *two.labels))
    high = float(np.nanquantile(np.abs(values), 0.998))
    step = 10.0 ** (math.floor(math.log10(high)) - 1)
    most = math.ceil(high / step - 1e-9) * step
    layers = [values, np.maximum(values, 0.0), np.maximum(-values, 0.0)]
    for number, axes in enumerate(figure.axes[:6]):
        row, view = divmod(number, 2)
        (image,) = axes.images
        assert np.array_equal(np.ma.filled(image.get_array(), np.nan), layers[row][view], equal_nan=True)
        assert (image.norm.vmin, image.norm.vmax) == pytest.approx((0.0 if row else -most, most))
        assert axes.get_xlabel() == ""
        assert len(axes.patches) == (1 if row else 2)
    titles = [axes.get_title(loc="left").split(",")[0] for axes in figure.axes[:6:2]]
    assert titles == ["A minus B", "A brighter", "B brighter"]


@pytest.mark.parametrize(("value", "up"), [(0.0, 0.0), (0.123, 0.13), (0.12, 0.12), (4.0, 4.0), (47.2, 48.0), (0.0301, 0.031)])
def test_rounding_up_to_two_digits(value, up):
    assert pictures._round_up(value) == pytest.approx(up, rel=1e-12)


@pytest.mark.parametrize(
    ("layers", "word"), [([-1.0, 1.0], "neither"), ([-1.0, 1.1], "max"), ([-1.5, 1.0], "min"), ([-1.5, 1.1], "both")]
)
def test_a_bar_shows_what_lies_beyond_it(layers, word):
    from matplotlib.colors import Normalize

    assert pictures._extend(np.array(layers), Normalize(-1.0, 1.0)) == word


def test_pictures_as_addresses():
    assert pictures.data_uri("a.b.png", b"x") == "data:image/png;base64," + base64.b64encode(b"x").decode()
    assert pictures.data_uri("a.svg", b"y") == "data:image/svg+xml;base64," + base64.b64encode(b"y").decode()


# --- cells -----------------------------------------------------------------------------------------------------------


def estimate(value: float, uncertainty: float, *, width: float = 0.0, error: float = 0.0, shift: float = 0.0) -> Estimate:
    return Estimate(Statistic(value, value - width, value + width, error), uncertainty, 0.0, shift, 0.0)


@pytest.mark.parametrize(
    ("one", "cell"),
    [
        (estimate(34.5, 0.25), {"value": "34.50°", "uncertainty": "± 0.25", "notes": []}),
        (estimate(34.5, 1e-4), {"value": "34.50°", "uncertainty": "± below 0.01", "notes": []}),
        (estimate(34.5, 0.0), {"value": "34.50°", "uncertainty": "± 0.00", "notes": []}),
        (estimate(34.5, 0.25, width=0.1), {"value": "34.50°", "uncertainty": "± 0.25", "notes": ["bracket 34.40 to 34.60"]}),
        (estimate(34.5, 0.25, error=0.05), {"value": "34.50°", "uncertainty": "± 0.25", "notes": ["sampling ± 0.05"]}),
        (estimate(34.5, 0.25, shift=0.1), {"value": "34.50°", "uncertainty": "± 0.25", "notes": ["without bias 34.40"]}),
        (estimate(34.5, 0.25, shift=0.05), {"value": "34.50°", "uncertainty": "± 0.25", "notes": []}),
        (estimate(34.5, 0.001, shift=0.002), {"value": "34.50°", "uncertainty": "± below 0.01", "notes": []}),
    ],
)
def test_a_cell_of_a_table(one, cell):
    assert tables._cell("crown_angle_deg", one) == cell


@pytest.mark.parametrize(
    ("ends", "verdict", "sure"),
    [
        ((1.0, 0.5, 1.5), "A larger by 1.00° (0.50 to 1.50)", True),
        ((-1.0, -1.5, -0.5), "B larger by 1.00° (0.50 to 1.50)", True),
        ((0.1, -0.5, 0.7), "not significant", False),
        ((math.nan, math.nan, math.nan), "unknown", False),
    ],
)
def test_a_verdict_in_a_cell(two, ends, verdict, sure):
    only = Verdict("crown_angle_deg", *two.labels, *ends)
    assert tables._verdict(two, [only]) == {"verdict": verdict, "sure": sure}


def test_of_three_stones_one_sure_difference_is_enough():
    three = SimpleNamespace(labels=("A", "B", "C"))
    level = [Verdict("leak", *pair, 0.0, -1.0, 1.0) for pair in (("A", "C"), ("B", "C"))]
    for ends in ((1.0, 0.5, 1.5), (-1.0, -1.5, -0.5)):
        assert tables._verdict(three, [Verdict("leak", "A", "B", *ends), *level])["sure"]
    assert not tables._verdict(three, [Verdict("leak", "A", "B", 0.0, -1.0, 1.0), *level])["sure"]


def test_texts_beside_the_pictures(two):
    parts = []
    for label, found in zip(two.labels, two.light[0], strict=True):
        shares_ = [f"{name} {100 * found[name].statistic.value:.1f} %" for name in ("sky", "head", "leak")]
        parts.append(f"{label} {', '.join(shares_)}")
    assert tables.ledger_text(two) == f"Bars of the ledger at each tilt. face-up: {parts[0]}; {parts[1]}."
    values = np.asarray(two.difference("luminance", *two.labels))
    stone = np.isfinite(values).sum(axis=(1, 2))
    more, less = 100.0 * (values > 0.1).sum(axis=(1, 2)) / stone, 100.0 * (values < -0.1).sum(axis=(1, 2)) / stone
    said = "; ".join(f"{name} {more[k]:.0f} % and {less[k]:.0f} %" for k, name in enumerate(("face-up", "tilt 15°")))
    assert tables.difference_text(two, two.labels[1]).endswith(f"over 0.1: {said}.")
    assert tables._span((0.1, 0.1), "°") == "0.1°"
    assert tables._span((0.1, 0.3), "°") == "0.1 to 0.3°, by facet"
    assert tables._capital("face-up") == "Face-up"
    assert [row["angle"][-1] for row in tables.sureness(two)] == ["°", "°"]
    assert {cell["verdict"] for row in tables.glance(two) for cell in row["cells"]} - {"-"}


def test_the_page_names_stones_and_version(two):
    page = report_html(two, {name: b"" for name in pictures.picture_names(2)})
    assert "A (&lt;b&gt;angle 40.75) and B (&lt;b&gt;angle 42.5)" in page
    assert "<b>angle" not in page
    assert rl.__version__ in page
    assert not any(line.rstrip() != line for line in page.splitlines() if "<" in line and "base64" not in line)


# --- numbers below the report ----------------------------------------------------------------------------------------


def test_a_number_without_words_of_its_own():
    assert words("no_such_number").name == "no such number"
    assert words("leak").show(math.nan) == "-"


def test_the_scatter_of_draws_by_hand():
    nominal, stated, larger = Statistic(1.0, 1.0, 1.0, 0.0), np.array([1.0, 3.0, 4.0, np.nan]), np.array([1.5, 2.0, 6.0, 9.0])
    found = _of_draws(nominal, stated, larger)
    some = stated[:3]
    fourth = ((some - some.mean()) ** 4).mean()
    scatter = some.std(ddof=1)
    assert found.statistic is nominal
    assert found.uncertainty == pytest.approx(scatter)
    assert found.uncertainty_error == pytest.approx(math.sqrt(max(0.0, fourth / scatter**4 - 1.0) / 12.0) * scatter)
    wide = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 10.0])
    kurtosis = ((wide - wide.mean()) ** 4).mean() / wide.std(ddof=1) ** 4
    assert kurtosis > 1.0
    assert _of_draws(nominal, wide, wide).uncertainty_error == pytest.approx(
        math.sqrt((kurtosis - 1.0) / 24.0) * wide.std(ddof=1)
    )
    alone = _of_draws(nominal, np.array([1.0, np.nan, 2.0]), np.array([1.0, 1.0, np.nan]))
    assert all(math.isnan(x) for x in (alone.uncertainty, alone.uncertainty_error, alone.shift, alone.shift_error))


class Means:
    """Area means that differ from channel to channel."""

    mean = np.linspace(0.01, 0.2, 64)

    @staticmethod
    def error(vector: np.ndarray) -> float:
        return float(vector @ Means.mean) / 7.0


@pytest.mark.parametrize("channel", [SKY, HEAD, LEAK, GLARE, UNTRACED])
def test_a_share_and_its_bracket_by_hand(channel, monkeypatch):
    size = len(shares.unit_vector(channel))
    monkeypatch.setattr(Means, "mean", np.linspace(0.01, 0.2, size))
    made = shares._share(channel, "label", "does so")
    mean = Means.mean
    doubt = mean[DOUBT] if channel in (SKY, HEAD, LEAK) else 0.0
    untraced = 0.0 if channel in (UNTRACED, GLARE) else mean[UNTRACED]
    low = 0.0 if channel == UNTRACED else max(0.0, mean[channel] - doubt)
    found = made.of(Means, 1.0)
    assert (found.value, found.low, found.high) == pytest.approx((mean[channel], low, mean[channel] + untraced + doubt))
    assert found.error == pytest.approx(mean[channel] / 7.0)
    assert (made.key, made.label, made.percent, made.span) == (FIELDS[channel], "label", True, (0.0, 1.0))
    assert made.definition == "area mean of the share of light that does so"
    assert made.gradient(mean, 1.0).tolist() == shares.unit_vector(channel).tolist()


def test_a_number_shows_its_sampling_error_where_it_has_one():
    assert "±" not in str(Statistic(0.5, 0.5, 0.5, 0.0))
    assert "± 0.01000" in str(Statistic(0.5, 0.5, 0.5, 0.01))


def test_a_worker_answers_until_the_requests_end():
    designs = [{"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 41.0, "dome": DOME, "tea": 1}]
    asked = [((0, designs), COARSE, "no such code")] * 2
    requests, answers = io.BytesIO(b"".join(pickle.dumps(one) for one in asked)), io.BytesIO()
    serve(requests, answers)
    answers.seek(0)
    for chunk, settings, code in asked:
        with pytest.raises(Exception) as caught:  # noqa: PT011 - whatever the chunk's own fault is
            trace_chunk(chunk, settings, code)
        answer = pickle.load(answers)  # noqa: TID251 - written above
        assert (type(answer), str(answer)) == (type(caught.value), str(caught.value))
    assert answers.read() == b""


def test_maps_of_color_and_fire_warn_of_nothing():
    scene = rl.Scene(rl.round_brilliant(**BASE, pavilion_angle_deg=40.75), DOME, settings=COARSE, resolution=24)
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        found = rl.color_picture(scene, wavelengths=3, light="A")
        spread = rl.fire_map(rl.trace_scene(scene))
    assert found.light == "A"
    assert spread is not None
    assert replace(found, light="D65").light == "D65"
