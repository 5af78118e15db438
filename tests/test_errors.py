"""Errors are one line: where, what, and what was expected."""

import copyreg

import pytest

from raylab.errors import InputError, RaylabError, StoneError, nearest


def test_one_line_with_every_part():
    error = InputError("out of range", key="table_pct", value=130, expected="1 to 99 %", file="a.toml")
    assert str(error) == "a.toml: table_pct = 130: out of range; expected 1 to 99 %"


def test_parts_that_are_missing_leave_no_trace():
    assert str(InputError("empty file")) == "empty file"
    assert str(InputError("missing", key="stone")) == "stone: missing"


def test_line_breaks_are_folded():
    assert "\n" not in str(InputError("first\nsecond", value="a\nb", key="k"))


def test_an_error_is_completed_from_further_out():
    inner = StoneError("too thin", key="girdle_pct", value=0.1)
    outer = inner.within(file="ring.toml", section="stone")
    assert str(outer) == "ring.toml: stone.girdle_pct = 0.1: too thin"
    assert type(outer) is StoneError
    assert str(outer.within(section="scene")) == "ring.toml: scene.stone.girdle_pct = 0.1: too thin"
    assert str(InputError("empty").within(section="dome")) == "dome: empty"


def test_a_door_calls_every_parameter_that_an_error_names():
    """Also those in its words; no other word, of which a name is but a part."""
    inner = StoneError("no b_pct", key="a_pct", value=1, expected="b_pct at most 2, or b_pct_more", also=("b_pct",))
    said = "--a-pct = 1: no --b-pct; expected --b-pct at most 2, or b_pct_more"
    assert str(inner.called(lambda key: "--" + key.replace("_", "-"))) == said
    in_file = "stone.a_pct = 1: no stone.b_pct; expected stone.b_pct at most 2, or b_pct_more"
    assert str(inner.within(section="stone")) == in_file
    assert str(InputError("missing", key="a or b").called(str.upper)) == "A or B: missing"


def test_every_error_on_purpose_is_a_raylab_error_and_a_value_error():
    assert issubclass(StoneError, InputError)
    assert issubclass(InputError, RaylabError)
    assert issubclass(InputError, ValueError)


@pytest.mark.parametrize(
    ("word", "expected"), [("spinnel", "did you mean 'spinel'?"), ("xyz", "one of beryl, spinel"), ("", "one of beryl, spinel")]
)
def test_nearest_suggests_or_lists(word, expected):
    assert nearest(word, ["spinel", "beryl"]) == expected


def sharing(parts):
    """An error with these very parts, as dask has errors copied."""
    found = StoneError.__new__(StoneError)
    found.__dict__ = parts
    return found


@pytest.mark.parametrize("dask", [False, True])
def test_what_else_an_error_carries_stays_when_it_is_completed(dask, monkeypatch):
    """Such as the reason of a cut, which a sweep's table names; and the error that was completed stays as it was."""
    if dask:
        monkeypatch.setitem(copyreg.dispatch_table, StoneError, lambda error: (sharing, (vars(error),)))
    inner = StoneError("too thin", key="girdle_pct", value=0.1, also=("table_pct",))
    inner.reason = "thin_girdle"
    outer = inner.within(file="ring.toml").called(str.upper).but(value=0.2)
    assert (outer.reason, outer.also, inner.value) == ("thin_girdle", ("TABLE_PCT",), 0.1)
    assert outer.args == ("ring.toml: GIRDLE_PCT = 0.2: too thin",), "what a traceback's last line and a log take"
