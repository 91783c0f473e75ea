"""Rules 25, 26, 42, 44 and 91 with a session that says which addresses are in use."""

from __future__ import annotations

import pytest
from conformance_helpers import edges_of, lengths_of, result

from dccwire import AccessoryAddress, LongAddress, ShortAddress
from dccwire.conformance import Locomotive, Report, Session, Verdict, check

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED, NOT_DECIDABLE = Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE
THREE, LONG = ShortAddress(3), LongAddress(1205)
BASELINE, STEPS_128 = "03 75 76", "03 3F 85 B9"
LONG_BASELINE, LONG_128 = "C4 B5 75 04", "C4 B5 3F 85 CB"
IDLE, WRITE, TO_CONSIST = "FF 00 FF", "03 EC 1C 01 F2", "07 75 72"
FUNCTIONS, ACCESSORY = "03 90 93", "9F F8 67"


def judged(session: Session, *packets: str, preamble: int = 14) -> Report:
    """The report on packets in hex."""
    edges = edges_of(lengths_of(*packets, preamble=preamble))
    return check([edges], resolution_ns=1000, session=session)


def used(*locomotives: Locomotive, **others: object) -> Session:
    """A session in which these are in use."""
    return Session(locomotives=locomotives, **others)  # type: ignore[arg-type] # by name


@pytest.mark.parametrize(
    ("locomotive", "packets", "verdict"),
    [
        *[(Locomotive(THREE, steps), (BASELINE,), PASS) for steps in (14, 28)],
        *[(Locomotive(THREE, steps), (STEPS_128,), FAIL) for steps in (14, 28)],
        (Locomotive(THREE, 28), (BASELINE, STEPS_128), FAIL),
        (Locomotive(THREE, 28), (FUNCTIONS, IDLE), NOT_EXERCISED),
        *[(Locomotive(THREE, 128), (one,), NOT_EXERCISED) for one in (BASELINE, STEPS_128)],
        *[(Locomotive(LONG, 28), (one,), NOT_EXERCISED) for one in (LONG_BASELINE, LONG_128)],
        (Locomotive(ShortAddress(4), 28), (BASELINE, STEPS_128), NOT_EXERCISED),
        (Locomotive(THREE), (STEPS_128,), NOT_DECIDABLE),
    ],
)
def test_rule_26_speeds_in_baseline_packets(
    locomotive: Locomotive, packets: tuple[str, ...], verdict: Verdict
) -> None:
    """Of short addresses set to 14 or 28 steps; long ones and 128 steps are no violation."""
    report = judged(used(locomotive), IDLE, *packets, IDLE)
    found = result(report, 26)
    assert found.verdict is verdict
    assert found.failed == (verdict is FAIL)
    assert ("needs the session" in found.note) is (verdict is NOT_DECIDABLE)
    if verdict is FAIL:
        before = (IDLE, *packets[: packets.index(STEPS_128)])
        assert found.first_times_ns == (sum(lengths_of(*before)) + 14 * 116_000,)


@pytest.mark.parametrize(
    ("before", "verdict"),
    [(("70 80 F0", IDLE), FAIL), ((), UNDECIDED), (("00 00 00",), NOT_EXERCISED)],
)
def test_rule_26_where_a_packet_may_be_of_service_mode(
    before: tuple[str, ...], verdict: Verdict
) -> None:
    """Of addresses 112 to 127; with nothing before it, nobody knows."""
    session = used(Locomotive(ShortAddress(112), 28))
    report = judged(session, *before, "70 3F 85 CA", preamble=20)
    assert result(report, 26).verdict is verdict


def test_rule_25_tells_which_addresses_were_not_sent_to() -> None:
    """And which were, although they are not in use; it has no verdict."""
    session = used(Locomotive(THREE), Locomotive(LONG), accessories=(AccessoryAddress(31),))
    report = judged(session, BASELINE, IDLE, "09 75 7C", "00 00 00", ACCESSORY, "BF 80 3F")
    found = result(report, 25)
    assert found.verdict is Verdict.OBSERVED
    told = "in use, but no packet read to: long 1205; sent to, but not in use: short 9"
    assert found.note == told
    assert told in " ".join(report.text().split())
    assert report.verdict is not FAIL
    every = judged(session, BASELINE, LONG_BASELINE, ACCESSORY)
    assert (result(every, 25).verdict, result(every, 25).note) == (Verdict.OBSERVED, "")


