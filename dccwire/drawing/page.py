"""An explanation as HTML: a page that stands alone, or a part of one, as notebooks show it.

No scripts, nothing from a network; whatever was given is text. Room: an explanation in, HTML out;
the same rows as in `lines`, and the picture of `picture`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from dccwire.drawing.colours import FONT, palette
from dccwire.drawing.explanation import Explanation
from dccwire.drawing.picture import STYLE, svg_of
from dccwire.drawing.rows import (
    HALF_BIT_HEAD,
    ODD_COLUMNS,
    Row,
    half_bit_rows,
    half_bits_in_words,
    sum_rows,
    table_rows,
)
from dccwire.layout import bits_in_words
from dccwire.wording import printable

PAGE_STYLE = (
    palette(".dccwire-page")
    + STYLE
    + """
.dccwire-page { max-width: 52rem; font: 1rem/1.45 """
    + FONT
    + """; }
.dccwire-page table { border-collapse: collapse; font-size: .9rem; margin: .8rem 0; }
.dccwire-page th, .dccwire-page td { text-align: left; vertical-align: top;
  padding: .2rem .9rem .2rem 0; border-bottom: 1px solid var(--line); }
.dccwire-page .bits { font-family: "Courier New", monospace; white-space: pre; }
.dccwire-page .scroll { overflow-x: auto; } .dccwire-page .scroll svg { min-width: 36rem; }
.dccwire-page .scroll:focus { outline: 2px solid currentColor; }
@media (max-width: 40rem) { .dccwire-page thead { position: absolute; clip-path: inset(50%); }
  .dccwire-page tr { display: flex; flex-wrap: wrap; column-gap: .7rem; padding: .3rem 0;
    border-bottom: 1px solid var(--line); }
  .dccwire-page td { border: 0; padding: 0; } .dccwire-page td:empty { display: none; }
  .dccwire-page td:last-child { flex: 1 0 100%; } }
"""
)
"""The style of the parts of a page that are not pictures."""

_ALONE = (
    palette(":root")
    + """
:root { color-scheme: light dark; }
body { margin: 0 auto; padding: 1rem; max-width: 52rem; background: var(--paper);
  color: var(--ink); }
"""
)


def html_of(explanation: Explanation, *, half_bits: bool = False) -> str:
    """The page."""
    title = next(explanation.inspection.headlines())
    return page(title, part_of(explanation, half_bits=half_bits))


def page(title: str, body: str) -> str:
    """A page that stands alone."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{in_text(title)}</title>\n<style>{_ALONE}</style>\n</head>\n<body>\n<main>\n"
        f"{body}</main>\n</body>\n</html>\n"
    )


def part_of(explanation: Explanation, *, half_bits: bool = False) -> str:
    """What a page or a notebook shows, with its style."""
    return part(_body(explanation, half_bits=half_bits))


def part(body: Iterable[str]) -> str:
    """A part of a page, with its style, which holds within it alone."""
    return f'<div class="dccwire-page">\n<style>{PAGE_STYLE}</style>\n' + "\n".join(
        (*body, "</div>\n")
    )


def shown(bits: str, first: int = 7) -> str:
    """Bits or letters at their places in a byte, in two halves; the first one is this number."""
    eight = (" " * (7 - first) + bits).ljust(8)
    return f"{eight[:4]} {eight[4:]}"


def in_text(words: object) -> str:
    """Words as text of a page, whatever they hold."""
    return escape(printable(str(words)))


def _body(explanation: Explanation, *, half_bits: bool) -> Iterator[str]:
    inspection = explanation.inspection
    first, *others = inspection.headlines()
    yield f"<h2>{in_text(first)}</h2>"
    yield from (f"<p>{in_text(words)}</p>" for words in others)
    for mark, words in explanation.notes():
        yield f"<p>{in_text(mark if mark == '! ' else '')}{in_text(words)}</p>"
    if explanation.bits:
        yield '<div class="scroll" tabindex="0" role="group" aria-label="the signal">'
        yield svg_of(explanation, style=False) + "</div>"
    if explanation.rows:
        yield from table(
            "bit by bit",
            ("sent", "byte", "bits", "layout", "meaning"),
            (_cells(row) for row in table_rows(explanation)),
        )
    if inspection.packet or inspection.unverified:
        yield f"<p>error byte: {ODD_COLUMNS}</p>"
        rows = ((label, shown(bits), said) for label, bits, said in sum_rows(inspection.data))
        yield from table("exclusive OR", ("byte", "bits", ""), rows)
    if half_bits and explanation.bits:
        yield f"<p>{in_text(half_bits_in_words())}</p>"
        yield from table("half-bits", HALF_BIT_HEAD, half_bit_rows(explanation))


def _cells(row: Row) -> tuple[object, ...]:
    words = row.words
    if row.letters and not row.bits:
        words = f"{bits_in_words(row.first, row.first - len(row.letters) + 1)}: {words}"
    bits = shown(row.bits) if row.letters and row.bits else row.bits
    layout = shown(row.letters, row.first) if row.letters else ""
    return row.sent, row.byte, bits, layout, ", ".join(filter(None, (words, row.clause)))


_KEPT = frozenset(
    ("sent", "bits", "layout", "first", "second", "differs", "begins us", "halves us")
)
"""Columns whose cells keep their places."""


def table(label: str, head: tuple[str, ...], rows: Iterable[tuple[object, ...]]) -> Iterator[str]:
    """A table; columns of bits keep their places."""
    kept = ' class="bits"'
    yield f'<div class="scroll" tabindex="0" role="group" aria-label="{in_text(label)}"><table>'
    yield "<thead><tr>" + "".join(f'<th scope="col">{in_text(one)}</th>' for one in head)
    yield "</tr></thead><tbody>"
    for row in rows:
        cells = (
            f"<td{kept if name in _KEPT else ''}>{in_text(cell)}</td>"
            for name, cell in zip(head, row, strict=True)
        )
        yield f"<tr>{''.join(cells)}</tr>"
    yield "</tbody></table></div>"
