"""A report in words for a terminal: the answer first, then why, then what is left.

Room: a report in, lines out; nothing is judged here. The other views take their words from here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.causes import Cause
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.rules import Force, Verdict
from dccwire.wording import counted, printable, wrapped

_TOLD = (Verdict.FAIL, Verdict.UNDECIDED)
"""What is told in full, each rule on its own."""

ORDER = (*_TOLD, Verdict.PASS, Verdict.OBSERVED, Verdict.NOT_DECIDABLE, Verdict.NOT_EXERCISED)
"""Verdicts in the order in which a report tells of them."""

_SCREEN = 23
"""Lines of a screen of 24 for a report in which all is well; the prompt has the last."""

_LEAST_ROWS = 3
"""Rows of the table of addresses behind much that is told in full: those with most packets."""

_FEW = 3
"""Findings that follow from another and are told by what they judge."""

_HALF_BITS = 2
"""Lines for the half-bits by length, where not all is told."""


def lines_of(report: Report, width: int, *, every: bool) -> Iterator[str]:
    """The lines of a report; with `every`, each rule in full."""
    found = by_verdict(report)
    told = [some for verdict, some in found.items() if some and (every or verdict in _TOLD)]
    causes = () if every else report.causes
    above = [line for words in (answer(report), *facts(report)) for line in wrapped(words, width)]
    for some in told:
        above += _in_full(some, causes, width)
    above += _expected(report, width)
    above += _listed("what would decide", would_decide(report), width)
    above += [] if every else _in_short(found, width)
    below = _listed("notes", report.notes, width)
    below += _half_bits(report, width, every=every)
    rows = len(report.addresses)
    if not every:
        room = _SCREEN - len(above) - len(below) - 2
        rows = max(room - (room < rows), _LEAST_ROWS if told else 1)
    yield from (printable(line) for line in (*above, *_addresses(report, rows, width), *below))


def by_verdict(report: Report) -> dict[Verdict, list[RuleResult]]:
    """The rules by their verdicts, in the order of telling; a verdict may have none."""
    return {one: [each for each in report.results if each.verdict is one] for one in ORDER}


def answer(report: Report) -> str:
    """The verdict and what it is of."""
    mild = report.failed_strictly and not report.failed
    less = " (of no 'shall': see the force)" * mild
    less += " (so far: it was stopped)" * report.stopped
    return f"{report.verdict}{less}: {printable(report.source)}"


def facts(report: Report) -> tuple[str, str]:
    """How many rules have which verdict; what was measured, and how exactly."""
    found = by_verdict(report)
    counts = ", ".join(f"{len(some)} {verdict}" for verdict, some in found.items() if some)
    packets, edges = counted(report.packets, "packet"), counted(report.edges, "edge")
    measured = f"{packets}, {edges}, {report.duration_ns / 1e9:.3f} s; resolution "
    measured += f"{report.resolution_ns / 1e3:g} us ({printable(report.resolution_source)})"
    if report.uncertainty_ns:
        measured += f", other uncertainty {report.uncertainty_ns / 1e3:g} us"
    asked = Counter(str(one.verdict) for one in report.expectations)
    told = ", ".join(f"{count} {verdict}" for verdict, count in asked.items())
    expected = f"; {counted(len(report.expectations), 'expectation')}: {told}" * bool(asked)
    return f"{counted(len(report.results), 'rule')}: {counts or 'none'}{expected}", measured


def would_decide(report: Report) -> list[str]:
    """What it would take to decide what is undecided, for all rules together."""
    told = []
    undecided = by_verdict(report)[Verdict.UNDECIDED]
    coarse = [one for one in undecided if one.nearest_ns is not None]
    if coarse:
        nearest = min(one.nearest_ns or 0 for one in coarse)
        finer = f"times known to less than {nearest / 1e3:g} us" if nearest else "another recording"
        told.append(f"{_rules(coarse)}: {finer} would decide (--resolution NS, if they are)")
    if report.factor is not None:
        undecided = [one for one in undecided if one.rule.limit.unit != "us"]
        told.append(
            "whether the sample rate and the unit are right: if they are, clock_is_right = true in "
            "the session says so, and it is the station's clock"
        )
    if others := [one for one in undecided if one.nearest_ns is None]:
        note = "its note" if len(others) == 1 else "the note of each"
        told.append(
            f"{_rules(others)}: see {note}; where it asks for nothing, the texts leave it open, or "
            "a recording without the disturbance decides"
        )
    if report.not_judged:
        told.append(
            f"{counted(report.not_judged, 'half-bit')} of no packet: what is left of one that "
            "broke off, or noise; if another protocol is expected between packets, say so with "
            "--other-protocols"
        )
    if report.unread and report.packets:
        told.append(f"no packet in {', '.join(report.unread)}: the right signal, rate and unit?")
    return told


def counts_of(one: RuleResult) -> str:
    """The worst reading, how many there were, and when the first failed; nothing if none was."""
    if not (one.measured or one.failed):
        return ""
    failed, open_ = one.failed, one.undecided
    of = f"{failed} of {one.measured} failed" if failed else f"{one.measured} measured"
    first = f", the first [{one.first_bytes.hex(' ').upper()}]" * bool(one.first_bytes)
    told = (
        f"worst {one.worst}" * bool(one.worst),
        f"{of}{_times(one, one.first_times_ns, failed)}{first}",
        f"{open_} undecided{_times(one, one.undecided_times_ns, open_)}" * bool(open_),
    )
    return ", ".join(filter(None, told))


def _times(one: RuleResult, times_ns: Sequence[int], count: int) -> str:
    """When the first of so many came; nothing if that is not known."""
    if not times_ns:
        return ""
    times = ", ".join(f"{time / 1e6:.3f}" for time in times_ns)
    more = ", ..." if count > len(times_ns) else ""
    return f", at {times} ms{more}{f' of {one.recording}' * bool(one.recording)}"


def _in_full(results: Sequence[RuleResult], causes: Sequence[Cause], width: int) -> Iterator[str]:
    """The rules of one verdict, each with what was found, or told with what it comes of."""
    yield from ("", str(results[0].verdict))
    following = {number for one in causes for number in one.follows}
    leading = {one.rule: one for one in causes}
    if None in leading and results[0].verdict is Verdict.UNDECIDED:
        yield from _following(leading[None], results, width)
    for one in results:
        if one.rule.number in following and not (one.failed and one.undecided):
            continue
        head = f"{one.rule.number:>4}  "
        yield from wrapped(f"{one.rule.quantity}: {one.rule.limit}", width, head)
        force = f"{one.rule.clause} ({one.force or one.rule.force})"
        for words in filter(None, (counts_of(one), one.note, force)):
            yield from wrapped(words, width, " " * len(head))
        if one.rule.number in leading:
            yield from _following(leading[one.rule.number], results, width)


def of_causes(report: Report) -> dict[int, str]:
    """What is to be said of the findings of some rules: what they come of, and what of them."""
    told: dict[int, str] = {}
    for cause in report.causes:
        for number in cause.follows:
            told[number] = cause.words if cause.rule is None else f"follows from rule {cause.rule}"
        if cause.rule is not None:
            some = [one for one in report.results if one.rule.number in cause.follows]
            told[cause.rule] = "; ".join(filter(None, (cause.amount, _follows(some))))
    return told


def _following(cause: Cause, results: Iterable[RuleResult], width: int) -> Iterator[str]:
    """The rules whose findings come of a cause, and by what all times are off."""
    some = [one for one in results if one.rule.number in cause.follows]
    told = cause.amount if cause.rule is not None else cause.words
    for words in filter(None, (told, _follows(some))):
        yield from wrapped(words, width, "      ")


def _follows(results: Sequence[RuleResult]) -> str:
    """Which findings follow from one; a few by what they judge."""
    if not results:
        return ""
    names = f" ({'; '.join(one.rule.quantity for one in results)})" * (len(results) <= _FEW)
    return f"from this follow the findings of {_rules(results)}{names}"


def _expected(report: Report, width: int) -> Iterator[str]:
    for place, each in enumerate(report.expectations):
        if not place:
            yield from ("", "expected")
        head = f"  {each.verdict:<9}  "
        yield from wrapped(f"{each.expectation}: {each.seen}", width, head)
        for told in filter(None, (each.nearest and f"nearest {each.nearest}", each.note)):
            yield from wrapped(told, width, " " * len(head))


def _listed(title: str, told: Iterable[str], width: int) -> list[str]:
    lines = [line for words in told for line in wrapped(printable(words), width, "- ")]
    return ["", title, *lines] if lines else []


def _in_short(found: dict[Verdict, list[RuleResult]], width: int) -> Iterator[str]:
    """What passed, a line a chapter; what was not judged, a line a verdict: by numbers."""
    if any(found[verdict] for verdict in ORDER[2:]):
        yield ""
    passed = sorted(found[Verdict.PASS], key=lambda one: one.rule.chapter)
    for chapter, some in groupby(passed, lambda one: one.rule.chapter):
        head = f"{'pass':<15}{chapter:<8}  "
        yield f"{head}{_rules(some, width - len(head))}"
    for verdict in ORDER[3:]:
        for one in found[verdict]:
            if verdict is Verdict.OBSERVED and one.rule.force is Force.SHOULD and one.note:
                yield from wrapped(one.note, width, f"{one.rule.number:>4}  ")
        if found[verdict]:
            why = "; --all tells why" * (verdict is Verdict.NOT_DECIDABLE)
            yield f"{verdict:<15}{_rules(found[verdict], width - 15 - len(why))}{why}"


def _rules(results: Iterable[RuleResult], width: int | None = None) -> str:
    """Rules by their numbers, those in a row as a range; in so many columns, the first of them."""
    rows: list[list[int]] = []
    listed = sorted(one.rule.number for one in results)
    for number in listed:
        if rows and number == rows[-1][-1] + 1:
            rows[-1].append(number)
        else:
            rows.append([number])
    ranges = [f"{row[0]}-{row[-1]}" if len(row) > 1 else str(row[0]) for row in rows]
    noun = f"rule{'s' * (len(listed) > 1)} "
    told = noun + ", ".join(ranges)
    while width is not None and len(told) > width:
        ranges.pop()
        told = f"{noun}{', '.join(ranges)}, ... ({len(listed)} in all)"
    return told


def _addresses(report: Report, most: int, width: int) -> Iterator[str]:
    rows = report.addresses
    if len(rows) > most:
        rows = tuple(sorted(rows, key=lambda one: -one.count)[:most])
    if not rows:
        return
    name = max(7, *(len(one.address) for one in rows))
    head = f"{'address':<{name}}  packets  a second  longest ms  without ms"
    # A column that does not fit in whole would show another number: it is left out.
    fits = len(head) if len(head) <= width else head.rindex("  ")
    yield ""
    yield f"{head[:fits]}  kinds"[:width].rstrip()
    for one in rows:
        rate = "" if one.rate_hz is None else f"{one.rate_hz:.2f}"
        times = one.longest_ns, one.without_ns
        longest, without = ("" if ns is None else f"{ns / 1e6:.1f}" for ns in times)
        line = f"{one.address:<{name}}  {one.count:>7}  {rate:>8}  {longest:>10}  {without:>10}"
        yield f"{line[:fits]}  {_kinds(one, width - fits - 2)}".rstrip()
    if left := len(report.addresses) - len(rows):
        yield f"and {left} more, which --all tells"


def _kinds(row: AddressRow, width: int) -> str:
    """What packets are about; those that do not fit are counted."""
    kinds = list(row.packets)
    for some in range(len(kinds), 0, -1):
        more = f" +{len(kinds) - some}" * (some < len(kinds))
        told = f"{', '.join(kinds[:some])}{more}"
        if len(told) <= width:
            return told
    return ""


def _half_bits(report: Report, width: int, *, every: bool) -> list[str]:
    """A line and a bar for each length; in short, what is near each other together."""
    if every:
        return ["", "half-bits by length", *report.histogram.lines(width)]
    apart, lines = 0, [""] * (_HALF_BITS + 1)
    while len(lines) > _HALF_BITS:
        apart += 1
        runs = "; ".join(report.histogram.runs(apart)) or "none"
        lines = list(wrapped(runs, width, "half-bits: "))
    return ["", *lines]
