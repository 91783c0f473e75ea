"""A report as one page of HTML that stands alone: no scripts, nothing from a network.

Whatever a name of a file or of a signal holds is text. Verdicts are words with a mark, never colour
alone; the page prints, and follows a dark or a light setting. Room: a report in, text out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from dccwire.conformance.expectations import ExpectationResult
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.rules import Verdict
from dccwire.signal import LIMITS

_MARKS = {
    Verdict.PASS: "✓",
    Verdict.FAIL: "✗",
    Verdict.UNDECIDED: "?",
    Verdict.OBSERVED: "·",
    Verdict.NOT_EXERCISED: "–",
    Verdict.NOT_DECIDABLE: "∅",
}

_STYLE = """
:root { color-scheme: light dark; --ink: #1c2b2d; --paper: #fbfaf6; --line: #b9c2bf; --bad: #9c2f1f;
  --open: #7a5a00; --good: #1f6240; --band: #dfe9e2; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6e9e4; --paper: #15201f; --line: #4b5a58;
  --bad: #ff9c88; --open: #f0c869; --good: #8fd3a9; --band: #24403a; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 68rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.45 Georgia, "Times New Roman", serif; }
h1 { font-size: 1.5rem; overflow-wrap: anywhere; } h2 { font-size: 1.15rem; margin-top: 2rem; }
.fail { color: var(--bad); } .undecided { color: var(--open); } .pass { color: var(--good); }
.scroll { overflow-x: auto; } .scroll:focus { outline: 2px solid var(--ink); }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0;
  border-bottom: 1px solid var(--line); }
td.number, th.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
td.verdict { white-space: nowrap; } td.words { overflow-wrap: anywhere; min-width: 12rem; }
svg { display: block; width: 100%; height: auto; } .wide { min-width: 34rem; }
.span { height: .7rem; min-width: 8rem; margin-top: .35rem; }
svg text { fill: var(--ink); font: 12px Georgia, serif; }
.bar { fill: var(--ink); } .band { fill: var(--band); } .axis { stroke: var(--line); }
@media (max-width: 40rem) { .stack tbody, .stack tr, .stack td { display: block; border: 0; }
  .stack thead { position: absolute; clip-path: inset(50%); } .stack td { padding: 0; }
  .stack tr { border-bottom: 1px solid var(--line); padding: .5rem 0; }
  .stack td.number, .stack td.verdict { display: inline-block; padding-right: .8rem; } }
