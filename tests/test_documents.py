"""TOML that people write: what is read, and where an error says it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import FieldError, LongAddress, Reason, RecordingError, ShapeError, TextError
from dccwire import documents as d
from dccwire.toml_tables import line_of, truth, whole_number, words
from refusals import refused

TEXT = """\
consist = 10  # steps = 1
others = ["short 31"]

[[unit]]
address = "short 21"
functions = { bell = "F1", "rear light" = "FL" }

[[ unit ]]
"address" = "short 22"
[unit.functions]
horn = "F3"
  'rear light' = "FL"
unit = [1]
[[unit]]
functions.bell = "F1"
steps = 28
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("consist", 1),
        ("others[0]", 2),
        ("unit[0]", 4),
        ("unit[0].address", 5),
        ("unit[0].functions.bell", 6),
        ("unit[0].functions.rear light", 6),
        ("unit[0].steps", 4),
        ("unit[1]", 8),
        ("unit[1].address", 9),
        ("unit[1].functions.horn", 11),
        ("unit[1].functions.rear light", 12),
        ("unit[2].functions.bell", 15),
        ("unit[2].steps", 16),
        ("unit[7]", 4),
        ("", 1),
        ("nothing.like.it", 1),
    ],
)
def test_the_line_of_a_path(path: str, line: int) -> None:
    """By hand; a key that is not there has the line of its table."""
    assert line_of(TEXT, path) == line


@given(st.text("unit[]0123.steps", max_size=30))
def test_any_path_has_a_line(path: str) -> None:
    """Whatever it holds."""
    assert 1 <= line_of(TEXT, path) <= TEXT.count("\n") + 1


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("a = 1\na = 2", "is no TOML: Cannot overwrite a value (at line 2, column 6)"),
        ("a =\n\n", "is no TOML: Invalid value (at line 1, column 4)"),
        ('a = """', "is no TOML: Unterminated string (at line 1, the last)"),
    ],
)
def test_text_that_is_no_toml_is_refused(text: str, problem: str) -> None:
    """With the name of its file, and a line; a byte order mark does no harm."""
    with refused(RecordingError, Reason.FORMAT, path="quay.toml") as caught:
        d.plain_from_toml(text, "quay.toml")
    assert caught.value.problem.startswith(problem.partition("(")[0])
    assert "line" in caught.value.problem
    assert d.plain_from_toml("\ufeffa = 1", "quay.toml") == {"a": 1}
    with refused(RecordingError, Reason.FORMAT):
        d.plain_from_toml("a = " + "[" * 100_000, "quay.toml")


KEYS: d.Keys = {
    "steps": ("steps", whole_number),
    "to": ("address", d.read_address),
    "on": ("on", d.read_some(words)),
    "sure": ("sure", truth),
}


def test_a_table_gives_the_fields_that_its_keys_name() -> None:
    """Those that are there."""
    plain = {"to": "long 3", "on": ["F1"], "sure": False, "steps": 2}
    assert d.read_table(plain, "", KEYS) == {
        "address": LongAddress(3),
        "on": ("F1",),
        "sure": False,
        "steps": 2,
    }
    assert d.read_table({}, "", KEYS) == {}


@pytest.mark.parametrize(
    ("plain", "path", "expected", "hint"),
    [
        ({"stesp": 1}, "unit[0].stesp", "a known key", "perhaps steps"),
        ({"?": 1}, "unit[0].?", "a known key", "known are steps, to, on, sure"),
        ({"steps": True}, "unit[0].steps", "a whole number", ""),
        ({"to": 3}, "unit[0].to", "a text", ""),
        ({"sure": 1}, "unit[0].sure", "true or false", ""),
        ({"on": []}, "unit[0].on", "a table or more", "leave the key out"),
        ({"on": 1}, "unit[0].on", "a list", ""),
        ({"on": {}}, "unit[0].on", "a list", "a table in it begins with [[unit[0].on]]"),
        ({"on": [1]}, "unit[0].on[0]", "a text", ""),
        ([], "unit[0]", "a table", ""),
    ],
)
def test_what_has_another_shape_is_refused(plain, path: str, expected: str, hint: str) -> None:
    """With the path of the key, and what would help."""
    with refused(ShapeError, path=path, expected=expected, hint=hint) as caught:
        d.read_table(plain, "unit[0]", KEYS)
    assert d.path_of(caught.value) == path


def test_a_document_has_a_name() -> None:
    """Where there is no path yet."""
    with refused(ShapeError, path="consist"):
        d.read_table(3, "", KEYS, "consist")


def test_errors_of_values_have_their_key_once() -> None:
    """The innermost; an error from elsewhere has none."""
    with refused(TextError, Reason.TEXT, text="far 3") as caught:
        d.read_table({"to": "far 3"}, "unit[0]", KEYS)
    assert caught.value.__notes__ == ["in unit[0].to"]
    assert d.path_of(caught.value) == "unit[0].to"
    with refused(FieldError, field="long address"):
        d.made(LongAddress, {"number": -1}, "unit[1]", {})
    with refused(FieldError, field="long address") as caught:
        d.made(lambda: d.made(LongAddress, {"number": -1}, "unit[1].a", {}), {}, "unit[1]", {})
    assert d.path_of(caught.value) == "unit[1].a"
    assert d.path_of(FieldError("a", "b", 1)) == ""