@pytest.mark.parametrize("number", [3, 112])
def test_rule_25_where_a_packet_may_be_of_service_mode(number: int) -> None:
    """At the begin of a recording: it is not said that 112 was not sent to, nor that it was."""
    register = "70 3F 85 CA"
    found = result(judged(used(Locomotive(ShortAddress(number))), register, preamble=20), 25)
    assert found.note == "in use, but no packet read to: short 3" * (number == 3)


def test_rule_25_names_a_few_addresses() -> None:
    """Of many the first, and how many more there are."""
    sent = [f"{number:02X} 75 {number ^ 0x75:02X}" for number in range(10, 20)]
    found = result(judged(used(Locomotive(ShortAddress(10))), *sent), 25)
    assert found.note.endswith("short 17, short 18, and 1 more")


@pytest.mark.parametrize("number", [25, 26])
def test_without_a_session_they_are_not_decidable(number: int) -> None:
    """What is not said is not known."""
    assert result(judged(Session(), BASELINE, STEPS_128), number).verdict is NOT_DECIDABLE


@pytest.mark.parametrize(
    ("session", "between", "verdict"),
    [
        (Session(), (TO_CONSIST,), UNDECIDED),
        (used(Locomotive(THREE, consist=7)), (TO_CONSIST,), FAIL),
        (used(Locomotive(THREE, consist=8)), (TO_CONSIST,), PASS),
        (used(Locomotive(THREE), consists=frozenset({7})), (TO_CONSIST,), UNDECIDED),
        (used(Locomotive(THREE), consists=frozenset()), (TO_CONSIST,), PASS),
        (used(Locomotive(LONG, consist=7)), (TO_CONSIST,), UNDECIDED),
        (used(Locomotive(THREE, consist=7)), (IDLE,), PASS),
    ],
)
def test_rule_42_counts_the_consist_as_the_decoder(
    session: Session, between: tuple[str, ...], verdict: Verdict
) -> None:
    """Its own address and its consist's are one decoder; of others it does not matter."""
    report = judged(session, BASELINE, WRITE, *between, WRITE, WRITE, IDLE)
    found = result(report, 42)
    assert found.verdict is verdict
    assert found.failed == (verdict is FAIL)


def test_rule_42_a_pair_is_over_when_the_consist_is_sent_to() -> None:
    """What comes behind that is a write of its own, which waits for its second packet."""
    session = used(Locomotive(THREE, consist=7))
    again = judged(session, BASELINE, WRITE, WRITE, TO_CONSIST, WRITE, BASELINE)
    assert (result(again, 42).verdict, result(again, 42).measured) == (FAIL, 2)
    more = judged(session, BASELINE, WRITE, WRITE, IDLE, WRITE, BASELINE)
    assert (result(more, 42).verdict, result(more, 42).measured) == (PASS, 1)


@pytest.mark.parametrize(
    ("number", "packet"), [(44, "07 EC 1C 01 F6"), (91, "07 07 80 80"), (91, "07 07 90 90")]
)
@pytest.mark.parametrize(
    ("session", "verdict"),
    [
        (used(Locomotive(THREE, consist=7)), FAIL),
        (used(Locomotive(THREE, consist=8)), PASS),
        (used(Locomotive(THREE)), NOT_DECIDABLE),
        (used(Locomotive(THREE, consist=7), Locomotive(ShortAddress(7))), UNDECIDED),
    ],
)
def test_rules_44_and_91_know_the_consists_of_locomotives(
    number: int, packet: str, session: Session, verdict: Verdict
) -> None:
    """An address that is a locomotive's own as well is not blamed."""
    assert result(judged(session, IDLE, packet, packet), number).verdict is verdict
