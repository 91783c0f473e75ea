"""What a recording was found to be, rule by rule: values, text and JSON.

Room: values; what is printed is in `reports`, nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.expectations import ExpectationResult
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.rules import Force, Rule, Verdict
from dccwire.signal import UNBOUNDED

if TYPE_CHECKING:
    from dccwire.conformance.causes import Cause

SCHEMA = 5
"""Version of the JSON's shape, which `docs/check.schema.json` describes."""


@dataclass(frozen=True, slots=True)
class RuleResult:
    """A rule and what the recording shows of it.

    `worst` is the reading furthest out or nearest to a limit, in words; `measured`, `failed` and
    `undecided` count readings; `first_times_ns` are those of the first failures; `note` says what
    else there is to know, such as why a rule is not decidable; `force` is that of what failed;
    `nearest_ns` is how exact times must be known to decide what is undecided, if that decides it.
    `reading` is the worst one as a number, a time in ns; `first_bytes` are those of the packet at
    the first time, where the rule is on bytes;
    `undecided_times_ns` are those of the first that are undecided, if they are known;
    `recording` is the one whose these times are, where there are several.
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
    recording: str = ""
    reading: int | None = None
    first_bytes: bytes = b""
    undecided_times_ns: tuple[int, ...] = ()

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
            **self._numbers(),
            "measured": self.measured,
            "failed": self.failed,
            "undecided": self.undecided,
            "nearest_ns": self.nearest_ns,
            "first_times_ns": list(self.first_times_ns),
            "first_bytes": self.first_bytes.hex(" ").upper(),
            "undecided_times_ns": list(self.undecided_times_ns),
            "recording": self.recording,
            "note": self.note,
        }

    def _numbers(self) -> dict[str, Any]:
        """Limits and the worst reading as numbers: of times in ns, else of what is `counted`."""
        limit = self.rule.limit
        if not limit.unit:
            return {}
        bounds = limit.least, limit.most
        least, most = (None if abs(one) == UNBOUNDED else one for one in bounds)
        numbers = {"limit_least": least, "limit_most": most, "worst": self.reading}
        if limit.unit == "us":
            return {f"{name}_ns": number for name, number in numbers.items()}
        return {"counted": limit.unit} | {f"{name}_count": one for name, one in numbers.items()}


@dataclass(frozen=True, slots=True)
class Report:
    """The results of all rules, and what they rest on; so far, if the judging was `stopped`.

    `not_judged` counts half-bits between packets that no rule judged, though they have the shape of
    nothing that may stand there without being told. `clock` is by what ones and zeros are off alike
    on average, where they are; `factor` by what all times are, so that they are in doubt;
    `unread` are the recordings without a packet.
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
    expectations: tuple[ExpectationResult, ...] = ()
    addresses: tuple[AddressRow, ...] = ()
    stopped: bool = False
    factor: float | None = None
    unread: tuple[str, ...] = ()
    clock: float | None = None

    @property
    def causes(self) -> tuple[Cause, ...]:
        """What the findings come of: one wrong packet or one wrong clock is one cause."""
        from dccwire.conformance.causes import causes_of  # which names `RuleResult`

        return causes_of(self.results, self.factor, self.clock)

    @property
    def judged(self) -> tuple[RuleResult | ExpectationResult, ...]:
        """What has a verdict: rules, and expectations."""
        return *self.results, *self.expectations

    @property
    def _verdicts(self) -> set[Verdict]:
        return {one.verdict for one in self.judged}

    @property
    def failed(self) -> bool:
        """Whether a rule fails that the text demands or defines, or an expectation."""
        unmet = any(one.verdict is Verdict.FAIL for one in self.expectations)
        return unmet or any(one.verdict is Verdict.FAIL and one.binding for one in self.results)

    @property
    def failed_strictly(self) -> bool:
        """Whether any rule fails, those that are advice or follow from others included."""
        return Verdict.FAIL in self._verdicts

    def well(self, *, strict: bool = False, certain: bool = False) -> bool:
        """Whether nothing was shown to be wrong, and there was a packet in each recording.

        `strict`: any failed rule counts; `certain`: so does what is undecided, or was not judged,
        and something must have passed.
        """
        failed = self.failed_strictly if strict or certain else self.failed
        if failed or not self.packets or self.unread:
            return False
        verdicts = self._verdicts
        passed = Verdict.PASS in verdicts and not self.stopped
        open_ = Verdict.UNDECIDED in verdicts or self.not_judged or not passed
        return not (certain and open_)

    @property
    def verdict(self) -> Verdict:
        """The recording's own: fail, else undecided if a rule is, else pass.

        What was not judged does not pass. Where no rule passes, or there is no packet, nothing was
        shown: not exercised, or not decidable if that is all that was found.
        """
        if self.failed_strictly:
            return Verdict.FAIL
        verdicts = self._verdicts
        if Verdict.UNDECIDED in verdicts or (self.packets and (self.not_judged or self.unread)):
            return Verdict.UNDECIDED
        if Verdict.PASS in verdicts and self.packets:
            return Verdict.PASS
        lacking = verdicts == {Verdict.NOT_DECIDABLE}
        return Verdict.NOT_DECIDABLE if lacking else Verdict.NOT_EXERCISED

    def to_dicts(self) -> Iterator[dict[str, Any]]:
        """The lines of the JSON form: one a rule, one an expectation, the last the summary."""
        for one in self.results:
            yield one.to_dict()
        for each in self.expectations:
            yield each.to_dict()
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
            "stopped": self.stopped,
            "causes": [one.to_dict() for one in self.causes],
            "addresses": [one.to_dict() for one in self.addresses],
            "notes": list(self.notes),
        }

    def text(self, width: int = 80, *, every: bool = False) -> str:
        """The report for a terminal, at most `width` columns (60 or more), in plain ASCII.

        What failed and what is undecided is told in full, what passed by its number; with `every`,
        all rules are told in full, and the histogram is drawn.
        """
        from dccwire.conformance.reports.text import lines_of  # which names this class

        return "\n".join(lines_of(self, max(width, 60), every=every))

    def _repr_html_(self) -> str:
        """The page in a frame of its own, since its style is that of a whole page."""
        from html import escape

        from dccwire.conformance.reports.html import html_of  # which names this class

        frame = 'style="width: 100%; height: 40rem; border: 0" title="report"'
        return f'<iframe {frame} srcdoc="{escape(html_of(self))}"></iframe>'

    def __str__(self) -> str:
        return self.text()
