"""What people see: the report, the picture, the page."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matching_helpers import LINEAR, pair, readings, unit

from dccwire.address import LongAddress
from dccwire.cv import CvSet
from dccwire.matching import Matching, Measurements, Unit, from_toml, match

EXAMPLE = Path(__file__).parents[2] / "vectors/measurements/harbour-pair.toml"


def slow(voltage: float) -> float:
    return 0.9 * (voltage - 4)


def fast(voltage: float) -> float:
    return 1.5 * (voltage - 6)


def many(count: int) -> Matching:
    return match(Measurements(87, tuple(unit(number, slow) for number in range(1, count + 1))))


@pytest.fixture(scope="module")
def example() -> Matching:
    return match(from_toml(EXAMPLE.read_text("utf-8")))


def test_the_report_of_two_units_is_a_screen(example: Matching) -> None:
    """80 columns, 24 rows with the command's own; every number is that of the result."""
    lines = example.text().splitlines()
    assert len(lines) <= 23
    assert max(map(len, lines)) <= 80
    rows = [line for line in lines if re.match(r" +\d+ +\d+\.\d ", line)]
    assert len(rows) == 14
    halves = [row.split()[at : at + 7] for at in (0, 7) for row in rows]
    first, second = (one.table.points for one in example.units)
    for step, cells in enumerate(halves):
        assert cells == [
            str(step + 1),
            f"{example.target[step]:.1f}",
            str(first[step]),
            str(second[step]),
            f"{example.before[step]:.1f}",
            f"{example.remaining[step]:.1f}",
            f"{example.remaining_scale_km_h[step]:.1f}",
        ]


def test_the_heads_stand_over_their_columns(example: Matching) -> None:
    """A letter ends where the points of its unit end."""
    lines = example.text().splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("step   "))
    ends = [found.end() for found in re.finditer(r"\S+", lines[at])]
    for row in lines[at + 1 : at + 15]:
        assert [found.end() for found in re.finditer(r"\S+", row)] == ends


def test_the_report_says_what_bounds_it_and_what_is_to_be_written() -> None:
    """Worked out by hand for two straight motors: 4.5 to 225.9 mm/s, × 0.3132 in km/h.

    Before, at step 28: 1.5 × 249 - 0.9 × 251 = 147.6 mm/s.
    """
    cvs = CvSet({29: 6, 66: 0})
    matching = match(Measurements(87, (unit(3, slow), unit(5, fast, cvs=cvs))))
    lines = matching.text().splitlines()
    assert lines[:4] == [
        "2 units, 1:87, straight from 4.5 to 225.9 mm/s (1.4 to 70.8 km/h in scale)",
        "step 1 is the least of short 3, step 28 the most of short 3",
        "A  short 3, CV 66 = 128, CV 95 = 128, CV 29 bit 4 must be 1",
        "B  short 5, CV 66 = 0, not implemented, CV 95 = 128, CV 29 = 22",
    ]
    assert lines[-2] == "most apart before 147.6 mm/s (46.2 km/h) at step 28,"
    most = max(matching.remaining)
    step = max(one for one in range(28) if matching.remaining[one] == most) + 1
    assert lines[-1] == f"after {most:.1f} mm/s ({most * 0.3132:.1f} km/h) at step {step}"


def test_steps_that_were_not_measured_have_a_dash() -> None:
    """And where none is known of all units, so it says."""
    one = Unit(LongAddress(900), readings(slow, steps=(5, 20)))
    lines = match(Measurements(87, (one, unit(5, fast)))).text().splitlines()
    assert [line.split()[4] for line in lines if re.match(" +4 ", line)] == ["-"]
    raised = tuple(min(255, point + 200) for point in LINEAR)
    beyond = readings(slow, steps=(1, 2), voltages=raised)
    low = readings(lambda voltage: 0.84 * slow(voltage), steps=(27, 28))
    units = Unit(LongAddress(900), beyond, points=raised), Unit(LongAddress(901), low)
    assert "most apart before not known," in match(Measurements(87, units)).text()


