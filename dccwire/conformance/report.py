"""What a recording was found to be, rule by rule: values, text and JSON.

Room: results in, words out; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dccwire.conformance.histogram import Histogram
from dccwire.conformance.rules import Force, Rule, Verdict
from dccwire.wording import counted, wrapped

SCHEMA = 1
"""Version of the JSON's shape."""


@dataclass(frozen=True, slots=True)
class RuleResult:
    """A rule and what the recording shows of it.

    `worst` is the reading furthest out or nearest to a limit, in words; `measured`, `failed` and
    `undecided` count readings; `first_times_ns` are those of the first failures; `note` says what
    else there is to know, such as why a rule is not decidable; `force` is that of what failed;
    `nearest_ns` is how exact times must be known to decide what is undecided, if that decides it.
    """

    rule: Rule
    verdict: Verdict
    worst: str = ""
    measured: int = 0
    failed: int = 0
    undecided: int = 0
    first_times_ns: tuple[int, ...] = ()
    note: str = ""
    force: Force | None = None
    nearest_ns: int | None = None

    @property
    def binding(self) -> bool:
        """Whether a failure counts without being strict."""
        return (self.force or self.rule.force).binding

    def to_dict(self) -> dict[str, Any]:
        """The result as a line of JSON holds it."""
        return {
            "rule": self.rule.number,
            "verdict": self.verdict.value,
            "force": (self.force or self.rule.force).value,
            "quantity": self.rule.quantity,
            "limit": str(self.rule.limit),
            "clause": self.rule.clause,
            "provenance": self.rule.provenance.value,
            "worst": self.worst,
            "measured": self.measured,
            "failed": self.failed,
            "undecided": self.undecided,
            "first_times_ns": list(self.first_times_ns),
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class Report:
    """The results of all rules, and what they rest on.

    `not_judged` counts half-bits between packets that no rule judged, though they have the shape of
    nothing that may stand there without being told.
    """

    results: tuple[RuleResult, ...]
    source: str
    resolution_ns: int
    resolution_source: str
    uncertainty_ns: int
    edges: int
    packets: int
    duration_ns: int
    histogram: Histogram
    not_judged: int = 0
    notes: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether a rule fails that the text demands or defines."""
        return any(one.verdict is Verdict.FAIL and one.binding for one in self.results)

    @property
    def failed_strictly(self) -> bool:
        """Whether any rule fails, those that are advice or follow from others included."""
        return any(one.verdict is Verdict.FAIL for one in self.results)

    @property
    def verdict(self) -> Verdict:
        """The recording's own: fail, else undecided if a rule is, else pass.

        What was not judged does not pass. Where no rule passes, or there is no packet, nothing was
        shown: not exercised, or not decidable if that is all that was found.
        """
        if self.failed_strictly:
            return Verdict.FAIL
        verdicts = {one.verdict for one in self.results}
        if Verdict.UNDECIDED in verdicts or (self.not_judged and self.packets):
            return Verdict.UNDECIDED
        if Verdict.PASS in verdicts and self.packets:
            return Verdict.PASS
        lacking = verdicts == {Verdict.NOT_DECIDABLE}
        return Verdict.NOT_DECIDABLE if lacking else Verdict.NOT_EXERCISED

    def to_dicts(self) -> Iterator[dict[str, Any]]:
        """The lines of the JSON form: one a rule, the last the summary."""
        for one in self.results:
            yield one.to_dict()
        found = [one.verdict for one in self.results]
        yield {
            "summary": True,
            "schema": SCHEMA,
            "verdict": self.verdict.value,
            "source": self.source,
            "rules": {verdict.value: found.count(verdict) for verdict in Verdict},
            "packets": self.packets,
            "edges": self.edges,
            "duration_ns": self.duration_ns,
            "resolution_ns": self.resolution_ns,
            "resolution_source": self.resolution_source,
            "uncertainty_ns": self.uncertainty_ns,
            "not_judged": self.not_judged,
            "histogram_us": {str(place): count for place, count in self.histogram.counts().items()},
            "notes": list(self.notes),
        }

    def text(self, width: int = 80) -> str:
        """The report for a terminal, at most `width` columns (60 or more), in plain ASCII."""
        return "\n".join(_lines(self, max(width, 60)))

    def __str__(self) -> str:
        return self.text()


def _lines(report: Report, width: int) -> Iterator[str]:
    seconds = report.duration_ns / 1e9
    packets, edges = counted(report.packets, "packet"), counted(report.edges, "edge")
    yield from wrapped(f"{report.source}: {packets}, {edges}, {seconds:.3f} s", width)
    yield from wrapped(
        f"resolution {report.resolution_ns / 1e3:g} us ({report.resolution_source})", width
    )
    if report.uncertainty_ns:
        yield f"other uncertainty {report.uncertainty_ns / 1e3:g} us"
    for note in report.notes:
        yield from wrapped(note, width, "- ")
    yield ""
    yield "half-bits by length"
    yield from report.histogram.lines(width)
    yield ""
    yield "rule  verdict        what is judged"
    for one in report.results:
        yield from _rule_lines(one, width)
    yield ""
    for words in _would_decide(report):
        yield from wrapped(words, width, "undecided: ")
    mild = "" if report.failed or not report.failed_strictly else " (of no 'shall': see the force)"
    yield f"verdict: {report.verdict}{mild}"


def _would_decide(report: Report) -> Iterator[str]:
    """What it would take, for all rules together."""
    undecided = [one for one in report.results if one.verdict is Verdict.UNDECIDED]
    coarse = [one for one in undecided if one.nearest_ns is not None]
    if coarse:
        nearest = min(one.nearest_ns or 0 for one in coarse)
        finer = f"times known to less than {nearest / 1e3:g} us" if nearest else "another recording"
        yield f"{_numbers(coarse)}: {finer} would decide (--resolution NS, if they are)"
    if others := [one for one in undecided if one.nearest_ns is None]:
        yield f"{_numbers(others)}: what would decide is in the notes"
    if report.not_judged:
        yield (
            f"{counted(report.not_judged, 'half-bit')} of no packet: if another protocol is "
            "expected between packets, say so with --other-protocols"
        )


def _numbers(results: list[RuleResult]) -> str:
    return f"rule{'s' * (len(results) > 1)} {', '.join(str(one.rule.number) for one in results)}"


def _rule_lines(one: RuleResult, width: int) -> Iterator[str]:
    rule = one.rule
    head = f"{rule.number:>4}  {one.verdict.upper():<13}  "
    counts = (
        f"worst {one.worst}" * bool(one.worst),
        f"{one.measured} measured",
        f"{one.failed} failed" * bool(one.failed),
        f"{one.undecided} undecided" * bool(one.undecided),
    )
    found = ", ".join(filter(None, counts)) if one.measured or one.failed else ""
    yield from wrapped(f"{rule.quantity}: {rule.limit}", width, head)
    force = f"{rule.clause} ({one.force or rule.force})"
    for words in filter(None, (force, found, _times(one), one.note)):
        yield from wrapped(words, width, " " * len(head))


def _times(one: RuleResult) -> str:
    if not one.first_times_ns:
        return ""
    times = ", ".join(f"{time / 1e6:.3f}" for time in one.first_times_ns)
    more = ", ..." if one.failed > len(one.first_times_ns) else ""
    return f"at {times} ms{more}"
