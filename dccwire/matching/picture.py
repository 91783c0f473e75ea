"""The result as a picture: speed by step, before and after, a line for each unit and direction.

Lines differ by dashes and by the letters on them; no colour tells them apart. Room: a matching in,
SVG and HTML out; the words are those of `report`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

from dccwire.cv.speed_curves import POINTS
from dccwire.decoder.state import Direction
from dccwire.drawing.page import part, table
from dccwire.drawing.picture import STYLE
from dccwire.matching.readings import scale_km_h
from dccwire.matching.report import letters, most_apart
from dccwire.matching.result import Matching, Run

_WIDTH, _PANEL, _LEFT, _TOP, _TALL, _ROW = 790, 330, 50, 62, 250, 16
"""The picture's width; of a panel its width, its left margin, its top and its height; of a line."""

_DASHES = ("", "7 4", "2 3", "9 3 2 3", "12 5", "5 2 1 2")
"""Of one unit after the other; the letters go on where these begin again."""


class _Line(NamedTuple):
    """A run with the letter of its unit, and its dashes."""

    letter: str
    dashes: str
    run: Run

    def drawn(self, points: Sequence[tuple[float, float]]) -> Iterator[str]:
        """The line through the points, with its letter now and then."""
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        dashed = f' stroke-dasharray="{self.dashes}"' if self.dashes else ""
        yield f'<path class="signal" d="M{path}"{dashed}/>'
        back = self.run.direction is Direction.REVERSE
        first = (2 * sum(map(ord, self.letter)) + 4 * back) % 8  # so that few letters meet
        for x, y in points[first::8]:
            word = f"({self.letter})" if back else self.letter
            yield f'<text x="{x:.1f}" y="{y - 3:.1f}">{word}</text>'


def svg_of(matching: Matching, *, style: bool = True) -> str:
    """The picture; without `style`, for a page that has it."""
    lines = [
        _Line(letters(number), _DASHES[number % len(_DASHES)], run)
        for number, one in enumerate(matching.units)
        for run in one.runs
    ]
    names = [f"{letters(number)} is {one.unit.name}" for number, one in enumerate(matching.units)]
    says = [*names, "a letter in brackets is its reverse direction"]
    before, after = most_apart(matching)
    title = f"Speed by step of {', '.join(one.unit.name for one in matching.units)}"
    told = f"{'; '.join(names)}. Most apart before: {before}; after: {after}."
    ceiling = max(
        filter(None, (speed for one in lines for speed in one.run.before + one.run.after))
    )
    height = _TOP + _TALL + 42 + _ROW * len(says)
    body = [f'<text class="head" x="10" y="22">{escape(title)}</text>']
    for number, (name, apart) in enumerate((("before", before), ("after", after))):
        left = _LEFT + number * (_PANEL + _LEFT + 10)
        body += _panel(left, f"{name}: most apart {apart}", ceiling, matching.scale)
        for one in lines:
            speeds = one.run.after if number else one.run.before
            known = [
                (_x(left, step), _y(speed, ceiling))
                for step, speed in enumerate(speeds, 1)
                if speed is not None
            ]
            body += one.drawn(known)
    for number, words in enumerate(says):
        at = _TOP + _TALL + 48 + _ROW * number
        body.append(f'<text class="say" x="10" y="{at}">{escape(words)}</text>')
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="dccwire" role="img" '
            f'viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" height="{height}" '
            'style="max-width: 100%; height: auto">',
            f"<title>{escape(title)}</title>",
            f"<desc>{escape(told)}</desc>",
            *([f"<style>{STYLE}</style>"] if style else []),
            f'<rect class="paper" width="{_WIDTH}" height="{height}"/>',
            *body,
            "</svg>\n",
        )
    )


def html_of(matching: Matching) -> str:
    """What a notebook shows: the picture and the points."""
    names = [one.unit.name for one in matching.units]
    head = ("step", "mm/s", *names, "apart before, mm/s", "after, mm/s", "after, km/h in scale")
    rows = (
        (
            step + 1,
            f"{matching.target[step]:.1f}",
            *(one.table.points[step] for one in matching.units),
            "not known" if before is None else f"{before:.1f}",
            f"{matching.remaining[step]:.1f}",
            f"{matching.remaining_scale_km_h[step]:.1f}",
        )
        for step, before in enumerate(matching.before)
    )
    return part([svg_of(matching, style=False), *table("points of the units by step", head, rows)])


def _x(left: float, step: int) -> float:
    return left + _PANEL * (step - 1) / (POINTS - 1)


def _y(speed: float, ceiling: float) -> float:
    return _TOP + _TALL * (1 - speed / ceiling)


def _panel(left: float, head: str, ceiling: float, scale: float) -> Iterator[str]:
    """Axes with the steps, and with the speed in mm/s and in km/h at the scale."""
    yield f'<text class="say" x="{left:g}" y="{_TOP - 14}">{escape(head)}</text>'
    for quarter in range(5):
        speed = ceiling * quarter / 4
        y = _y(speed, ceiling)
        yield f'<line class="line" x1="{left:g}" y1="{y:g}" x2="{left + _PANEL:g}" y2="{y:g}"/>'
        words = f"{speed:.0f}", f"{scale_km_h(speed, scale):.0f} km/h"
        for place, word in zip((y - 1, y + 9), words, strict=True):
            yield f'<text class="small" x="{left - 22:g}" y="{place:g}">{word}</text>'
    for step in (1, 7, 14, 21, 28):
        x, low = _x(left, step), _TOP + _TALL
        yield f'<line class="line" x1="{x:g}" y1="{_TOP}" x2="{x:g}" y2="{low + 4}"/>'
        yield f'<text class="small" x="{x:g}" y="{low + 15}">{step}</text>'
    yield (
        f'<text class="small" x="{left + _PANEL / 2:g}" y="{_TOP + _TALL + 28}">'
        "step of 28; speed in mm/s, and in km/h at the scale</text>"
    )