@media print { body { max-width: none; } .scroll { overflow: visible; } }
"""


def html_of(report: Report) -> str:
    """The page."""
    verdict = f'<span class="{_class(report.verdict)}">{_words(report.verdict)}</span>'
    title = escape(f"{report.verdict}: {report.source}")
    body = [
        f"<h1>{verdict}: {escape(report.source)}</h1>",
        *_facts(report),
        *_section("Fails", (one for one in report.results if one.verdict is Verdict.FAIL)),
        *_section("Undecided", (one for one in report.results if one.verdict is Verdict.UNDECIDED)),
        *_expected(report.expectations),
        *_notes(report.notes),
        "<h2>Half-bits by length</h2>",
        *_histogram(report.histogram),
        *_addresses(report),
        "<h2>All rules</h2>",
        *_rules(report.results),
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(body)
        + "\n</main>\n</body>\n</html>\n"
    )


def _class(verdict: Verdict) -> str:
    return verdict.value.replace(" ", "-")


def _words(verdict: Verdict) -> str:
    return f"{_MARKS[verdict]} {verdict}"


def _facts(report: Report) -> Iterator[str]:
    found = [one.verdict for one in report.results]
    counts = ", ".join(f"{found.count(one)} {one}" for one in Verdict if one in found)
    yield f"<p>{len(found)} rules: {counts or 'none'}.</p>"
    yield (
        f"<p>{report.packets} packets, {report.edges} edges, {report.duration_ns / 1e9:.3f} s; "
        f"resolution {report.resolution_ns / 1e3:g} µs ({escape(report.resolution_source)}), other "
        f"uncertainty {report.uncertainty_ns / 1e3:g} µs.</p>"
    )


def _section(name: str, results: Iterable[RuleResult]) -> Iterator[str]:
    if some := list(results):
        yield f"<h2>{name}</h2>"
        yield from _rules(some)


def _table(
    caption: str, heads: Iterable[str], rows: Iterable[Iterable[str]], *, stack: bool = False
) -> Iterator[str]:
    """A table that scrolls by itself where it is too wide, and can be reached by the keyboard.

    With `stack` its cells stand below each other on a narrow page.
    """
    yield f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(caption)}">'
    yield f"<table{' class=' + chr(34) + 'stack' + chr(34) if stack else ''}>"
    cells = "".join(f'<th scope="col"{_number(one)}>{escape(one.strip())}</th>' for one in heads)
    yield f"<thead><tr>{cells}</tr></thead><tbody>"
    for row in rows:
        yield f"<tr>{''.join(row)}</tr>"
    yield "</tbody></table></div>"


def _number(head: str) -> str:
    return ' class="number"' * head.startswith(" ")


def _cell(words: object, kind: str = "") -> str:
    return f"<td{f' class={chr(34)}{kind}{chr(34)}' if kind else ''}>{escape(str(words))}</td>"


def _verdict(verdict: Verdict) -> str:
    return _cell(_words(verdict), f"verdict {_class(verdict)}")


def _rules(results: Iterable[RuleResult]) -> Iterator[str]:
    heads = " rule", "verdict", "what is judged", "limit", "clause and force", "found"

    def rows() -> Iterator[list[str]]:
        for one in results:
            force = f"{one.rule.clause} ({one.force or one.rule.force})"
            judged = _cell(one.rule.quantity, "words"), _cell(one.rule.limit)
            number = _cell(one.rule.number, "number")
            found = _cell(_found(one), "words")
            yield [number, _verdict(one.verdict), *judged, _cell(force), found]

    return _table("rules", heads, rows(), stack=True)


def _found(one: RuleResult) -> str:
    counts = f"{one.failed} of {one.measured} failed" if one.failed else f"{one.measured} measured"
    times = ", ".join(f"{time / 1e6:.3f}" for time in one.first_times_ns)
    told = (
        f"worst {one.worst}" * bool(one.worst),
        counts * bool(one.measured),
        f"{one.undecided} undecided" * bool(one.undecided),
        f"at {times} ms" * bool(times),
        one.note,
    )
    return "; ".join(filter(None, told))


def _expected(results: Iterable[ExpectationResult]) -> Iterator[str]:
    if some := list(results):
        yield "<h2>Expected</h2>"
        rows = (
            [
                _verdict(one.verdict),
                _cell(one.expectation, "words"),
                _cell(one.count, "number"),
                _cell("; ".join(filter(None, (one.nearest, one.note))), "words"),
            ]
            for one in some
        )
        yield from _table(
            "expected", ("verdict", "packets", " seen", "nearest, or why"), rows, stack=True
        )


def _notes(notes: Iterable[str]) -> Iterator[str]:
    if some := [f"<li>{escape(one)}</li>" for one in notes]:
        yield f"<h2>Notes</h2><ul>{''.join(some)}</ul>"


def _addresses(report: Report) -> Iterator[str]:
    if not report.addresses:
        return
    yield "<h2>Addresses</h2>"
    heads = "address", " packets", " a second", " longest ms", " without ms", "when", "kinds"
    rows = (
        [
            _cell(one.address),
            _cell(one.count, "number"),
            _cell("" if one.rate_hz is None else f"{one.rate_hz:.2f}", "number"),
            _cell("" if one.longest_ns is None else f"{one.longest_ns / 1e6:.1f}", "number"),
            _cell("" if one.without_ns is None else f"{one.without_ns / 1e6:.1f}", "number"),
            f"<td>{_span(one.first_ns, one.last_ns, report)}</td>",
            _cell(", ".join(f"{count} {kind}" for kind, count in one.packets.items())),
        ]
        for one in report.addresses
    )
    yield from _table("addresses", heads, rows)


def _span(first: int, last: int, report: Report) -> str:
    """A line from the first packet to the last, within the recording."""
    whole = max(report.duration_ns, last, 1)
    left, right = (100 * one / whole for one in (first, last))
    told = f"from {first / 1e9:.3f} to {last / 1e9:.3f} s"
    return (
        f'<svg class="span" viewBox="0 0 104 10" preserveAspectRatio="none" role="img" '
        f'aria-label="{told}">'
        f'<rect class="band" x="0" y="4" width="104" height="2"/>'
        f'<rect class="bar" x="{left:.2f}" y="1" width="{max(right - left, 0) + 4:.2f}" '
        'height="8"/></svg>'
    )


def _histogram(histogram: Histogram) -> Iterator[str]:
    """Bars by microseconds on a scale of square roots; bands where ones and zeros are allowed."""
    counts = histogram.counts()
    most = max(counts.values(), default=1)
    one, zero = LIMITS["t1"], LIMITS["t0"]
    bands = ((one.least, one.most, "ones"), (zero.least, 140_000, "zeros"))
    told = "; ".join(histogram.runs()) or "none"
    yield '<div class="scroll" tabindex="0" role="region" aria-label="half-bits by length">'
    yield '<svg class="wide" viewBox="-12 0 740 210" role="img" aria-labelledby="h-title h-text">'
    yield '<title id="h-title">How many half-bits last how long</title>'
    yield f'<desc id="h-text">{escape(told)}</desc>'
    for low, high, name in bands:
        x, width = 5 * low / 1000, 5 * (high - low) / 1000
        yield f'<rect class="band" x="{x:g}" y="18" width="{width:g}" height="152"/>'
        yield f'<text x="{x + width / 2:g}" y="13" text-anchor="middle">{name}</text>'
    for place, count in counts.items():
        height = max(150 * (count / most) ** 0.5, 1)
        yield (
            f'<rect class="bar" x="{5 * place}" y="{170 - height:.1f}" width="4" '
            f'height="{height:.1f}"><title>{place} us: {count}</title></rect>'
        )
    yield '<line class="axis" x1="0" y1="170" x2="710" y2="170"/>'
    for place in range(0, 141, 20):
        more = "+" * (place == 140)
        yield f'<text x="{5 * place}" y="187" text-anchor="middle">{place}{more}</text>'
    yield '<text x="355" y="204" text-anchor="middle">µs; heights are square roots</text>'
    yield f"</svg></div><p>{escape(told)}</p>"
