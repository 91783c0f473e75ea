"""An explanation as a picture: the signal to scale, each bit and field beneath it, a strip a byte.

Room: an explanation in, SVG out; what bits mean stands in `explanation`.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from typing import NamedTuple

from bitstring import Bits

from dccwire.drawing.colours import FONT, palette
from dccwire.drawing.explanation import Explanation
from dccwire.signal import NOMINAL
from dccwire.wording import counted, printable, wrapped

_SCALE = 0.4  # of a picture's width per us
_LEFT, _WIDTH = 10, 790
_LONGEST_NS = NOMINAL.duration_ns(ones=1, zeros=9)  # a byte of zeros, and the packet end bit
_HIGH, _LOW = 34, 62
_NARROW = 66
"""Characters of a remark's line: it is read whole where a narrow page shows the left of the picture
alone, 480 of its units at 390 px."""

STYLE = (
    palette(".dccwire")
    + """
.dccwire .paper { fill: var(--paper); } .dccwire .band { fill: var(--band); }
.dccwire .signal { fill: none; stroke: var(--ink); stroke-width: 1.6; }
.dccwire .line { stroke: var(--line); } .dccwire .field { fill: none; stroke: var(--ink); }
.dccwire .wrong { fill: none; stroke: var(--bad); stroke-width: 2; }
.dccwire text { fill: var(--ink); font: 13px """
    + FONT
    + """;
  text-anchor: middle; }