@pytest.mark.parametrize("count", [2, 3, 12, 13, 30])
def test_more_units_take_more_rows_and_no_more_columns(count: int) -> None:
    """28 rows where two halves do not fit; no points where not even one table does."""
    lines = many(count).text().splitlines()
    assert max(map(len, lines)) <= 80
    rows = [line for line in lines if re.match(r" +\d+ +\d+\.\d ", line)]
    assert len(rows) == (28 if 2 < count <= 12 else 14)
    assert ("the points of so many units are not shown here" in lines) == (count > 12)
    assert len(rows[0].split()) == {2: 14, 3: 8, 12: 17}.get(count, 10)
    if count == 30:
        assert any(line.startswith("D2  short 30, ") for line in lines)


SVG = "{http://www.w3.org/2000/svg}"


def test_the_picture_has_a_line_for_each_unit_and_direction(example: Matching) -> None:
    """Before and after; a title and a description; dashes and letters tell the lines apart."""
    root = ElementTree.fromstring(example.svg())
    assert root.find(f"{SVG}title").text == "Speed by step of short 3, long 3001"
    told = root.find(f"{SVG}desc").text
    assert told.startswith("A is short 3; B is long 3001. Most apart before: 88.4 mm/s (27.7 km/h)")
    paths = root.findall(f"{SVG}path")
    assert len(paths) == 8
    assert [one.get("stroke-dasharray") for one in paths] == [None, None, "7 4", "7 4"] * 2
    words = [one.text for one in root.findall(f"{SVG}text")]
    for letter in ("A", "(A)", "B", "(B)"):
        assert words.count(letter) >= 6
    assert "<style>" in example.svg()
    assert example._repr_svg_() == example.svg()


def test_lines_are_drawn_to_scale() -> None:
    """Straight motors: the greatest speed at the top, steps from left to right."""
    matching = match(pair(slow, fast))
    root = ElementTree.fromstring(matching.svg())
    drawn = [one.get("d")[1:].split("L") for one in root.findall(f"{SVG}path")]
    places = [[tuple(map(float, point.split())) for point in line] for line in drawn]
    slow_before, fast_before, *after = places
    assert (fast_before[0][0], fast_before[-1]) == (50.0, (380.0, 62.0))
    assert [len(line) for line in places] == [28] * 4
    top, low = 62, 62 + 250
    ceiling = 373.5  # 1.5 × (255 - 6)
    for line, speeds in (
        (slow_before, [slow(one) for one in LINEAR]),
        (fast_before, [fast(one) for one in LINEAR]),
        *zip(after, ([*run.after] for one in matching.units for run in one.runs), strict=True),
    ):
        for (_, y), speed in zip(line, speeds, strict=True):
            assert y == pytest.approx(low - (low - top) * speed / ceiling, abs=0.051)
    words = [one.text for one in root.findall(f"{SVG}text")]
    assert words.count("374") == words.count("117 km/h") == 2


def test_a_line_is_drawn_only_where_it_is_known() -> None:
    """Steps 5 to 20 before, all of them after."""
    one = Unit(LongAddress(900), readings(slow, steps=range(5, 21)))
    root = ElementTree.fromstring(match(Measurements(87, (one, unit(5, fast)))).svg())
    counts = [len(path.get("d").split("L")) for path in root.findall(f"{SVG}path")]
    assert counts == [16, 28, 28, 28]


def test_the_page_has_the_picture_and_the_points(example: Matching) -> None:
    """A row a step, and a word where nothing is known."""
    page = example._repr_html_()
    assert page.count("<svg ") == 1
    assert page.count("<style>") == 1
    assert page.count("<tr>") == 29
    assert '<th scope="col">long 3001</th>' in page
    row = "<tr>" + "".join(
        f"<td>{cell}</td>"
        for cell in (
            *(28, "257.6", 255, example.units[1].table.points[27]),
            *("88.4", f"{example.remaining[27]:.1f}", f"{example.remaining_scale_km_h[27]:.1f}"),
        )
    )
    assert row in page
    part = Unit(LongAddress(900), readings(slow, steps=range(5, 21)))
    assert "not known" in match(Measurements(87, (part, unit(5, fast))))._repr_html_()
