"""The pictures of a page: half-bits against limits, packets over time, the signal at a finding.

Each is SVG with a title and a description; what a colour says, a shape or a word says too. Room:
values in, markup out.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from itertools import accumulate, groupby, pairwise

from dccwire.conformance.histogram import Histogram
from dccwire.conformance.report import Report
from dccwire.conformance.reports.evidence import Excerpt, Timeline
from dccwire.conformance.rules import Verdict
from dccwire.signal import LIMITS, Limit


def _picture(name: str, title: str, told: str, height: float, shapes: str) -> str:
    """A picture that scrolls by itself where the page is narrow, and has words; ids by `name`."""
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(title)}">'
        f'<svg class="picture" viewBox="0 0 {_WIDTH} {height:g}" role="img" '
        f'aria-labelledby="{name}-title {name}-text"><title id="{name}-title">{escape(title)}'
        f'</title><desc id="{name}-text">{escape(told)}</desc>{shapes}</svg></div>'
    )


def _text(x: float, y: float, words: object, kind: str = "middle") -> str:
    return f'<text class="{kind}" x="{x:g}" y="{y:g}">{escape(str(words))}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str = "axis") -> str:
    return f'<line class="{kind}" x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}"/>'


def _bar(x: float, base: float, width: float, height: float, told: str = "") -> str:
    title = f"<title>{escape(told)}</title>" * bool(told)
    where = f'x="{x:g}" y="{base - height:.5g}" width="{width:g}" height="{height:.4g}"'
    return f'<rect class="bar" {where}>{title}</rect>'


_WIDTH = 640

_BASE = 150
"""Where the bars of a histogram stand."""


def histograms(histogram: Histogram) -> Iterator[str]:
    """Halves of ones and of zeros, by microseconds, with the limits as lines."""
    counts = histogram.counts()
    places = range(46, 71), range(84, 116)
    yield _bars("ones", counts, places[0], LIMITS["t1"])
    yield _bars("zeros", counts, places[1], LIMITS["t0"])
    aside = sum(counts[one] for one in counts if not any(one in some for some in places))
    told = "; ".join(histogram.runs()) or "none"
    yield (
        "<p>A bar is of lengths from its number on to less than 1 us more; a dashed line is a "
        f"limit. In all: {escape(told)}. {aside} are outside of both pictures.</p>"
    )


def _bars(name: str, counts: dict[int, int], places: range, limit: Limit) -> str:
    """One picture: bars on a scale of square roots, so that few beside many can be seen."""
    some = {place: counts[place] for place in places if place in counts}
    most = max(some.values(), default=1)
    wide = (_WIDTH - 40) / len(places)

    def x(microseconds: float) -> float:
        return 20 + wide * (microseconds - places[0])

    low = limit.least / 1000
    high = min(limit.most / 1000, places[-1] + 1)
    shapes = [f'<path class="band" d="M{x(low):g} 24H{x(high):g}V{_BASE}H{x(low):g}z"/>']
    shapes.append(_text((x(low) + x(high)) / 2, 14, f"allowed: {limit}"))
    shapes += [_line(x(low), 18, x(low), _BASE, "limit")]
    if high < places[-1] + 1:
        shapes.append(_line(x(high), 18, x(high), _BASE, "limit"))
    for place, count in some.items():
        height = max(106 * (count / most) ** 0.5, 1.5)
        told = f"{place} us to less than {place + 1}: {count}"
        shapes.append(_bar(x(place) + 1, _BASE, wide - 2, height, told))
        shapes.append(_text(x(place) + wide / 2, _BASE - height - 4, _short(count), "small"))
    shapes.append(_line(10, _BASE, _WIDTH - 10, _BASE))
    shapes += [_text(x(one), _BASE + 14, one) for one in places if one % 5 == 0]
    shapes.append(_text(_WIDTH / 2, _BASE + 30, f"halves of {name}, us; heights are square roots"))
    told = "; ".join(f"{place} us {count}" for place, count in some.items()) or "none"
    title = f"How many halves of {name} last how long; allowed are {limit}"
    return _picture(f"half-bits-{name}", title, told, _BASE + 36, "".join(shapes))


def _short(count: int) -> str:
    """A count in four characters, where it stands above a narrow bar."""
    if count < 10_000:
        return str(count)
    return next(
        f"{count // thousands}{letter}"
        for letter, thousands in (("G", 10**9), ("M", 10**6), ("k", 10**3))
        if count >= thousands
    )


_NAMES, _ROW = 150, 18
"""Width of the names at the left of a timeline, height of its rows."""


def timeline(seen: Timeline, report: Report) -> str:
    """A row an address: bars as high as the square root of how many came in a stretch of time."""
    bins = max((len(counts) for _, counts in seen.rows), default=1)
    wide = (_WIDTH - _NAMES - 10) / bins
    whole = bins * seen.bin_ns
    height = 24 + _ROW * (len(seen.rows) + 1)

    def x(time: float) -> float:
        return _NAMES + (_WIDTH - _NAMES - 10) * (time - seen.begin_ns) / whole

    shapes = [_text(_NAMES - 8, 14, "first failures", "end")]
    for one in report.results:
        for time in one.first_times_ns if one.verdict is Verdict.FAIL else ():
            told = f"rule {one.rule.number} at {time / 1e6:.3f} ms"
            at = x(min(max(time, seen.begin_ns), seen.begin_ns + whole))
            shapes.append(
                f'<path class="mark" d="M{at:.1f} 16l-4 -9h8z"><title>{told}</title></path>'
            )
    most = max((max(counts) for _, counts in seen.rows), default=1)
    for row, (name, counts) in enumerate(seen.rows):
        base = 18 + _ROW * (row + 1)
        shapes.append(_text(_NAMES - 8, base - 3, name, "end"))
        shapes.append(_line(_NAMES, base, _WIDTH - 10, base))
        for place, count in enumerate(counts):
            if count:
                tall = max((_ROW - 4) * (count / most) ** 0.5, 2)
                left = _NAMES + wide * place
                shapes.append(_bar(left, base, max(wide - 0.4, 0.6), tall))
    for tenth in range(0, 11, 2):
        at = seen.begin_ns + whole * tenth / 10
        kind = "end" if tenth == 10 else "middle"
        shapes.append(_text(x(at), height + 6, f"{at / 1e9:.3f} s", kind))
    told = "; ".join(f"{name} {sum(counts)}" for name, counts in seen.rows) or "no packet"
    title = f"Packets by address, counted in stretches of {seen.bin_ns / 1e6:.3g} ms"
    return _picture("timeline", title, told, height + 14, "".join(shapes))


_SCALE = 0.5
"""Units of width a microsecond, in the drawing of the signal."""

_LONGEST_US = 300
"""A half-bit that is longer is drawn as one of so much, with a break."""

_DEEP = 92
"""Height of a row of the drawing."""


def excerpt(seen: Excerpt, number: int, heading: str) -> str:
    """The signal to scale: bits above, half-bits with their lengths below, in rows."""
    edges = seen.edges
    lengths = [(later - one) / 1000 for one, later in pairwise(edges)]
    pairs = {one.edge for one in seen.bits}
    rows: list[list[int]] = []
    room = 0.0
    for half, length in enumerate(lengths):
        wide = _wide(length)
        needed = wide + (_wide(lengths[half + 1]) if half in pairs else 0)
        if needed > room:  # a bit is not torn from row to row
            rows.append([])
            room = _WIDTH - 20.0
        rows[-1].append(half)
        room -= wide
    shapes = [
        shape
        for row, halves in enumerate(rows)
        for shape in _row_of(seen, lengths, halves, 4 + row * _DEEP)
    ]
    told = ", ".join(f"{length:.1f}" for length in lengths)
    values = "".join(one.value for one in seen.bits)
    words = f"half-bits in us: {told or 'none'}; bits: {values or 'none'}"
    height = 4 + max(len(rows), 1) * _DEEP
    return _picture(f"signal-{number}", heading, words, height, "".join(shapes))


def _wide(length_us: float) -> float:
    return _SCALE * min(length_us, _LONGEST_US)


def _row_of(seen: Excerpt, lengths: list[float], halves: list[int], top: float) -> Iterator[str]:
    """One row: roles and values of bits, the levels, the lengths, and where rules fail."""
    high, low = top + 40, top + 60
    begins = accumulate([_wide(lengths[one]) for one in halves[:-1]], initial=10.0)
    borders = dict(zip(halves, begins, strict=True))
    path = ""
    for half, at in borders.items():
        beyond = at + _wide(lengths[half])
        level, before = (high, low) if half % 2 else (low, high)
        path += f"M{at:g} {before if path else level:g}V{level:g}H{beyond:g}"
        if lengths[half] > _LONGEST_US:
            for x in ((at + beyond) / 2 - 3, (at + beyond) / 2 + 3):
                yield _line(x - 2, level + 4, x + 2, level - 4, "signal")
        told = f"{lengths[half]:.1f}".removesuffix(".0")
        # What is narrower than its words has them above, where its neighbours have none.
        yield _text((at + beyond) / 2, low + 13 if beyond - at > 18 else high - 3, told, "small")
        first, last = seen.edges[half : half + 2]
        if first <= seen.time_ns < last:
            x = at + _wide((seen.time_ns - first) / 1000)
            yield _line(x, top + 18, x, low + 16, "limit")
            yield f'<path class="mark" d="M{x:g} {low + 14:g}l5 9h-10z"/>'
            numbers = ", ".join(map(str, seen.rules))
            yield _text(x + 8, low + 24, f"rule{'s' * (len(seen.rules) > 1)} {numbers}", "start")
        for pulse in seen.pulses:
            if first <= pulse < last:
                x = at + _wide((pulse - first) / 1000)
                yield _line(x, high - 4, x, low + 4, "limit")
                yield _text(x, high - 5, "pulse", "small")
    yield f'<path class="signal" d="{path}"/>'
    paired = {one.edge + place for one in seen.bits for place in (0, 1)}
    loose = groupby(halves, lambda one: "" if one in paired else _made_of(seen, one))
    for words, others in loose:
        shown = list(others)
        begin, end = borders[shown[0]], borders[shown[-1]] + _wide(lengths[shown[-1]])
        if words and end - begin > 6 * len(words):  # else it would run into what is beside it
            yield _text((begin + end) / 2, top + 10, words)
            yield _line(begin + 1, top + 15, end - 1, top + 15)
    bits = [one for one in seen.bits if one.edge in borders]
    for role, some in groupby(bits, lambda one: one.role):
        places = [(borders[one.edge], one.value, one.edge) for one in some]
        ends = [at + _wide(lengths[edge]) + _wide(lengths[edge + 1]) for at, _, edge in places]
        yield _text((places[0][0] + ends[-1]) / 2, top + 10, role)
        yield _line(places[0][0] + 1, top + 15, ends[-1] - 1, top + 15)
        for (at, value, _), end in zip(places, ends, strict=True):
            yield _text((at + end) / 2, top + 30, value)
            yield _line(end, top + 20, end, top + 34)


def _made_of(seen: Excerpt, half: int) -> str:
    """What the receiver made of a half-bit that is of no bit."""
    found = (words for begin, end, words in seen.parts if begin <= seen.edges[half] < end)
    return next(found, "").partition(",")[0]