.dccwire text.head { text-anchor: start; font-weight: bold; }
.dccwire text.say { text-anchor: start; } .dccwire text.small { font-size: 9px; }
.dccwire text.bad { fill: var(--bad); } .dccwire text.remark { text-anchor: start; }
"""
)
"""What the picture looks like; it follows a light or a dark setting."""


class _Strip(NamedTuple):
    """Bits in a row: what they are, from where to where, the byte among them, and what it says."""

    head: str
    begin: int
    end: int
    byte: int | None
    says: tuple[str, ...]


def svg_of(explanation: Explanation, *, style: bool = True) -> str:
    """The picture; without `style`, for a page that has it."""
    strips = list(_strips(explanation))
    inspection = explanation.inspection
    body, y = list[str](), 10
    for strip in strips:
        body.append(f'<g transform="translate(0 {y})">')
        body += _drawn(explanation, strip)
        body.append("</g>")
        y += _height(strip)
    for _, words in ((mark, words) for mark, words in inspection.notes() if mark == "! "):
        for line in wrapped(f"! {words}", _NARROW):
            y += 17
            body.append(f'<text class="bad remark" x="{_LEFT}" y="{y}">{_text(line)}</text>')
    title = next(inspection.headlines())
    told = "; ".join(_told(one) for one in strips) or "no bits"
    marked = (f"bit {at} of {len(explanation.bits)} {how}" for at, how in explanation.marks.items())
    told = "; ".join((told, *marked))
    about = (
        f"The track signal to scale, from left to right and from top to bottom, with nominal "
        f"half-bits of {NOMINAL.one / 1e3:g} us for a 1 and {NOMINAL.zero / 1e3:g} us for a 0. "
        f"{told}."
    )
    height = y + 14
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="dccwire" role="img" '
            f'viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" height="{height}" '
            'style="max-width: 100%; height: auto">',
            f"<title>{_text(title)}</title>",
            f"<desc>{_text(about)}</desc>",
            *([f"<style>{STYLE}</style>"] if style else []),
            f'<rect class="paper" width="{_WIDTH}" height="{height}"/>',
            *body,
            "</svg>\n",
        )
    )


def _text(words: str) -> str:
    return escape(printable(words))


def _told(strip: _Strip) -> str:
    return ": ".join(filter(None, (strip.head, ", ".join(strip.says))))


def _strips(explanation: Explanation) -> Iterator[_Strip]:
    """The bits in rows: a byte with the start bit before it, and the packet end bit behind it."""
    bits = explanation.bits
    begin = at = 0
    while at < len(bits):
        what, byte = explanation.part(at)
        if byte is None:
            begins = "start bit" in what and begin < at
            if begins:
                yield _framing(explanation, begin, at)
                begin = at
            at += 1
            if at == len(bits) or not _fits(bits[begin : at + 1]):
                yield _framing(explanation, begin, at)
                begin = at
            continue
        if "start bit" not in explanation.part(begin)[0] and begin < at:
            yield _framing(explanation, begin, at)
            begin = at
        at += 8
        ends = at < len(bits) and explanation.part(at)[0] == "packet end bit"
        at += ends and _fits(bits[begin : at + 1])
        yield _of_byte(explanation, byte, begin, at)
        begin = at


def _fits(bits: Bits) -> bool:
    return NOMINAL.duration_ns(bits.count(True), bits.count(False)) <= _LONGEST_NS


def _framing(explanation: Explanation, begin: int, end: int) -> _Strip:
    names = dict.fromkeys(explanation.part(at)[0] for at in range(begin, end))
    told, ones = ", ".join(names), explanation.inspection.preamble
    if told == "preamble" and begin and explanation.part(begin - 1)[0] == told:
        return _Strip("preamble, continued", begin, end, None, ())
    number = ones if told == "preamble" and ones is not None else end - begin
    if told == "preamble" and not explanation.framed:
        number = explanation.start or number
    return _Strip(f"{told}, {counted(number, 'bit')}", begin, end, None, ())


def _of_byte(explanation: Explanation, byte: int, begin: int, end: int) -> _Strip:
    head, *fields = (row for row in explanation.rows if row.byte == byte)
    words = ", ".join(filter(None, (head.meaning, head.clause)))
    value = explanation.inspection.data[byte]
    says = tuple(f"{row.letters} {row.meaning}".strip() for row in fields)
    return _Strip(f"byte {byte}: {value:02X}{': ' * bool(words)}{words}", begin, end, byte, says)


def _height(strip: _Strip) -> int:
    return 138 + 17 * sum(len(list(wrapped(one, 100))) for one in strip.says)


def _drawn(explanation: Explanation, strip: _Strip) -> Iterator[str]:
    """One strip: its head, the signal with the length of each half-bit, bits, fields, words."""
    bits = explanation.bits.bin
    yield f'<text class="head" x="{_LEFT}" y="14">{_text(strip.head)}</text>'
    zero, one = NOMINAL.halves
    x, level, path = float(_LEFT), strip.begin % 2, list[str]()
    places = list[tuple[float, float]]()
    for at in range(strip.begin, strip.end):
        begin = x
        for half in one if bits[at] == "1" else zero:
            wide = half / 1e3 * _SCALE
            y = _LOW if level else _HIGH
            path.append(f"{'L' if path else 'M'}{x:g} {y}H{x + wide:g}")
            beside = _LOW + 11 if level else _HIGH - 4
            yield (f'<text class="small" x="{x + wide / 2:g}" y="{beside}">{half // 1000}</text>')
            x, level = x + wide, 1 - level
        places.append((begin, x))
    for _, end in places:
        yield f'<line class="line" x1="{end:g}" y1="{_HIGH - 6}" x2="{end:g}" y2="{_LOW + 16}"/>'
    yield from _bands(explanation, strip, places)
    yield f'<path class="signal" d="{"".join(path)}"/>'
    for at, (begin, end) in zip(range(strip.begin, strip.end), places, strict=True):
        middle = (begin + end) / 2
        yield f'<text x="{middle:g}" y="94">{bits[at]}</text>'
        what, byte = explanation.part(at)
        if byte is None and ("start" in what or "end" in what):
            short = "start" if "start" in what else "end"
            yield f'<text class="small" x="{middle:g}" y="109">{_text(short)}</text>'
        yield f'<text class="small" x="{middle:g}" y="125">{_numbered(explanation, at)}</text>'
        if how := explanation.marks.get(at):
            size = f'width="{end - begin - 2:g}" height="{116 - _HIGH + 8}"'
            yield f'<rect class="wrong" x="{begin + 1:g}" y="{_HIGH - 8}" {size}/>'
            yield f'<text class="small bad" x="{middle:g}" y="136">{how}</text>'
    for number, words in enumerate(line for one in strip.says for line in wrapped(one, 100)):
        yield f'<text class="say" x="{_LEFT}" y="{142 + 17 * number}">{_text(words)}</text>'


def _numbered(explanation: Explanation, at: int) -> str:
    """A bit's number among those sent, and within its byte."""
    what, byte = explanation.part(at)
    if not explanation.framed:
        return what.removeprefix("bit ") if byte is not None else ""
    return f"{at}" if byte is None else f"{at} ({what.removeprefix('bit ')})"


def _bands(
    explanation: Explanation, strip: _Strip, places: list[tuple[float, float]]
) -> Iterator[str]:
    """The layout's letters under the bits, each field in a frame of its own."""
    if strip.byte is None:
        return
    head, *fields = (row for row in explanation.rows if row.byte == strip.byte)
    first = next(at for at in range(strip.begin, strip.end) if explanation.part(at)[1] is not None)
    left = first - strip.begin
    for place, letter in enumerate(head.letters):
        begin, end = places[left + place]
        yield f'<text class="small" x="{(begin + end) / 2:g}" y="109">{_text(letter)}</text>'
    own = [(7 - one.first, 7 - one.last) for one in fields if one.letters]
    if not own:  # what is not fixed is one field, unless all is
        moving = [place for place, letter in enumerate(head.letters) if letter not in "01"] or [
            0,
            7,
        ]
        own = [(moving[0], moving[-1])]
    for first_place, last_place in own:
        begin, end = places[left + first_place][0], places[left + last_place][1]
        yield (
            f'<rect class="field" x="{begin + 1.5:g}" y="81" width="{end - begin - 3:g}" '
            'height="33" rx="4"/>'
        )
