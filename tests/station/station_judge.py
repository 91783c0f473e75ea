"""A run of the station as a recording, judged with a session that tells all."""

from __future__ import annotations

import numpy as np
from station_helpers import CONSIST, FLEET, UNITS, Run

from dccwire.conformance import check
from dccwire.conformance.report import Report
from dccwire.conformance.rules import Verdict
from dccwire.conformance.session import Locomotive, Session
from dccwire.framing import stream
from dccwire.signal import durations, edges


def session(*, coupled: bool) -> Session:
    """All that no recording shows; `coupled` from the beginning to the end, or never."""
    consist = CONSIST.number if coupled else 0
    return Session(
        programming_track=False,
        consists=frozenset({consist} if coupled else ()),
        every_30_ms=True,
        power_on_ns=(0,),
        new=True,
        factory=False,
        locomotives=tuple(
            Locomotive(address, steps=steps, consist=consist if address in UNITS else 0)
            for address, steps in FLEET.items()
            if address != CONSIST or not coupled
        ),
        clock_is_right=True,
    )


def judged(run: Run, *, coupled: bool) -> Report:
    """The report on the edges of all packets, each with 14 ones before it."""
    bits = stream((one.data for one in run.sent), 14)
    return check([np.fromiter(edges(durations(bits)), np.int64)], session=session(coupled=coupled))


def findings(report: Report) -> list[str]:
    """Rules that fail or are undecided, and what else keeps a report from passing."""
    bad = [
        f"{one.rule.number} {one.verdict.value}: {one}"
        for one in report.results
        if one.verdict in (Verdict.FAIL, Verdict.UNDECIDED)
    ]
    return bad + ([] if report.verdict is Verdict.PASS else [report.verdict.value])
