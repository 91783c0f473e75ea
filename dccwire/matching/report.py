"""The result as text: what to write, and how far apart the units are, before and after.

Room: a matching in, lines out.
"""

from __future__ import annotations

from collections.abc import Iterator
from string import ascii_uppercase

from dccwire.cv.speed_curves import POINTS
from dccwire.matching.readings import scale_km_h
from dccwire.matching.result import MatchedUnit, Matching
from dccwire.matching.voltages import TABLE_BIT
from dccwire.wording import counted, wrapped

WIDTH, APART, PLAIN, POINT = 80, 4, 30, 4
"""Columns of a report, between two tables, of a row without points, and of a point."""

ROOM = (WIDTH - APART) // 2
"""Columns of each of two tables beside one another."""


def text_of(matching: Matching) -> str:
    """All lines."""
    return "\n".join(_lines(matching))


def letters(number: int) -> str:
    """The letter of a unit, by its number from 0; behind Z come A2, B2 and so on.

    >>> letters(1), letters(27)
    ('B', 'B2')
    """
    again, place = divmod(number, len(ascii_uppercase))
    return ascii_uppercase[place] + (str(again + 1) if again else "")


def most_apart(matching: Matching) -> tuple[str, str]:
    """The largest difference before and after, in words."""
    known = [(one, step) for step, one in enumerate(matching.before, 1) if one is not None]
    left = [(one, step) for step, one in enumerate(matching.remaining, 1)]
    before = _at(max(known), matching) if known else "not known"
    return before, _at(max(left), matching)


def _at(most: tuple[float, int], matching: Matching) -> str:
    apart, step = most
    return f"{apart:.1f} mm/s ({scale_km_h(apart, matching.scale):.1f} km/h) at step {step}"


def _lines(matching: Matching) -> Iterator[str]:
    low, high = matching.target[0], matching.target[-1]
    real = (f"{scale_km_h(one, matching.scale):.1f}" for one in (low, high))
    head = (
        f"{counted(len(matching.units), 'unit')}, 1:{matching.scale:g}, {matching.shape.value} "
        f"from {low:.1f} to {high:.1f} mm/s ({' to '.join(real)} km/h in scale)"
    )
    yield from wrapped(head, WIDTH)
    yield f"step 1 is the least of {matching.lowest_by}, step 28 the most of {matching.highest_by}"
    for number, one in enumerate(matching.units):
        yield from wrapped(_trims_in_words(one), WIDTH, f"{letters(number)}  ")
    for doubt in matching.doubts:
        yield from wrapped(doubt, WIDTH, "!  ")
    yield ""
    yield from _table(matching)
    before, after = most_apart(matching)
    yield f"most apart before {before},"
    yield f"after {after}"


def _trims_in_words(one: MatchedUnit) -> str:
    trims = (
        f"CV {cv} = {trim or '0, not implemented'}"
        for cv, trim in ((66, one.forward_trim), (95, one.reverse_trim))
    )
    held = one.unit.cvs.get(29)
    needed = "CV 29 bit 4 must be 1" if held is None else f"CV 29 = {held | TABLE_BIT}"
    return ", ".join((one.unit.name, *trims, needed))


def _table(matching: Matching) -> Iterator[str]:
    """A row a step; in two halves beside one another where there is room."""
    units = [letters(number) for number in range(len(matching.units))]
    wide = PLAIN + POINT * len(units)
    if wide > WIDTH:
        yield "the points of so many units are not shown here"
        units, wide = [], PLAIN
    names = "".join(f"{one:>{POINT}}" for one in units)
    points = f"{'points' if units else '':>{len(names)}}"
    head = [f"{'':11}{points}  apart, mm/s  km/h", f"step   mm/s{names} before after after"]
    rows = [_row(matching, step, units) for step in range(POINTS)]
    half = POINTS // 2
    tables = [head + rows[:half], head + rows[half:]] if wide <= ROOM else [head + rows]
    for parts in zip(*tables, strict=True):
        yield (" " * APART).join(f"{part:<{wide}}" for part in parts).rstrip()


def _row(matching: Matching, step: int, units: list[str]) -> str:
    points = "".join(f"{one.table.points[step]:>{POINT}}" for one in matching.units[: len(units)])
    before = matching.before[step]
    known = "-" if before is None else f"{before:.1f}"
    left, km_h = matching.remaining[step], matching.remaining_scale_km_h[step]
    return f"{step + 1:>4}{matching.target[step]:>7.1f}{points}{known:>7}{left:>6.1f}{km_h:>6.1f}"
