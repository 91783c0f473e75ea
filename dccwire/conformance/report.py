"""What a recording was found to be, rule by rule: values, text and JSON.

Room: results in, words out; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dccwire.conformance.histogram import Histogram
from dccwire.conformance.rules import Force, Rule, Verdict

__all__ = ["SCHEMA", "Report", "RuleResult"]

SCHEMA = 1
"""Version of the JSON's shape."""


@dataclass(frozen=True, slots=True)
class RuleResult:
    """A rule and what the recording shows of it.

    `worst` is the reading furthest out or nearest to a limit, in words; `measured`, `failed` and
    `undecided` count readings; `first_times_ns` are those of the first failures; `note` says what
    else there is to know, such as why a rule is not decidable.
    """

    rule: Rule
    verdict: Verdict
    worst: str = ""
    measured: int = 0
    failed: int = 0
    undecided: int = 0
    first_times_ns: tuple[int, ...] = ()
    note: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The result as a line of JSON holds it."""
        return {
            "rule": self.rule.number,
            "verdict": self.verdict.value,
            "force": self.rule.force.value,
            "quantity": self.rule.quantity,
            "limit": self.rule.limit,
            "clause": self.rule.clause,
            "worst": self.worst,
            "measured": self.measured,
            "failed": self.failed,
            "undecided": self.undecided,
            "first_times_ns": list(self.first_times_ns),
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class Report:
    """The results of all rules, and what they rest on."""

    results: tuple[RuleResult, ...]
    source: str
    resolution_ns: int
    resolution_source: str
    uncertainty_ns: int
    edges: int
    packets: int
    duration_ns: int
    histogram: Histogram
    notes: tuple[str, ...]

    def failed(self, *, strict: bool = False) -> bool:
        """Whether the recording is not well: a failed `shall`; with `strict` any failed rule."""
        return any(
            one.verdict is Verdict.FAIL and (strict or one.rule.force is Force.SHALL)
            for one in self.results
        )

    @property
    def verdict(self) -> Verdict:
        """The recording's own: fail, else undecided if a rule is, else pass.

        Where no rule passes, or there is no packet, nothing was shown: not exercised, or not
        decidable if that is all that was found.
        """
        if self.failed():
            return Verdict.FAIL
        verdicts = {one.verdict for one in self.results}
        if Verdict.UNDECIDED in verdicts:
            return Verdict.UNDECIDED
        if Verdict.PASS in verdicts and self.packets:
            return Verdict.PASS
        lacking = verdicts == {Verdict.NOT_DECIDABLE}
        return Verdict.NOT_DECIDABLE if lacking else Verdict.NOT_EXERCISED

    def to_dicts(self) -> Iterator[dict[str, Any]]:
        """The lines of the JSON form: one a rule, the last the summary."""
        for one in self.results:
            yield one.to_dict()
        counts = {verdict.value: 0 for verdict in Verdict}
        for one in self.results:
            counts[one.verdict.value] += 1
        yield {
            "summary": True,
            "schema": SCHEMA,
            "verdict": self.verdict.value,
            "source": self.source,
            "rules": counts,
            "packets": self.packets,
            "edges": self.edges,
            "duration_ns": self.duration_ns,
            "resolution_ns": self.resolution_ns,
            "resolution_source": self.resolution_source,
            "uncertainty_ns": self.uncertainty_ns,
            "histogram_us": {str(place): count for place, count in self.histogram.counts().items()},
            "notes": list(self.notes),
        }

    def text(self, width: int = 80) -> str:
        """The report for a terminal, at most `width` columns (60 or more), in plain ASCII."""
        return "\n".join(_lines(self, max(width, 60)))


def _lines(report: Report, width: int) -> Iterator[str]:
    import textwrap

    seconds = report.duration_ns / 1e9
    yield from textwrap.wrap(
        f"{report.source}: {report.packets} packets, {report.edges} edges, {seconds:.3f} s", width
    )
    yield from textwrap.wrap(
        f"resolution {report.resolution_ns / 1e3:g} us ({report.resolution_source})", width
    )
    if report.uncertainty_ns:
        yield f"other uncertainty {report.uncertainty_ns / 1e3:g} us"
    undecided = any(one.verdict is Verdict.UNDECIDED for one in report.results)
    if undecided and report.resolution_source.startswith("greatest"):
        yield "- if the sampling period was finer, give it with --resolution NS"
    for note in report.notes:
        yield from textwrap.wrap(note, width, initial_indent="- ", subsequent_indent="  ")
    yield ""
    yield "half-bits by length"
    yield from report.histogram.lines(width)
    yield ""
    yield "rule  verdict        what is judged"
    for one in report.results:
        yield from _rule_lines(one, width)
    yield ""
    yield f"verdict: {report.verdict}"


def _rule_lines(one: RuleResult, width: int) -> Iterator[str]:
    import textwrap

    rule = one.rule
    head = f"{rule.number:>4}  {one.verdict.upper():<13}  "
    indent = " " * len(head)
    counts = (f"worst {one.worst}" if one.worst else "", f"{one.measured} measured")
    failed = (
        f"{one.failed} failed" * bool(one.failed),
        f"{one.undecided} undecided" * bool(one.undecided),
    )
    found = ", ".join(filter(None, (*counts, *failed))) if one.measured else ""
    yield from textwrap.wrap(
        f"{rule.quantity}: {rule.limit}", width, initial_indent=head, subsequent_indent=indent
    )
    for words in (f"{rule.clause} ({rule.force})", found, _times(one), one.note):
        yield from textwrap.wrap(words, width, initial_indent=indent, subsequent_indent=indent)


def _times(one: RuleResult) -> str:
    if not one.first_times_ns:
        return ""
    times = ", ".join(f"{time / 1e6:.3f}" for time in one.first_times_ns)
    more = ", ..." if one.failed > len(one.first_times_ns) else ""
    return f"at {times} ms{more}"
