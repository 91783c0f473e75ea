"""A report in words for a terminal: the answer first, then why, then what is left.

Room: a report in, lines out; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.causes import Cause
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.rules import Verdict
from dccwire.wording import counted, wrapped

_TOLD = (Verdict.FAIL, Verdict.UNDECIDED)
"""What is told in full, each rule on its own."""

_ORDER = (*_TOLD, Verdict.PASS, Verdict.OBSERVED, Verdict.NOT_DECIDABLE, Verdict.NOT_EXERCISED)


def lines_of(report: Report, width: int, *, every: bool) -> Iterator[str]:
    """The lines of a report; with `every`, each rule in full."""
    found = {
        verdict: [one for one in report.results if one.verdict is verdict] for verdict in _ORDER
    }
    counts = ", ".join(f"{len(some)} {verdict}" for verdict, some in found.items() if some)
    yield from wrapped(f"{report.verdict}{_mild(report)}: {report.source}", width)
    packets, edges = counted(report.packets, "packet"), counted(report.edges, "edge")
    yield from wrapped(f"{counted(len(report.results), 'rule')}: {counts or 'none'}", width)
    measured = f"{packets}, {edges}, {report.duration_ns / 1e9:.3f} s; resolution "
    measured += f"{report.resolution_ns / 1e3:g} us ({report.resolution_source})"
    if report.uncertainty_ns:
        measured += f", other uncertainty {report.uncertainty_ns / 1e3:g} us"
    yield from wrapped(measured, width)
    causes = report.causes
    # What follows from another finding is told with that, unless all is to be told.
    following = {} if every else {number: one for one in causes for number in one.follows}
    leading = {one.rule: one for one in causes}
    for verdict, some in found.items():
        if some and (every or verdict in _TOLD):
            yield from ("", str(verdict))
            if verdict is Verdict.UNDECIDED and None in leading:
                yield from _following(leading[None], some, width)
            for one in some:
                if one.rule.number not in following:
                    yield from _rule_lines(one, width)
                    if one.rule.number in leading:
                        yield from _following(leading[one.rule.number], some, width)
    if report.expectations:
        yield from ("", "expected")
        for each in report.expectations:
            head = f"  {each.verdict:<9}  "
            yield from wrapped(f"{each.expectation}: {each.count} seen", width, head)
            for told in filter(None, (each.nearest and f"nearest {each.nearest}", each.note)):
                yield from wrapped(told, width, " " * len(head))
    if words := list(_would_decide(report)):
        yield from ("", "what would decide")
        for line in words:
            yield from wrapped(line, width, "- ")
    if not every:
        yield from _in_short(found, width)
    yield from _addresses(report, width, every=every)
    if report.notes:
        yield from ("", "notes")
        for note in report.notes:
            yield from wrapped(note, width, "- ")
    if every:
        yield from ("", "half-bits by length")
        yield from report.histogram.lines(width)
    else:
        yield ""
        yield from wrapped("; ".join(report.histogram.runs()) or "none", width, "half-bits: ")


_MOST_ADDRESSES = 3
"""Rows of the table of addresses where not all is told: those with the most packets."""


def _addresses(report: Report, width: int, *, every: bool) -> Iterator[str]:
    rows: Sequence[AddressRow] = report.addresses
    if not every and len(rows) > _MOST_ADDRESSES:
        rows = sorted(rows, key=lambda one: -one.count)[:_MOST_ADDRESSES]
    if not rows:
        return
    yield ""
    yield "address            packets  a second  longest ms  without ms  kinds"[:width].rstrip()
    for one in rows:
        rate = "" if one.rate_hz is None else f"{one.rate_hz:.2f}"
        times = one.longest_ns, one.without_ns
        longest, without = ("" if ns is None else f"{ns / 1e6:.1f}" for ns in times)
        line = f"{one.address:<17}  {one.count:>7}  {rate:>8}  {longest:>10}  {without:>10}  "
        yield f"{line}{', '.join(one.packets)}"[:width].rstrip()
    if left := len(report.addresses) - len(rows):
        yield f"and {left} more, which --all tells"


def _mild(report: Report) -> str:
    mild = report.failed_strictly and not report.failed
    return " (of no 'shall': see the force)" * mild + " (so far: it was stopped)" * report.stopped


def _in_short(found: dict[Verdict, list[RuleResult]], width: int) -> Iterator[str]:
    """What passed, a line a chapter; what was not judged, by its numbers."""
    if any(found[verdict] for verdict in _ORDER[2:]):
        yield ""
    for chapter, some in groupby(found[Verdict.PASS], lambda one: one.rule.chapter):
        yield from wrapped(_rules(some), width, f"{'pass':<15}{chapter:<8}  ")
    for verdict in _ORDER[3:]:
        if found[verdict]:
            told = "; --all tells what each lacks" * (verdict is Verdict.NOT_DECIDABLE)
            yield from wrapped(f"{_rules(found[verdict])}{told}", width, f"{verdict:<15}")


def _rules(results: Iterable[RuleResult]) -> str:
    """Rules by their numbers, those in a row as a range."""
    rows: list[list[int]] = []
    listed = sorted(one.rule.number for one in results)
    for number in listed:
        if rows and number == rows[-1][-1] + 1:
            rows[-1].append(number)
        else:
            rows.append([number])
    told = ", ".join(f"{row[0]}-{row[-1]}" if len(row) > 1 else str(row[0]) for row in rows)
    return f"rule{'s' * (len(listed) > 1)} {told}"


def _would_decide(report: Report) -> Iterator[str]:
    """What it would take, for all rules together."""
    undecided = [one for one in report.results if one.verdict is Verdict.UNDECIDED]
    coarse = [one for one in undecided if one.nearest_ns is not None]
    if coarse:
        nearest = min(one.nearest_ns or 0 for one in coarse)
        finer = f"times known to less than {nearest / 1e3:g} us" if nearest else "another recording"
        yield f"{_rules(coarse)}: {finer} would decide (--resolution NS, if they are)"
    if report.factor is not None:
        undecided = [one for one in undecided if one.rule.limit.unit != "us"]
        yield "a recording whose sample rate and unit are known to be right"
    if others := [one for one in undecided if one.nearest_ns is None]:
        yield f"{_rules(others)}: see {'its note' if len(others) == 1 else 'the note of each'}"
    if report.not_judged:
        yield (
            f"{counted(report.not_judged, 'half-bit')} of no packet: if another protocol is "
            "expected between packets, say so with --other-protocols"
        )


def _rule_lines(one: RuleResult, width: int) -> Iterator[str]:
    rule = one.rule
    head = f"{rule.number:>4}  "
    of = f"{one.failed} of {one.measured} failed" if one.failed else f"{one.measured} measured"
    counts = (
        f"worst {one.worst}" * bool(one.worst),
        of,
        f"{one.undecided} undecided" * bool(one.undecided),
        _times(one),
    )
    yield from wrapped(f"{rule.quantity}: {rule.limit}", width, head)
    found = ", ".join(filter(None, counts)) if one.measured or one.failed else ""
    force = f"{rule.clause} ({one.force or rule.force})"
    for words in filter(None, (found, one.note, force)):
        yield from wrapped(words, width, " " * len(head))


def _following(cause: Cause, results: Iterable[RuleResult], width: int) -> Iterator[str]:
    """The rules whose findings come of a cause, and by what all times are off."""
    some = [one for one in results if one.rule.number in cause.follows]
    told = cause.amount if cause.rule is not None else cause.words
    for words in (told, f"from this follow the findings of {_rules(some)}" if some else ""):
        if words:
            yield from wrapped(words, width, "      ")


def _times(one: RuleResult) -> str:
    if not one.first_times_ns:
        return ""
    times = ", ".join(f"{time / 1e6:.3f}" for time in one.first_times_ns)
    more = ", ..." if one.failed > len(one.first_times_ns) else ""
    return f"at {times} ms{more}"
