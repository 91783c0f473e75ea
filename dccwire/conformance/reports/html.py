"""A report as one page of HTML that stands alone: no scripts, nothing from a network.

Whatever a name of a file or of a signal holds is text. Verdicts are words with a mark, never colour
alone; the page prints, and follows a dark or a light setting. Room: a report in, text out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape

from dccwire.conformance.expectations import ExpectationResult
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.reports.evidence import Evidence
from dccwire.conformance.reports.pictures import excerpt, histograms, timeline
from dccwire.conformance.reports.text import (
    answer,
    by_verdict,
    counts_of,
    facts,
    of_causes,
    would_decide,
)
from dccwire.conformance.rules import Verdict
from dccwire.drawing.colours import FONT, palette
from dccwire.wording import printable

_MARKS = {
    Verdict.PASS: "✓",
    Verdict.FAIL: "✗",
    Verdict.UNDECIDED: "?",
    Verdict.OBSERVED: "·",
    Verdict.NOT_EXERCISED: "–",
    Verdict.NOT_DECIDABLE: "∅",
}

_STYLE = (
    palette(":root")
    + """
:root { color-scheme: light dark; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 68rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.45 """
    + FONT
    + """; }
h1 { font-size: 1.5rem; overflow-wrap: anywhere; } h2 { font-size: 1.15rem; margin-top: 2rem; }
.fail { color: var(--bad); } .undecided { color: var(--open); } .pass { color: var(--good); }
.scroll { overflow-x: auto; } .scroll:focus { outline: 2px solid var(--ink); }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0;
  border-bottom: 1px solid var(--line); }
td.number, th.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
td.verdict { white-space: nowrap; } td.words { overflow-wrap: anywhere; min-width: 12rem; }
svg { display: block; width: 100%; height: auto; }
.picture { min-width: 40rem; max-width: 52rem; }
.span { height: .7rem; min-width: 8rem; margin-top: .35rem; }
svg text { fill: var(--ink); font: 12px Georgia, serif; text-anchor: middle; }
svg text.small { font-size: 9px; } svg text.start { text-anchor: start; }
svg text.end { text-anchor: end; }
.bar { fill: var(--ink); } .band { fill: var(--band); } .axis { stroke: var(--line); }
.limit { stroke: var(--bad); stroke-dasharray: 4 3; } .mark { fill: var(--bad); }
.signal { fill: none; stroke: var(--ink); stroke-width: 1.6; }
.scroll + .scroll, figure { margin: 1.2rem 0; }
figcaption { max-width: 52rem; overflow-wrap: anywhere; }
@media (max-width: 40rem) { .stack tbody, .stack tr, .stack td { display: block; border: 0; }
  .stack thead { position: absolute; clip-path: inset(50%); } .stack td { padding: 0; }
  .stack td.words::before, .stack td.told::before { content: attr(data-head); font-style: italic; }
  .stack td:empty { display: none; }
  .stack tr { border-bottom: 1px solid var(--line); padding: .5rem 0; }
  .stack td.number, .stack td.verdict { display: inline-block; padding-right: .8rem; } }
@media print { body { max-width: none; } .scroll { overflow: visible; }
  .picture { min-width: 0; max-width: 34rem; } figure, tr, .picture { break-inside: avoid; }
  h2 { break-after: avoid; } }
