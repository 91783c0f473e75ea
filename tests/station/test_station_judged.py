"""Whatever is wanted, the judge finds nothing against what the station sends."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from station_helpers import WISHES, Run, Wish
from station_judge import findings, judged


@settings(max_examples=60)
@given(WISHES, st.booleans())
def test_any_wishes_are_judged_without_a_finding(wishes: list[Wish], coupled: bool) -> None:
    """No rule fails, and none is undecided, once nothing waits and 40 packets more were sent."""
    run = Run().tell_all([("couple",)] * coupled + wishes)
    run.drain()
    run.next(40)
    report = judged(run, coupled=coupled)
    assert report.packets == len(run.sent)
    assert findings(report) == []
