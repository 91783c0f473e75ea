"""Measurements as text, and what is refused: each message names the line, and the key or column."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matching_helpers import FORWARD, LINEAR, REVERSE

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv import CvSet
from dccwire.errors import CallError, FieldError, Reason, ShapeError, TextError
from dccwire.matching import Measurements, Reading, Unit, from_csv, from_toml, scale_km_h
from refusals import refused

ABOVE_0 = "a number above 0, below 1,000,000,000"
ABOVE_0_MM_S = "a number above 0, below 10,000"
WHOLE = f"""
scale = 160
length_mm = 500
[[unit]]
address = "short 3"
points = {list(LINEAR)}
seconds = [
  [1, "forward", 100, 125.0],
  [28, "reverse", 2],
]
mm_s = [[2, "forward", 0]]
[[unit]]
address = "long 900"
length_mm = 250
cvs = {{ 2 = 9, 5 = 0, 6 = 0, 29 = 38 }}
scale_km_h = [[28, "forward", 72]]
seconds = [[14, "forward", 5]]
"""


def test_toml_tells_units_readings_and_cvs() -> None:
    """Length over time; 72 km/h at 1:160 are 20 m/s / 160 = 125 mm/s; its own length goes first."""
    found = from_toml("\ufeff" + WHOLE)
    first = (
        Reading(1, FORWARD, 5.0),
        Reading(1, FORWARD, 4.0),
        Reading(28, REVERSE, 250.0),
        Reading(2, FORWARD, 0.0),
    )
    second = (Reading(14, FORWARD, 50.0), Reading(28, FORWARD, 125.0))
    cvs = CvSet({2: 9, 5: 0, 6: 0, 29: 38})
    assert found == Measurements(
        160,
        (
            Unit(ShortAddress(3), first, points=LINEAR),
            Unit(LongAddress(900), second, cvs),
        ),
    )


def test_csv_tells_a_reading_a_line() -> None:
    """Any order of columns, comments and blank lines; units in the order in which they come."""
    text = (
        "# the loop, warm\n\nStep,address,direction,MM_s\n1,short 5,forward,4.5\n"
        "28,short 3,forward,200\n28,short 5,reverse,0\n"
    )
    assert from_csv(text, scale=87) == Measurements(
        87,
        (
            Unit(ShortAddress(5), (Reading(1, FORWARD, 4.5), Reading(28, REVERSE, 0.0))),
            Unit(ShortAddress(3), (Reading(28, FORWARD, 200.0),)),
        ),
    )
    text = "\ufeffaddress;step;direction;scale_km_h\nshort 3;1;forward;3,6\nshort 4;1;forward;36\n"
    one, other = from_csv(text, scale=100).units
    assert one.readings[0].mm_s == pytest.approx(10)  # 1 m/s / 100
    assert other.readings[0].mm_s == pytest.approx(100)


def test_speed_in_scale_is_that_of_the_prototype() -> None:
    """100 mm/s at 1:87 are 8.7 m/s, or 31.32 km/h."""
    assert scale_km_h(100, 87) == pytest.approx(31.32)


def replaced(before: str, after: str) -> str:
    assert WHOLE.count(before) == 1
    return WHOLE.replace(before, after)


@pytest.mark.parametrize(
    ("text", "path", "expected"),
    [
        ("scale = 87", "line 1, the document", "the key unit"),
        ("unit = []", "line 1, the document", "the key scale"),
        ("scale = 87\nunit = 3", "line 2, unit", "a list"),
        ("scale = 87\nunit = [3]", "line 2, unit[0]", "a table"),
        ("scale = 87\nunit = [{ cvs = {} }]", "line 2, unit[0]", "the key address"),
        ("scale = 87\nunit = [", "line 2", "TOML"),
        ("a = " + "[" * 100_000, "line 1", "TOML"),
        (replaced("length_mm = 500", "lenght_mm = 500"), "line 3, lenght_mm", "a known key"),
        (replaced("length_mm = 500", "zzz = 1"), "line 3, zzz", "a known key"),
        (replaced('address = "long 900"', ""), "line 12, unit[1]", "the key address"),
        (replaced('"long 900"', '"engine 900"'), "line 13, unit[1].address",
         "words that can be read"),
        (replaced("mm_s = [[2,", "mm_s = [2, [2,"), "line 11, unit[0].mm_s[0]",
         "a row such as [14, 'forward', 12.5]"),
        (replaced('"forward", 72', '"forward"'), "line 16, unit[1].scale_km_h[0]",
         "a row such as [14, 'forward', 12.5]"),
        (replaced("points = [9,", 'points = ["9",'), "line 6, unit[0].points[0]",
         "a whole number"),
        (replaced("scale = 160", "scale = 0"), "line 2, scale", ABOVE_0),
        (replaced("scale = 160", 'scale = "1:87"'), "line 2, scale", ABOVE_0),
        (replaced("scale = ", '"scale" = -'), "line 2, scale", ABOVE_0),
        (replaced("length_mm = 500", "length_mm = inf"), "line 3, length_mm", ABOVE_0),
        (replaced("length_mm = 250", "length_mm = -1"), "line 14, unit[1].length_mm", ABOVE_0),
        (replaced("length_mm = 500", ""), "line 7, unit[0].seconds[0]", "length_mm: a length"),
        (replaced('[28, "reverse", 2]', '[29, "reverse", 2]'), "line 7, unit[0].seconds[1]",
         "step: 1 to 28"),
        (replaced('[28, "reverse", 2]', '[28, "back", 2]'), "line 7, unit[0].seconds[1]",
         "direction: 'forward' or 'reverse'"),
        (replaced('[28, "reverse", 2]', '[28, [], 2]'), "line 7, unit[0].seconds[1]",
         "direction: 'forward' or 'reverse'"),
        (replaced('[28, "reverse", 2]', '[28, "reverse", 0]'), "line 7, unit[0].seconds[1]",
         f"seconds: {ABOVE_0}"),
        (replaced('[28, "reverse", 2]', '[28, "reverse", true]'), "line 7, unit[0].seconds[1]",
         f"seconds: {ABOVE_0}"),
        (replaced('"forward", 0]', '"forward", -1]'), "line 11, unit[0].mm_s[0]",
         f"mm_s: {ABOVE_0_MM_S}"),
        (replaced('"forward", 0]', '"forward", false]'), "line 11, unit[0].mm_s[0]",
         f"mm_s: {ABOVE_0_MM_S}"),
        (replaced('"forward", 72]', '"forward", nan]'), "line 16, unit[1].scale_km_h[0]",
         f"scale_km_h: {ABOVE_0}"),
        (replaced("[9,", "[256,"), "line 6, unit[0].points", "points, number 1: 0 to 255"),
        (replaced('"long 900"', '"long 99999"'), "line 13, unit[1].address",
         "long address: 0 to 10239"),
        (replaced('"long 900"', "900"), "line 13, unit[1].address", "a text"),
        (replaced('"long 900"', '"accessory 9"'), "line 13, unit[1].address",
         "a short or a long address"),
        (replaced("5 = 0, 6", "5 = 256, 6"), "line 15, unit[1].cvs", "CV 5: 0 to 255"),
        (replaced("5 = 0, 6", "5000 = 0, 6"), "line 15, unit[1].cvs", "cv: 1 to 1024"),
        (replaced("{ 2 = 9, 5 = 0, 6 = 0, 29 = 38 }", "3"), "line 15, unit[1].cvs", "a table"),
        (replaced("29 = 38", "29 = 54"), "line 15, unit[1].cvs", "CV 67: a value"),
        (replaced("points =", "cvs = { 29 = 6 }\npoints ="), "line 6, unit[0].cvs",
         "CV 29: bit 4 = 1"),
        ('scale = 87\n[[unit]]\naddress = "short 3"', "line 3, unit[0].address",
         "readings of short 3: one or more"),
        ("scale = 87\nunit = []", "line 2, unit", "units: two or more"),
        (replaced('"long 900"', '"short 3"'), "line 4, unit", "units: each address once"),
    ],
)  # fmt: skip
def test_toml_that_tells_no_measurements_is_refused(text: str, path: str, expected: str) -> None:
    """Line, key and row, and what was expected there."""
    with refused(ShapeError, path=path, expected=expected):
        from_toml(text)


def test_what_was_meant_is_told() -> None:
    """The nearest key, or all; what kinds of addresses there are."""
    for text, hint in (
        (replaced("length_mm = 500", "lenght_mm = 500"), "perhaps length_mm"),
        (replaced("length_mm = 500", "zzz = 1"), "known are scale, length_mm, unit"),
        (replaced('"long 900"', '"engine 900"'), "no address kind 'engine'; such as 'short 3'"),
    ):
        with pytest.raises(ShapeError) as caught:
            from_toml(text)
        assert caught.value.hint.startswith(hint)


HEADER = "address,step,direction,seconds\n"


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "line 1: no header"),
        ("# nothing\n\nshort 3,1,forward,3\n", "line 3: no header"),
        ("address,step,direction\n", "line 1: no header"),
        ("address,step,direction,seconds,mm_s\n", "line 1: no header"),
        ("address,step,step,seconds\n", "line 1: no header"),
        (HEADER + "short 3,1,forward\n", "line 2: 4 columns expected, 3 found"),
        (HEADER + "short 3,1,forward,2,5\n", "line 2: 4 columns expected, 5 found"),
    ],
)
def test_csv_of_another_shape_is_refused(text: str, problem: str) -> None:
    """The line, and how it should look."""
    with refused(TextError, Reason.TEXT, match=problem) as caught:
        from_csv(text, scale=87, length_mm=1000)
    assert "as in 'address,step,direction,seconds'" in str(caught.value)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("short 3,1.5,forward,3", "step: 1 to 28"),
        ("short 3,0,forward,3", "step: 1 to 28"),
        ("short 3,1,ahead,3", "direction: 'forward' or 'reverse'"),
        ("short 3,1,forward,x", "seconds: a number"),
        ("short 3,1,forward,nan", f"seconds: {ABOVE_0}"),
        ("short 300,1,forward,3", "short address: 1 to 127"),
        ("broadcast,1,forward,3", "address: a short or a long address"),
        ("engine 3,1,forward,3", "words that can be read"),
    ],
)
def test_csv_with_values_out_of_bounds_is_refused(row: str, expected: str) -> None:
    """The line, and the column."""
    with refused(ShapeError, path="line 2", expected=expected):
        from_csv(HEADER + row + "\n", scale=87, length_mm=1000)


def test_csv_needs_a_scale_and_a_length_for_times() -> None:
    """What the text itself does not tell."""
    with refused(FieldError, field="scale", value=0):
        from_csv(HEADER, scale=0)
    with refused(ShapeError, path="line 2", expected="length_mm: a length", actual=None):
        from_csv(HEADER + "short 3,1,forward,3", scale=87)


@given(st.data())
def test_whatever_is_changed_in_a_file_is_read_or_refused(data: st.DataObject) -> None:
    """With an error of the call, and no other."""
    at = data.draw(st.integers(0, len(WHOLE)))
    until = data.draw(st.integers(at, min(at + 4, len(WHOLE))))
    new = data.draw(st.text(st.sampled_from('019"[]{},.=-e\n#xN') | st.characters(), max_size=4))
    try:
        found = from_toml(WHOLE[:at] + new + WHOLE[until:])
    except CallError:
        return
    assert found.units


@given(st.text(st.sampled_from("019;,.-e\n# "), max_size=40))
def test_whatever_lines_csv_has_it_is_read_or_refused(text: str) -> None:
    """With an error of the call, and no other."""
    with pytest.raises(CallError):
        from_csv(HEADER + text, scale=87, length_mm=1000)


def test_numbers_too_large_to_reckon_with_are_refused() -> None:
    """Whole ones too, and a time so short that the speed would be."""
    large = "below 1,000,000,000"
    for before, after, told in (
        ("500", "9" * 400, large),
        ("500", "1e9", large),
        ('[28, "reverse", 2]', '[28, "reverse", 1e-300]', "below 10,000"),
    ):
        with pytest.raises(ShapeError, match=told):
            from_toml(replaced(before, after))
