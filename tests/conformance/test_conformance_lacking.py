"""Which rules there are, those that no recording of levels decides, and those of single packets."""

from __future__ import annotations

import pytest
from conformance_helpers import PLAIN, edges_of, judge, lengths_of, result
from test_conformance_codes import verdict, whole

from dccwire import Mode
from dccwire.conformance import RULES, Force, Session, Verdict, check
from dccwire.conformance.rules import Sent
from dccwire.conformance.session import Access
from dccwire.signal import Timing
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED, NOT_DECIDABLE = Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE


@pytest.mark.parametrize(
    ("number", "lacks"),
    [
        *[(number, "voltage at the track") for number in range(8, 13)],
        *[(25, "accessories = [...]"), (26, "[[locomotive]]"), (87, "a log")],
        (90, "a log"),
    ],
)
def test_what_a_recording_of_levels_cannot_decide(number: int, lacks: str) -> None:
    """Each is reported, and names what is missing."""
    found = result(judge(lengths_of(PLAIN), rules=None), number)
    assert found.verdict is Verdict.NOT_DECIDABLE
    assert found.note.startswith("needs ")
    assert lacks in found.note


@pytest.mark.parametrize(
    ("number", "text", "expected"),
    [
        *[(59, "70 00 05", FAIL), (59, "74 00 05", PASS), (59, "7C 00 05", PASS)],
        *[(59, "78 00 E5", PASS), (59, "78 00 C5", FAIL), (59, "7B FF 65", FAIL)],
        *[(59, "7F FF FF", PASS), (59, "78 05", None), (59, "60 00 05", None)],
        *[(79, "03 F9", PASS), (79, "6F F9", PASS), (79, "70 F9", None), (79, "00 F9", None)],
        *[(79, "81 F9", None), (79, "03 F9 01", None)],
        *[(81, "00 F9 01", PASS), (81, "00 F9 7F", PASS), (81, "00 F9 00", UNDECIDED)],
        *[(81, "00 F9 80", FAIL), (81, "00 F9", None), (81, "00 F8 01", None)],
        *[(81, "00 F9 05 0F", FAIL), (81, "00 F9 00 0F", FAIL), (81, "03 F9 05", None)],
    ],
)
def test_packets_of_service_mode(number: int, text: str, expected: Verdict | None) -> None:
    """S-9.2.3 §E, Direct Mode; Appendix A and B."""
    assert verdict(number, text, Mode.SERVICE) is expected
    if number == 59:
        assert verdict(number, text, Mode.OPERATIONS) is None
        untold = RULES[59].judge(Sent(whole(text), Mode.SERVICE))
        assert (untold and untold.verdict) is (UNDECIDED if expected is FAIL else expected)


RESET, IDLE = "00 00 00", "FF 00 FF"
VERIFY_127, VERIFY_128 = "70 7F 0F", "70 80 F0"
WRITE_255, OTHER_REGISTER = "78 FF 87", "71 80 F1"


@pytest.mark.parametrize(
    ("access", "packet", "expected"),
    [
        *[(Access.ADDRESS_ONLY, VERIFY_127, PASS), (Access.ADDRESS_ONLY, VERIFY_128, FAIL)],
        *[(Access.ADDRESS_ONLY, WRITE_255, FAIL), (Access.REGISTER, VERIFY_128, NOT_EXERCISED)],
        *[(Access.PAGED, VERIFY_128, NOT_EXERCISED), (Access.PAGED, VERIFY_127, NOT_EXERCISED)],
        *[(None, VERIFY_128, NOT_DECIDABLE), (None, VERIFY_127, PASS)],
        *[(access, OTHER_REGISTER, NOT_EXERCISED) for access in (None, Access.ADDRESS_ONLY)],
    ],
)
def test_rule_65_address_only(access: Access | None, packet: str, expected: Verdict) -> None:
    """Bit 7 of the data is 0 (S-9.2.3 §E); in other modes the same bytes are register 1 (P5)."""
    edges = edges_of(lengths_of(IDLE, RESET, packet, packet, IDLE, packet, preamble=20))
    report = check([edges], resolution_ns=1000, rules=(65,), session=Session(access=access))
    found = result(report, 65)
    assert found.verdict is expected
    assert found.failed == 2 * (expected is FAIL)
    assert found.measured == 2 * (expected in (PASS, FAIL))
    if expected is FAIL:
        first, length = (sum(lengths_of(*some, preamble=20)) for some in ([IDLE, RESET], [packet]))
        assert found.first_times_ns == (first + 20 * 116_000, first + length + 20 * 116_000)
    assert ("needs the session's access" in found.note) is (expected is NOT_DECIDABLE)


@pytest.mark.parametrize("packet", [VERIFY_127, VERIFY_128])
def test_rule_65_where_the_mode_is_not_known(packet: str) -> None:
    """At the begin of a recording it may be a short address, and that is not blamed."""
    session = Session(access=Access.ADDRESS_ONLY)
    report = check([edges_of(lengths_of(packet, preamble=20))], resolution_ns=1000, session=session)
    found = result(report, 65)
    assert (found.verdict, found.measured) == ((UNDECIDED, PASS)[packet == VERIFY_127], 1)
    assert ("service mode, perhaps" in found.note) is (packet == VERIFY_128)


@pytest.mark.parametrize(
    ("timing", "mean", "unequal"),
    [
        (
            Timing(58_000, 100_000),
            "+0.000 us of 27 bits, about +- 0.385 us unless sampled in step",
            "0 of 15 bits",
        ),
        (
            Timing(59_000, 100_000, one_last=57_000),
            "+2.000 us of 27 bits, about +- 0.385 us unless sampled in step",
            "0 of 15 bits",
        ),
        (
            Timing(57_500, 100_000, one_last=58_000),
            "-0.500 us of 27 bits, about +- 0.385 us unless sampled in step",
            "0 of 15 bits",
        ),
        (
            Timing(58_000, 100_000, zero_last=101_999),
            "+0.000 us of 27 bits, about +- 0.385 us unless sampled in step",
            "0 of 15 bits",
        ),
        (
            Timing(58_000, 100_000, zero_last=102_000),
            "+0.000 us of 27 bits, about +- 0.385 us unless sampled in step",
            "15 of 15 bits",
        ),
    ],
)
def test_rules_6_and_7_are_told(timing: Timing, mean: str, unequal: str) -> None:
    """The means of the halves of ones, and how many zeros surely have halves that differ."""
    edges = edges_of(Sending(PLAIN, timing=timing).lengths())
    report = check([edges], resolution_ns=1000)
    for number, told in ((6, mean), (7, unequal)):
        found = result(report, number)
        assert (found.verdict, found.note) == (Verdict.OBSERVED, told)
    report = check([edges[:3]], resolution_ns=1000)
    assert result(report, 6).verdict is Verdict.NOT_EXERCISED


def test_rules_that_are_told_alone_have_no_verdict() -> None:
    """Of force report, or with a demand that has no measure: they neither fail nor pass."""
    told = {6, 48} | {number for number, one in RULES.items() if one.force is Force.REPORT}
    assert {7, 20, 47, 89} <= told
    report = judge(lengths_of("00 00 00", "BF 80 3F", PLAIN), rules=None)
    verdicts = {result(report, number).verdict for number in told}
    assert verdicts <= {Verdict.OBSERVED, Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE}
