"""Whatever is wanted, the judge finds nothing against what the station sends."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from station_helpers import CONSIST, WISHES, Run, Sent, Wish
from station_judge import findings, judged

from dccwire import LongAddress, Packet, ShortAddress
from dccwire.conformance.rules import Verdict


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


def test_the_judge_has_every_rule_to_judge_that_a_station_can_break() -> None:
    """One run meets them all, so that to find nothing says something."""
    engine, like_registers = LongAddress(1205), ShortAddress(112)
    run = Run().tell_all([("couple",), ("drive", CONSIST, 9, True), ("drive", engine, 9, True)])
    run.tell_all([("drive", like_registers, 9, True), ("switch", engine, "F13", True)])
    run.tell_all([("next", 60), ("switch", engine, "F13", False), ("write", engine, 3, 4)])
    run.tell(("write", like_registers, 3, 4))
    run.tell(("operate", Packet.from_text("extended-accessory 120: ExtendedAccessory aspect=3")))
    run.tell_all([("drive", ShortAddress(3), 9, True), ("next", 60)])
    report = judged(run, coupled=True)
    assert findings(report) == []
    passed = {one.rule.number for one in report.results if one.verdict is Verdict.PASS}
    timing, framing, pace = {1, 2, 3, 5, 14, 15, 16, 18, 19}, {21, 38, 27, 29}, {22, 23, 24, 43}
    assert passed >= timing | framing | pace | {26, 41, 42, 44, 46, 86}


RUN, WRITE, TO_CONSIST, TO_112 = "C4B53F8AC4", "C4B5EC02049B", "09EC0204E3", "706818"
IDLE = "FF00FF"


@pytest.mark.parametrize(
    ("number", "begins", "sent"),
    [
        (23, True, [TO_112, TO_112]),
        (24, True, [RUN, RUN]),
        (42, True, [RUN, IDLE, WRITE, IDLE, RUN, IDLE, WRITE, IDLE, WRITE]),
        (44, True, [TO_CONSIST, IDLE, TO_CONSIST]),
        (86, False, [RUN]),
    ],
)
def test_what_a_station_might_do_wrong_is_found(number: int, begins: bool, sent: list[str]) -> None:
    """The same judge, with the same session, on packets put in by hand."""
    run = Run()
    run.next(30 if begins else 0)
    run.sent += [Sent(bytes.fromhex(data), 0, 0) for data in sent]
    run.sent += [Sent(bytes.fromhex(IDLE), 0, 0)] * 10
    report = judged(run, coupled=True)
    assert {one.rule.number for one in report.results if one.verdict is Verdict.FAIL} == {number}