"""
)


def html_of(report: Report, evidence: Evidence | None = None) -> str:
    """The page; with evidence, what `evidence_of` gathered, the signal and packets are drawn."""
    found, told = by_verdict(report), of_causes(report)
    mark = f'<span class="{_class(report.verdict)}">{_MARKS[report.verdict]}</span>'
    body = [
        f"<h1>{mark} {escape(answer(report))}</h1>",
        *(f"<p>{escape(printable(fact))}.</p>" for fact in facts(report)),
        *_section("Fails", found[Verdict.FAIL], told),
        *_section("Undecided", found[Verdict.UNDECIDED], told),
        *_expected(report.expectations),
        *_listed("What would decide", would_decide(report)),
        *_listed("Notes", report.notes),
        "<h2>Half-bits by length</h2>",
        *histograms(report.histogram),
        *_addresses(report),
    ]
    if evidence is not None:
        body += ["<h2>Packets over time</h2>", timeline(evidence.timeline, report)]
        body += _signal(evidence, report)
    elif report.packets:
        body.append("<p>No signal is drawn: of one recording alone it is, around its failures.</p>")
    body += ["<h2>All rules</h2>", *_rules(report.results, told)]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(answer(report))}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        "<main>\n" + "\n".join(body) + "\n</main>\n</body>\n</html>\n"
    )


def _signal(evidence: Evidence, report: Report) -> Iterator[str]:
    """The signal around the first failure of each rule."""
    rules = {one.rule.number: one for one in report.results}
    for number, seen in enumerate(evidence.excerpts):
        if not number:
            yield "<h2>The signal where it fails</h2>"
            yield (
                "<p>To scale; lengths of half-bits are in us, one longer than 300 us is drawn with "
                "a break. Which level is which means nothing. A dashed line with a triangle is "
                "where a rule fails.</p>"
            )
        title = f"Signal at {seen.time_ns / 1e6:.3f} ms"
        told = [
            f"rule {one}: {rules[one].rule.quantity}, {rules[one].rule.limit}" for one in seen.rules
        ]
        parts = "; ".join(dict.fromkeys(words for _, _, words in seen.parts)) or "nothing"
        caption = f"{title}, {'; '.join(told)}. What was received: {parts}"
        yield f"<figure><figcaption>{escape(caption)}.</figcaption>"
        yield f"{excerpt(seen, number, title)}</figure>"


def _class(verdict: Verdict) -> str:
    return verdict.value.replace(" ", "-")


def _words(verdict: Verdict) -> str:
    return f"{_MARKS[verdict]} {verdict}"


def _section(name: str, results: Sequence[RuleResult], told: Mapping[int, str]) -> Iterator[str]:
    if results:
        yield f"<h2>{name}</h2>"
        yield from _rules(results, told)


def _table(
    caption: str, heads: Sequence[str], rows: Iterable[Iterable[str]], *, stack: bool = False
) -> Iterator[str]:
    """A table that scrolls by itself where it is too wide, and can be reached by the keyboard.

    With `stack` its cells stand below each other on a narrow page.
    """
    yield f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(caption)}">'
    yield '<table class="stack">' if stack else "<table>"
    names = [one.strip() for one in heads]
    cells = "".join(
        f'<th scope="col"{_number(head)}>{escape(name)}</th>'
        for head, name in zip(heads, names, strict=True)
    )
    yield f"<thead><tr>{cells}</tr></thead><tbody>"
    for row in rows:
        named = zip(row, names, strict=True)
        told = [one.replace("<td", f'<td data-head="{name}: "', 1) for one, name in named]
        yield f"<tr>{''.join(told if stack else row)}</tr>"
    yield "</tbody></table></div>"


def _number(head: str) -> str:
    return ' class="number"' * head.startswith(" ")


def _cell(words: object, kind: str = "") -> str:
    told = escape(printable(str(words)))
    return f"<td{f' class={chr(34)}{kind}{chr(34)}' if kind else ''}>{told}</td>"


def _verdict(verdict: Verdict) -> str:
    return _cell(_words(verdict), f"verdict {_class(verdict)}")


def _rules(results: Iterable[RuleResult], told: Mapping[int, str]) -> Iterator[str]:
    """A table of rules; `told` is what there is to say of the causes of some."""
    heads = " rule", "verdict", "what is judged", "limit", "clause and force", "found"

    def rows() -> Iterator[list[str]]:
        for one in results:
            force = f"{one.rule.clause} ({one.force or one.rule.force})"
            judged = _cell(one.rule.quantity, "words"), _cell(one.rule.limit, "told")
            number = _cell(one.rule.number, "number")
            words = counts_of(one), one.note, told.get(one.rule.number)
            found = _cell("; ".join(filter(None, words)), "words")
            yield [number, _verdict(one.verdict), *judged, _cell(force), found]

    return _table("rules", heads, rows(), stack=True)


def _expected(results: Iterable[ExpectationResult]) -> Iterator[str]:
    if some := list(results):
        yield "<h2>Expected</h2>"
        rows = (
            [
                _verdict(one.verdict),
                _cell(one.expectation, "words"),
                _cell(one.count, "number told"),
                _cell("; ".join(filter(None, (one.nearest, one.note))), "words"),
            ]
            for one in some
        )
        yield from _table(
            "expected", ("verdict", "packets", " seen", "nearest, or why"), rows, stack=True
        )


def _listed(title: str, told: Iterable[str]) -> Iterator[str]:
    if some := [f"<li>{escape(printable(one))}</li>" for one in told]:
        yield f"<h2>{title}</h2><ul>{''.join(some)}</ul>"


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
