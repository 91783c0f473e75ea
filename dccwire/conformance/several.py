"""What several recordings of one station show together; no history goes from one to the next.

Times are each recording's own, so what has one names its recording. Room: closed judges in, what
they found together out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from dccwire.conformance.addresses import AddressRow
from dccwire.conformance.expectations import ExpectationResult
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.judging import Judge
from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import Verdict


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """A judge at the end of a recording.

    `source` is what the recording is called; `notes` say what else there is to know, and `factor`
    by what all of its times may be off.
    """

    judge: Judge
    source: str
    notes: tuple[str, ...] = ()
    factor: float | None = None

    def tallies(self) -> list[Tally]:
        """What was found; nothing fails or passes by times that are in doubt."""
        tallies = self.judge.tallies()
        for tally in tallies if self.factor is not None else ():
            if tally.rule.limit.unit == "us":
                tally.doubt()
        return tallies


def tallies_of(found: Sequence[Found]) -> list[Tally]:
    """What was found in all of them, rule by rule."""
    first, *others = (one.tallies() for one in found)
    for tallies, one in zip((first, *others), found, strict=True):
        for tally in tallies if others else ():
            tally.recording = tally.open_recording = one.source
            tally.remarks = [f"{one.source}: {remark}" for remark in tally.remarks]
    for tallies in others:
        for mine, its in zip(first, tallies, strict=True):
            mine.absorb(its)
            mine.remarks += its.remarks
            mine.doubted |= its.doubted
    return first


def histogram_of(found: Sequence[Found]) -> Histogram:
    """All durations."""
    whole = Histogram()
    for one in found:
        whole.absorb(one.judge.histogram)
    return whole


def expectations_of(found: Sequence[Found]) -> Iterator[ExpectationResult]:
    """What became of the session's expectations in each, since times are its own.

    Where all times are in doubt, so is what was to be sent at some.
    """
    for one in found:
        for result in one.judge.rules.expectations():
            told = [f"in {one.source}"] * (len(found) > 1)
            asked, verdict = result.expectation, result.verdict
            if one.factor is not None and (asked.from_ns, asked.until_ns) != (0, None):
                told.append("all times are in doubt: see the notes")
                verdict = Verdict.UNDECIDED
            told += [result.note] * bool(result.note)
            yield replace(result, verdict=verdict, note="; ".join(told))


def addresses_of(found: Sequence[Found]) -> tuple[AddressRow, ...]:
    """Which addresses were sent to."""
    rows: dict[str, AddressRow] = {}
    for one in found:
        for row in one.judge.rules.addresses():
            rows[row.address] = _together(rows[row.address], row) if row.address in rows else row
    return tuple(rows.values())


def _together(one: AddressRow, other: AddressRow) -> AddressRow:
    """A row of both; they last as long as both together."""

    def longest(times: tuple[int | None, int | None]) -> int | None:
        return max((time for time in times if time is not None), default=None)

    return replace(
        one,
        packets=dict(Counter(one.packets) + Counter(other.packets)),
        last_ns=one.last_ns + other.last_ns - other.first_ns,
        longest_ns=longest((one.longest_ns, other.longest_ns)),
        without_ns=longest((one.without_ns, other.without_ns)),
        recordings=one.recordings + other.recordings,
    )
