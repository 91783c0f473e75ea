"""Simulated decoders that hear what the station sends do what is wanted."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from station_audit import ALL, own, stop_code, to
from station_decoders import fleet, play, wanted
from station_helpers import CONSIST, FLEET, UNITS, WISHES, Run, Wish

from dccwire.decoder import Track


@settings(max_examples=200)
@given(WISHES, st.booleans())
def test_decoders_end_as_wanted_when_nothing_waits(wishes: list[Wish], coupled: bool) -> None:
    """Step, direction, functions and CVs, once `waiting` is 0; the refresh changes nothing."""
    run = Run().tell_all([("couple",)] * coupled + wishes)
    run.drain()
    ends_as_wanted(run, coupled=coupled)
    run.next(100)
    ends_as_wanted(run, coupled=coupled)


def ends_as_wanted(run: Run, *, coupled: bool) -> None:
    """What all packets so far leave decoders with that never heard any before."""
    decoders = fleet(coupled=coupled)
    play(run, decoders)
    wants, written = wanted(run, coupled=coupled)
    for address, decoder in decoders.items():
        assert {cv: decoder.cv(cv) for cv in written[address]} == written[address]
        want = wants.get(address)
        if want is not None:
            known = set(want.on)
            on = {name for name, state in want.on.items() if state}
            assert decoder.functions & known == on, address
        if coupled and address in UNITS:
            want = wants.get(CONSIST)
        if want is not None:
            assert (decoder.step, decoder.direction == "forward") == (want.step, want.forward)
            assert want.step == 0 or decoder.steps == {14: 14, 28: 28, 128: 126}[want.steps]


@settings(max_examples=200)
@given(WISHES, st.booleans())
def test_what_was_stopped_stays_until_a_new_speed_is_wanted(
    wishes: list[Wish], coupled: bool
) -> None:
    """From the first packet of an emergency stop on, whatever waits or is refreshed."""
    run = Run().tell_all([("couple",)] * coupled + wishes)
    run.drain()
    run.next(100)
    decoders = fleet(coupled=coupled)
    track, wishes_left = Track(tuple(decoders.values())), [*run.told]
    armed, held, added = set[Any](), set[Any](), set[Any]()
    for place, one in enumerate(run.sent):
        while wishes_left and wishes_left[0][0] <= place:
            _, (kind, *words) = wishes_left.pop(0)
            added |= set(words) if kind == "add" else set()
            added -= set(words) if kind == "remove" else set()
            if kind == "drive":
                moved = {CONSIST, *UNITS} if coupled and words[0] == CONSIST else {words[0]}
                armed, held = armed - moved, held - moved
            elif kind == "stop":
                armed |= stopped_by(words, coupled=coupled, consist_is_driven=CONSIST in added)
        track.take(one.data, one.start, one.end)
        if stop_code(one.data):
            held |= {each for each in armed if to(one.data) in (ALL, heard_at(each, coupled))}
        for address in held & decoders.keys():
            assert decoders[address].step == 0
            assert decoders[address].speed_at(one.end) == 0


def stopped_by(words: list[Any], *, coupled: bool, consist_is_driven: bool) -> set[Any]:
    """Whom an emergency stop is to reach: a unit only with its consist, if that is driven here."""
    if not words:
        return {*FLEET}
    if not coupled or words[0] not in (CONSIST, *UNITS):
        return set(words)
    return {CONSIST, *UNITS} if consist_is_driven else set()


def heard_at(address: Any, coupled: bool) -> bytes:
    """Where a decoder hears its speed: at its consist's address, if it is in one."""
    return own(CONSIST if coupled and address in UNITS else address)


def test_momentum_does_not_outlast_an_emergency_stop() -> None:
    """CV 3 and 4 hold for a stop, not for an emergency stop: at once, and 0 ever after."""
    run, engine = Run(new=False), UNITS[0]
    run.tell_all([("write", engine, 4, 60), ("next", 4), ("drive", engine, 100, True)])
    run.next(60)
    run.tell(("drive", engine, 0, True))
    run.next(4)
    decoders = fleet(coupled=False)
    play(run, decoders)
    assert decoders[engine].step == 0
    assert decoders[engine].speed_at(run.now) > 0.7
    run.tell(("stop", engine))
    run.next(2)
    decoders = fleet(coupled=False)
    play(run, decoders)
    assert decoders[engine].speed_at(run.now) == 0
