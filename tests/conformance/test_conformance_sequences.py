"""Rules 21 to 24, 38, 39, 41, 42, 44, 91 and 92: packets by what came before, from the texts."""

from __future__ import annotations

from functools import reduce
from itertools import accumulate
from operator import xor

import numpy as np
import pytest
from conformance_helpers import COARSE, result
from hypothesis import given, settings
from hypothesis import strategies as st

from dccwire.conformance import Report, RuleResult, Session, Verdict, check
from dccwire.recordings import Chunk
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED, NOT_DECIDABLE = Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE
RESET, IDLE, OTHER = "00 00", "FF 00", "03 60"
SPOILED = "spoiled"
"""A packet of which a bit is of neither a 1 nor a 0."""

SEQUENCES = (21, 22, 23, 24, 38, 39, 41, 42, 43, 44, 89, 91, 92)
WRONG = "wrong"
"""A packet with a wrong error byte; before bytes, of these."""


def halves(text: str, preamble: int = 16) -> list[int]:
    """The half-bits of a packet in hex without its error byte, or of a spoiled one."""
    data = bytes.fromhex(OTHER if text in (SPOILED, WRONG) else text.removeprefix(WRONG))
    check_byte = reduce(xor, data) ^ text.startswith(WRONG)
    lengths = list(Sending(data + bytes([check_byte]), preamble, COARSE).lengths())
    if text == SPOILED:
        lengths[2 * preamble + 6 : 2 * preamble + 8] = [75_000, 75_000]
    return lengths


def sent(*packets: str | int, session: Session | None = None, preamble: int = 16) -> Report:
    """The report on packets; a number is a time in µs that the last level holds longer."""
    lengths: list[int] = []
    for one in packets:
        if isinstance(one, int):
            lengths += [1000 * one]
        else:
            lengths += halves(one, preamble)
    edges = np.fromiter(accumulate(lengths, initial=0), np.int64)
    options = {"session": session, "rules": SEQUENCES, "other_protocols": True}
    return check([edges], resolution_ns=1000, **options)  # type: ignore[arg-type] # by name


def of(number: int, *packets: str | int, session: Session | None = None) -> RuleResult:
    """What a rule says of packets."""
    return result(sent(*packets, session=session), number)


def start_of(*before: str) -> int:
    """Where the packet start bit of the packet behind these is."""
    return sum(sum(halves(one)) for one in before) + 16 * 116_000


@pytest.mark.parametrize(
    ("number", "text"), [(23, "70 60"), (23, "7F 60"), (24, "03 60"), (24, "C3 E8 60")]
)
@pytest.mark.parametrize(("apart", "verdict"), [(4999, FAIL), (5000, UNDECIDED), (5001, PASS)])
def test_rules_23_and_24_packets_to_one_address(
    number: int, text: str, apart: int, verdict: Verdict
) -> None:
    """5 ms from the end of one to the start of the other (S-9.2 §C), give or take 1 µs."""
    hold = apart - 16 * 116
    found = of(number, IDLE, text, hold, text, IDLE)
    assert (found.verdict, found.measured, found.worst) == (verdict, 1, f"{apart} us")
    begin = start_of(IDLE, text) + 1000 * hold
    assert found.first_times_ns == ((begin,) if verdict is FAIL else ())


@pytest.mark.parametrize(
    ("one", "two", "alike"),
    [
        *[("03 60", "04 60", False), ("03 60", "03 80", True), ("C0 03 60", "03 60", False)],
        *[("C3 E8 60", "C3 E9 60", False), ("C3 E8 60", "C3 E8 80", True)],
        *[("81 F1", "81 F9", True), ("81 F1", "81 E1", False), ("81 F1", "82 F1", False)],
        *[("81 71 05", "81 71 06", True), ("81 71 05", "81 73 05", False)],
        *[("81 F1", "81 7C 00 05", True), ("81 F1", "81 71 05", False), ("FF 00", "FF 00", False)],
        *[("00 00", "00 00", False), ("00 71", "00 71", True), ("E9 60", "E9 60", False)],
    ],
)
def test_rule_24_knows_whole_addresses(one: str, two: str, alike: bool) -> None:
    """Both bytes; idle packets and resets are exempt, reserved first bytes are no address."""
    assert of(24, one, two).measured == alike
    assert of(24, one, "05 60", two).measured == alike


def test_rule_24_the_first_packet_of_the_recording_has_none_before_it() -> None:
    """Nothing is measured to what was not recorded; a wrong error byte is no packet."""
    assert of(24, OTHER).verdict is NOT_EXERCISED
    assert of(24, "05 60", WRONG, OTHER).verdict is NOT_EXERCISED


def test_rule_23_is_not_about_service_mode() -> None:
    """Packets lie 2.3 ms apart there; where the mode is not known it is undecided."""
    verify = "7C 04 05"
    assert of(23, RESET, verify, verify, verify).verdict is NOT_EXERCISED
    unknown = of(23, verify, verify)
    assert (unknown.verdict, unknown.undecided) == (UNDECIDED, 1)
    assert of(23, OTHER, verify, IDLE, IDLE, verify).verdict is PASS
    assert of(23, OTHER, verify, verify).verdict is FAIL


@pytest.mark.parametrize("first", ["64 60", "6F 60"])
@pytest.mark.parametrize(
    ("apart", "verdict"), [(19_999, FAIL), (20_000, UNDECIDED), (20_001, PASS)]
)
def test_rule_21_no_address_100_to_127_after_a_reset(
    first: str, apart: int, verdict: Verdict
) -> None:
    """20 ms from its end to the start of the other (S-9.2 §B; C9), whatever lies between."""
    idles = 3 * sum(halves(IDLE)) // 1000
    hold = apart - idles - 16 * 116
    found = of(21, RESET, IDLE, hold, IDLE, IDLE, first)
    assert (found.verdict, found.worst) == (verdict, f"{apart} us")


@pytest.mark.parametrize(
    ("packets", "verdict"),
    [
        (("63 60",), NOT_EXERCISED),
        (("80 F1",), NOT_EXERCISED),
        (("64 60",), FAIL),
        (("7F 60",), UNDECIDED),
        (("7C 04 05",), UNDECIDED),
        (("7C 04 05 06 07",), FAIL),
        ((SPOILED, "64 60"), FAIL),
        ((OTHER, OTHER), NOT_EXERCISED),
        ((OTHER, OTHER, OTHER, OTHER), PASS),
        ((OTHER, SPOILED, OTHER, OTHER), UNDECIDED),
        ((OTHER, OTHER, OTHER, SPOILED, OTHER), UNDECIDED),
        ((OTHER, OTHER, OTHER, OTHER, SPOILED, "64 60"), PASS),
        ((OTHER, OTHER, OTHER, OTHER, "64 60", RESET), PASS),
        ((*[OTHER] * 4, RESET, "64 60"), FAIL),
        ((RESET, RESET, RESET, RESET, "6F 60"), FAIL),
        (("64 60", *[OTHER] * 4), FAIL),
        ((SPOILED, RESET, *[OTHER] * 4), PASS),
        ((OTHER, OTHER, 9_000, SPOILED, OTHER), PASS),
        ((WRONG + "64 60",), NOT_EXERCISED),
        (("7F 60", "7F 60 61 62"), FAIL),
    ],
)
def test_rule_21_what_may_be_meant_as_service_mode(
    packets: tuple[str | int, ...], verdict: Verdict
) -> None:
    """Registers of three and four bytes may be; what could not be read may have been one of them.

    A reset with nothing of the kind behind it for 20 ms passes, unless the recording ends before.
    """
    found = of(21, OTHER, RESET, *packets)
    assert found.verdict is verdict
    assert found.failed == (verdict is FAIL)


@pytest.mark.parametrize("at", [0, 1, 2])
def test_rule_21_a_wrong_error_byte_may_hide_one(at: int) -> None:
    """A packet that was read wrong, from the reset on until 20 ms are over, or as they are."""
    packets = [OTHER] * 4
    packets[at] = WRONG
    assert of(21, RESET, *packets).verdict is UNDECIDED


@pytest.mark.parametrize(
    ("meant", "verdict"), [(None, UNDECIDED), (True, NOT_EXERCISED), (False, FAIL)]
)
def test_rule_21_with_a_session(meant: bool | None, verdict: Verdict) -> None:
    """Which says whether service mode is meant."""
    session = Session(programming_track=meant)
    assert of(21, RESET, "7C 04 05", session=session).verdict is verdict
    assert of(21, RESET, "64 60", session=session).verdict is FAIL
    assert of(21, RESET, "7C 04 05", "64 60", session=session).verdict is FAIL
    assert of(21, RESET, "7C 04 05 06 07", session=session).verdict is FAIL
    found = of(21, RESET, *["7C 04 05"] * 9, session=session)
    assert found.measured == {None: 1, True: 1, False: 3}[meant]


@pytest.mark.parametrize(
    ("between", "verdict"),
    [
        ([IDLE] * 8, FAIL),
        ([IDLE] * 9, UNDECIDED),
        ([IDLE] * 10, PASS),
        ([OTHER, IDLE] * 5, PASS),
        ([60_000], UNDECIDED),
        ([SPOILED] + [IDLE] * 7, FAIL),
        ([11_000] + [IDLE] * 5, FAIL),
        ([SPOILED] + [IDLE] * 10, UNDECIDED),
        ([IDLE] * 3 + [WRONG] + [IDLE] * 6, UNDECIDED),
        ([IDLE] * 8 + [3994], FAIL),
        ([IDLE] * 8 + [3995], UNDECIDED),
        ([IDLE] * 7 + [SPOILED] * 3, UNDECIDED),
    ],
)
@pytest.mark.parametrize("reset", [RESET, "05 00"])
def test_rule_38_ten_packets_after_a_decoder_reset(
    between: list[str | int], verdict: Verdict, reset: str
) -> None:
    """Ten packets and ten packet times, to whatever address the reset went (S-9.2.1 §C; C8)."""
    session = Session(programming_track=False)
    assert of(38, IDLE, reset, *between, "70 60", session=session).verdict is verdict


def test_rule_38_a_reset_with_nothing_of_the_kind_behind_it_passes() -> None:
    """Ten packets and their time are enough; one packet that comes too soon counts, each time."""
    assert of(38, RESET, *[OTHER] * 10).verdict is NOT_EXERCISED
    found = of(38, RESET, *[OTHER] * 11, "70 60", OTHER)
    assert (found.verdict, found.measured, found.worst) == (PASS, 1, "")
    assert of(38, RESET, *[OTHER] * 10, "6F 60").verdict is PASS
    found = of(38, "05 00", "7F 60", *[OTHER] * 2, "7F 80", *[OTHER] * 9, "7F 60")
    assert (found.measured, found.failed, found.worst) == (2, 2, "0 packets")
    found = of(38, RESET, *[OTHER] * 10, "7F 60")
    assert (found.verdict, found.worst) == (PASS, "10 packets")


def test_rule_38_exempts_service_mode() -> None:
    """Which a reset leads into, unless the session says that none is meant."""
    packets = RESET, "7C 04 05"
    assert of(38, *packets).verdict is UNDECIDED
    found = of(38, RESET, *["7C 04 05"] * 3)
    assert (found.verdict, found.measured) == (UNDECIDED, 1)
    assert "programming_track = true" in found.note
    assert of(38, *packets, session=Session(programming_track=True)).verdict is NOT_EXERCISED
    assert of(38, *packets, session=Session(programming_track=False)).verdict is FAIL
    assert of(38, "7C 04 05", "05 00", "7C 04 05").verdict is FAIL
    assert of(38, "05 00", "6F 60").verdict is NOT_EXERCISED
    assert of(38, "05 00", WRONG + "70 60").verdict is NOT_EXERCISED
    assert of(38, "05 00", SPOILED, "7C 04 05").verdict is UNDECIDED


@pytest.mark.parametrize(
    ("factory", "verdict"), [(None, UNDECIDED), (True, NOT_EXERCISED), (False, FAIL)]
)
def test_rule_39_factory_tests(factory: bool | None, verdict: Verdict) -> None:
    """02 and 03 never in operation (S-9.2.1 §C); at a factory they may be."""
    for text in ("03 02", "03 03", "C3 E8 02", "03 02 05", "03 60 03 05 05", "70 02"):
        found = of(39, IDLE, text, session=Session(factory=factory))
        assert found.verdict is verdict
    assert of(39, "03 01").verdict is of(39, "03 04 02").verdict is NOT_EXERCISED


def test_rule_39_is_not_about_service_mode() -> None:
    """There 112 to 127 write registers; where the mode is not known, it is undecided."""
    session = Session(factory=False)
    assert of(39, IDLE, RESET, "70 02", session=session).verdict is NOT_EXERCISED
    found = of(39, "70 02", session=session)
    assert (found.verdict, "service mode, perhaps" in found.note) == (UNDECIDED, True)


@pytest.mark.parametrize(
    ("packets", "passed", "undecided"),
    [
        (["DE 01"], 0, 0),
        (["DE 01", "DE 01"], 0, 0),
        (["DE 01", "DE 03"], 0, 1),
        (["DE 01", "DE 03", "DE 03"], 1, 0),
        (["DE 01", "DE 03", "DE 03", "DE 03"], 1, 0),
        (["DE 01", "DE 03", "DE 07", "DE 07"], 1, 0),
        (["DE 01", "DF 03", "DE 01", "DF 03"], 0, 0),
        (["DE 01", "DE 03", "60", "DE 03"], 1, 0),
        (["DF 01", "DF 03", "DF 01"], 0, 1),
    ],
)
def test_rule_41_changes_of_f13_to_f28_are_sent_twice(
    packets: list[str], passed: int, undecided: int
) -> None:
    """S-9.2.1 §C: the first one seen may be no change, one overtaken by the next is exempt."""
    found = of(41, *(f"03 {one}" for one in packets), "04 DE FF", IDLE)
    assert (found.measured, found.undecided) == (passed + undecided, undecided)


@pytest.mark.parametrize(("times", "note"), [(1, ""), (2, "1 sent twice in all"), (3, "")])
def test_rule_41_exactly_two_are_told(times: int, note: str) -> None:
    """Of a state that another one followed: another reading asks for three (X38)."""
    found = of(41, "03 DE 00", *["03 DE 01"] * times, *["03 DE 00"] * 3)
    assert (found.verdict, found.note.split(";")[0]) == (PASS, note)
    found = of(41, "03 DE 00", *["03 DE 01"] * times)
    assert found.verdict is (UNDECIDED if times == 1 else PASS)
    assert "twice" not in found.note


def test_rule_41_power_may_go_before_the_second() -> None:
    """After 10 ms without signal all is new; a shorter time changes nothing."""
    change: list[str | int] = ["03 DE 00", "03 DE 01"]
    found = of(41, *change, 12_000, "03 DE 01", "03 DE 01")
    assert (found.verdict, found.measured, found.undecided) == (UNDECIDED, 1, 1)
    assert of(41, *change, 9_000, "03 DE 01").verdict is PASS
    found = of(41, *change, "03 DE 01", 12_000, "03 DE 00", "03 DE 02", "03 DE 02")
    assert (found.verdict, found.measured) == (PASS, 2)


WRITE, AGAIN = "03 EC 1C 26", "03 EC 1C 27"
BIT = "03 E8 1C F5"


@pytest.mark.parametrize(
    ("packets", "passed", "failed", "undecided"),
    [
        ([WRITE, WRITE], 1, 0, 0),
        ([WRITE, IDLE, WRITE], 1, 0, 0),
        ([WRITE, "04 60", "C3 E8 60", WRITE, OTHER], 1, 0, 0),
        ([WRITE, WRITE, WRITE, WRITE], 1, 0, 0),
        ([WRITE, WRITE, OTHER, WRITE, WRITE], 2, 0, 0),
        ([WRITE, OTHER, WRITE], 0, 1, 1),
        ([WRITE, OTHER, WRITE, WRITE], 1, 1, 0),
        ([WRITE, AGAIN, AGAIN], 1, 1, 0),
        ([WRITE, "00 71", WRITE], 0, 0, 1),
        ([WRITE, WRITE, OTHER, "00 71"], 1, 0, 0),
        ([BIT, BIT], 1, 0, 0),
        ([BIT, OTHER], 0, 1, 0),
        (["03 E8 1C E5", OTHER], 0, 0, 0),
        (["03 E4 1C 26", OTHER], 0, 0, 0),
        ([WRITE], 0, 0, 1),
        ([WRITE, SPOILED, WRITE, OTHER], 0, 0, 2),
        ([WRITE, "04 EC 1C 26", "04 EC 1C 26", WRITE], 2, 0, 0),
        ([WRITE, "04 EC 1C 26", "00 71"], 0, 0, 0),
        ([WRITE, "03 3F 01", WRITE, WRITE], 1, 0, 0),
        ([WRITE, "03 3F 00", WRITE, WRITE], 1, 1, 0),
        ([WRITE, "03 61", WRITE, WRITE], 1, 0, 0),
        ([WRITE, "00 40", WRITE, WRITE], 1, 1, 0),
        ([WRITE, WRONG, WRITE, OTHER], 0, 0, 2),
        ([WRITE, "09 60", OTHER, WRITE, WRITE], 1, 1, 0),
    ],
)
def test_rule_42_a_write_is_sent_twice(
    packets: list[str], passed: int, failed: int, undecided: int
) -> None:
    """With nothing else for that decoder, nor for all, between them (S-9.2.1 §C).

    What an emergency stop cancels is not held against the station, and not counted.
    """
    found = of(42, OTHER, "04 60", *packets, session=Session(consists=frozenset({9})))
    assert (found.measured, found.failed, found.undecided) == (
        passed + failed + undecided,
        failed,
        undecided,
    )
    if (failed == 1 and packets[0] != WRITE) or packets[:2] == [WRITE, OTHER]:
        assert found.first_times_ns == (start_of(OTHER, "04 60"),)


@pytest.mark.parametrize(
    ("consists", "verdict"), [(None, NOT_DECIDABLE), ({3}, FAIL), ({4}, PASS), (set(), PASS)]
)
@pytest.mark.parametrize(
    ("number", "text"),
    [(44, WRITE), (44, "03 E4 1C 26"), (44, BIT), (91, "03 07 80"), (91, "03 06 90")],
)
def test_rules_44_and_91_what_is_not_sent_to_consists(
    number: int, text: str, consists: set[int] | None, verdict: Verdict
) -> None:
    """The session tells their addresses (S-9.2.1 §C); a long address is none."""
    session = Session(consists=None if consists is None else frozenset(consists))
    found = of(number, IDLE, text, session=session)
    assert found.verdict is verdict
    if consists is None:
        assert "consists = [...]" in found.note
    elif consists:
        assert of(number, "C0 " + text, "03 07 00", session=session).verdict is NOT_EXERCISED


@pytest.mark.parametrize("sets", ["09 12 03", "C4 E8 13 03", "09 60 12 03"])
@pytest.mark.parametrize(("number", "text"), [(44, WRITE), (91, "03 07 80")])
def test_rules_44_and_91_consists_that_the_recording_sets(
    number: int, text: str, sets: str
) -> None:
    """What the session does not name is in doubt from then on; one dissolved is none."""
    session = Session(consists=frozenset())
    found = of(number, OTHER, sets, text, session=session)
    assert found.verdict is UNDECIDED
    assert "that the recording makes a consist's" in found.note
    assert of(number, OTHER, text, sets, session=session).verdict is PASS
    assert of(number, OTHER, "09 12 00", text, session=session).verdict is PASS
    assert of(number, OTHER, "09 12 04", text, session=session).verdict is PASS
    assert of(number, OTHER, sets, text, session=Session(consists=frozenset({3}))).verdict is FAIL


def test_rule_42_a_consist_that_the_recording_sets() -> None:
    """What is sent to it between the two may be to the decoder, whatever the session says."""
    session = Session(consists=frozenset())
    assert of(42, OTHER, WRITE, "04 60", WRITE, session=session).verdict is PASS
    found = of(42, OTHER, "03 12 04", WRITE, "04 60", WRITE, session=session)
    assert found.verdict is UNDECIDED
    assert "consists = [...]" in found.note
    assert of(42, OTHER, WRITE, "03 12 04", WRITE, session=session).verdict is FAIL


@pytest.mark.parametrize("consists", [{0x70}, {3}])
def test_rule_91_in_a_mode_that_is_not_known(consists: set[int]) -> None:
    """Flags to 112 to 127 are a verify in direct mode, too."""
    session = Session(consists=frozenset(consists))
    verdict = UNDECIDED if consists == {0x70} else PASS
    assert of(91, "70 07 80", session=session).verdict is verdict
    assert of(91, RESET, "70 07 80", session=session).verdict is NOT_EXERCISED
    verdict = FAIL if consists == {0x70} else PASS
    assert of(91, OTHER, "70 07 80", session=session).verdict is verdict


LONG_ALL, SHORT_ALL = "C0 80 00", "DD 80"


@pytest.mark.parametrize(
    ("states", "again"),
    [
        (["DD 81"], 0),
        (["DD 81", "DD 81"], 1),
        (["DD 81", "DD 01", "DD 81"], 0),
        (["DD 81", "DD 82", "60", "DD 81", "DD 81"], 2),
        (["C0 AC 02", "C0 AC 02", "C0 2C 02"], 1),
        (["DD 81", "C0 81 00"], 1),
        ([SHORT_ALL, "DD 81", "DD FF", "C0 AC 02"], 2),
        ([LONG_ALL, "DD 81", "C0 AC 02"], 2),
        ([LONG_ALL, "DD 00", "DD 81", "DD 02", "C0 AC 02"], 2),
        ([SHORT_ALL, SHORT_ALL, LONG_ALL, LONG_ALL], 2),
        ([LONG_ALL, SHORT_ALL, LONG_ALL], 0),
        (["DD 01", SHORT_ALL, "DD 81", SHORT_ALL], 1),
        (["C0 2C 02", SHORT_ALL, "C0 2C 02", LONG_ALL, "C0 2C 02"], 1),
        (["C0 00 01", SHORT_ALL, "C0 00 01"], 1),
        (["DD 7F", SHORT_ALL, "DD 7F"], 0),
    ],
)
def test_rule_89_tells_states_sent_again(states: list[str], again: int) -> None:
    """They are not refreshed (S-9.2.1 §C); that is told, and neither fails nor passes."""
    count = sum(one != "60" for one in states)
    found = of(89, *(f"03 {one}" for one in states), "04 DD 81")
    assert (found.verdict, found.measured, found.failed) == (Verdict.OBSERVED, count + 1, 0)
    note = f"{again} sent again without a change, at once or later" if again else ""
    assert found.note == note
    assert of(89, OTHER).verdict is NOT_EXERCISED


@pytest.mark.parametrize(
    ("after", "verdict"),
    [
        ([IDLE], PASS),
        ([OTHER, "7C 60"], PASS),
        ([30_000, "7C 60"], UNDECIDED),
        ([30_000, "7C 04 05"], UNDECIDED),
        ([30_000, *[SPOILED] * 3, "7C 04 05"], UNDECIDED),
        ([RESET, IDLE], PASS),
        ([RESET, 30_000, "70 60"], UNDECIDED),
        ([30_000, "7C 60 61 62"], PASS),
        ([30_000, RESET, "7C 04 05"], NOT_EXERCISED),
        ([SPOILED, IDLE], UNDECIDED),
        ([SPOILED, "7C 04 05", IDLE], PASS),
        ([SPOILED] * 3 + ["7C 04 05"], UNDECIDED),
        ([], NOT_EXERCISED),
    ],
)
def test_rule_92_after_service_mode(after: list[str | int], verdict: Verdict) -> None:
    """What decoders still in it may take for more of it does not come first (S-9.2.3 §C)."""
    found = of(92, RESET, "7C 04 05", "7C 04 05", *after)
    assert found.verdict is verdict


@pytest.mark.parametrize(
    ("ones", "last", "verdict"),
    [(200, "7C 60", FAIL), (200, "06 F9", FAIL), (200, OTHER, PASS), (150, "7C 60", NOT_EXERCISED)],
)
def test_rule_92_after_20_ms_that_lead_out_of_service_mode(
    ones: int, last: str, verdict: Verdict
) -> None:
    """Ones go on, so power was on; until then the same packets are of service mode."""
    lengths = halves(RESET) + halves("7C 04 05") + halves(last, ones) + halves("7C 04 05", 200)
    edges = np.fromiter(accumulate(lengths, initial=0), np.int64)
    untold = result(check([edges], resolution_ns=1000), 92)
    assert untold.verdict is (PASS if verdict is PASS else UNDECIDED)
    track = Session(programming_track=True)
    found = result(check([edges], resolution_ns=1000, session=track), 92)
    if verdict is NOT_EXERCISED:
        assert (found.verdict, found.measured) == (FAIL, 1)
    else:
        assert (found.verdict, found.measured) == (verdict, 1)
    assert of(92, RESET, "7C 04 05", WRONG, OTHER).verdict is UNDECIDED


@pytest.mark.parametrize("consists", [None, {4, 9}, {9}])
@pytest.mark.parametrize(
    ("between", "of_consist"),
    [("04 60", True), ("04 EC 1C 26", True), ("C4 E8 60", False), ("81 F1", False), (IDLE, False)],
)
def test_rule_42_a_packet_to_the_decoder_s_consist_may_lie_between(
    between: str, of_consist: bool, consists: set[int] | None
) -> None:
    """Consists have short addresses: the session tells which, and any may be one if it does not."""
    session = Session(consists=None if consists is None else frozenset(consists))
    doubt = of_consist and (consists is None or 4 in consists)
    for first in (WRITE, "C3 E8 EC 1C 26"):
        found = of(42, OTHER, "C3 E8 60", first, between, first, session=session)
        lone = UNDECIDED if between == "04 EC 1C 26" else PASS  # a write of its own
        assert found.verdict is (UNDECIDED if doubt else lone)
        assert ("consists = [...]" in found.note) is doubt
        assert of(42, OTHER, "C3 E8 60", between, first, first, session=session).verdict is lone


def test_rule_42_the_first_of_two_may_lie_before_the_recording() -> None:
    """Or may not have been read, or be hidden: until another packet to the decoder is heard."""
    assert of(42, WRITE, OTHER).verdict is UNDECIDED
    assert of(42, IDLE, WRITE, OTHER).note == "1 whose first packet may not have been recorded"
    assert of(42, "04 60", WRITE, OTHER).verdict is UNDECIDED
    assert of(42, OTHER, SPOILED, WRITE, OTHER).verdict is UNDECIDED
    assert of(42, OTHER, 12_000, WRITE, OTHER).verdict is UNDECIDED
    assert of(42, "00 71", WRITE, OTHER).verdict is FAIL
    assert of(42, OTHER, IDLE, WRITE, OTHER).verdict is FAIL


@pytest.mark.parametrize(
    ("before", "after", "number", "lasts", "verdict"),
    [
        *[(WRITE, WRITE, 42, 3000, UNDECIDED), (WRITE, WRITE, 42, 2900, PASS)],
        *[(RESET, "64 60", 21, 1000, FAIL), (RESET, OTHER, 21, 19_000, UNDECIDED)],
        *[("05 00", "6F 60", 38, 1000, NOT_EXERCISED), ("05 00", "70 60", 38, 1000, FAIL)],
        *[("05 00", "70 60 61 62", 38, 48_000, FAIL), ("05 00", "70 60", 38, 51_000, UNDECIDED)],
    ],
)
def test_a_stretch_without_a_level_hides_packets(
    before: str, after: str, number: int, lasts: int, verdict: Verdict
) -> None:
    """If it lasts long enough to cover one from its start bit to its last 0."""
    one = np.fromiter(accumulate(halves(before), initial=0), np.int64)
    start = int(one[-1]) + 40_000
    end = start + 1000 * lasts
    two = np.fromiter(accumulate(halves(after), initial=end), np.int64)
    report = check([Chunk(one, (start, end)), Chunk(two)], resolution_ns=1000)
    assert result(report, number).verdict is verdict


@pytest.mark.parametrize(("cut", "verdict"), [(0, PASS), (30, UNDECIDED), (60, UNDECIDED)])
def test_what_a_stretch_without_a_level_leaves_of_a_packet_is_missed(
    cut: int, verdict: Verdict
) -> None:
    """Its end, as its begin, says that there was one."""
    one = np.fromiter(accumulate(halves(WRITE), initial=0), np.int64)
    start = int(one[-1]) + 40_000
    end = start + 500_000
    lengths = halves("04 60")[cut:] + halves(WRITE)
    two = np.fromiter(accumulate(lengths, initial=end), np.int64)
    session = Session(consists=frozenset())
    report = check([Chunk(one, (start, end)), Chunk(two)], resolution_ns=1000, session=session)
    assert result(report, 42).verdict is verdict


CODES = st.sampled_from(
    [
        *[RESET, IDLE, OTHER, WRITE, AGAIN, BIT, SPOILED, "7C 04 05", "70 60", "64 60", "05 00"],
        *["03 DE 01", "03 DE 02", "03 DF 01", "00 71", "03 02", "7C 60 61 62", "70 F9", "06 F9"],
    ]
)


@settings(max_examples=60)
@given(packets=st.lists(CODES, min_size=1, max_size=25), cut=st.floats(0, 1))
def test_packets_judged_in_chunks_are_judged_alike(packets: list[str], cut: float) -> None:
    """Wherever the edges are cut, every rule says the same."""
    lengths = [length for one in packets for length in halves(one)]
    edges = np.fromiter(accumulate(lengths, initial=0), np.int64)
    at = int(cut * len(edges))
    one, two = (
        list(check(chunks, resolution_ns=1000).to_dicts())
        for chunks in ([edges], [edges[:at], edges[at:]])
    )
    assert one == two


EVERY = Session(every_30_ms=True)


@pytest.mark.parametrize(
    ("apart", "verdict"), [(29_999, PASS), (30_000, UNDECIDED), (30_001, FAIL)]
)
def test_rule_22_start_to_start(apart: int, verdict: Verdict) -> None:
    """30 ms, where the station is set so (S-9.2 §C; C12), give or take 1 µs."""
    # Stretched zeros fill the time: a level that holds longer than 10 ms would be silence.
    lengths = halves(OTHER) + halves(IDLE)
    zeros = [place for place, length in enumerate(lengths[:84]) if length == 99_000]
    left = 1000 * apart - sum(halves(OTHER))
    for place in zeros[2:8]:
        lengths[place] += left // 6
    lengths[zeros[8]] += left % 6
    edges = np.fromiter(accumulate(lengths, initial=0), np.int64)
    for session, expected in (
        (EVERY, verdict),
        (None, NOT_DECIDABLE),
        (Session(every_30_ms=False), NOT_EXERCISED),
    ):
        report = check([edges], resolution_ns=1000, session=session)
        found = result(report, 22)
        assert found.verdict is expected
        if session is not None and session.every_30_ms:
            assert (found.measured, found.worst) == (1, f"{apart} us")
        elif session is None:
            assert found.worst == f"{apart} us"
            assert "every_30_ms = true" in found.note


@pytest.mark.parametrize(
    ("power", "verdict"),
    [
        (None, UNDECIDED),
        ((), FAIL),
        ((0,), FAIL),
        ((20_000_000,), UNDECIDED),
    ],
)
def test_rule_22_across_silence(power: tuple[int, ...] | None, verdict: Verdict) -> None:
    """It may be the station's, or its power switched off: the session tells when it came on."""
    session = Session(every_30_ms=True, power_on_ns=power)
    assert of(22, IDLE, 31_000, IDLE, session=session).verdict is verdict
    assert of(22, IDLE, 11_000, IDLE, session=session).verdict is PASS


def test_a_power_on_is_told_to_a_tenth_of_a_second() -> None:
    """So it may be told a little behind the packets that follow it, and no more than that."""
    packets = [IDLE, IDLE, 35_000, *[IDLE] * 30]
    for behind_ms, verdict in ((0, UNDECIDED), (99, UNDECIDED), (101, FAIL)):
        at = (2 * 6 + 35 + behind_ms) * 1_000_000
        session = Session(every_30_ms=True, power_on_ns=(at,))
        assert of(22, *packets, session=session).verdict is verdict, behind_ms


@pytest.mark.parametrize("middle", [SPOILED, WRONG, "gap"])
def test_rule_22_what_was_not_heard_may_be_a_packet(middle: str) -> None:
    """What could not be read, and a stretch without a level."""
    if middle == "gap":
        one = np.fromiter(accumulate(halves(IDLE), initial=0), np.int64)
        start = int(one[-1]) + 40_000
        two = np.fromiter(accumulate(halves(IDLE), initial=start + 40 * 10**6), np.int64)
        chunks = [Chunk(one, (start, start + 40 * 10**6)), Chunk(two)]
        report = check(chunks, resolution_ns=1000, session=EVERY)
        assert result(report, 22).verdict is UNDECIDED
    else:
        assert of(22, IDLE, *[middle] * 6, IDLE, session=EVERY).verdict is UNDECIDED
        assert of(22, IDLE, middle, IDLE, session=EVERY).verdict is PASS


@pytest.mark.parametrize(
    ("packets", "measured"),
    [
        ([IDLE, WRITE, IDLE], 2),
        ([IDLE, IDLE, WRITE], 1),
        ([WRITE, IDLE, IDLE], 1),
        ([IDLE, "C3 E8 EC 1C 26", IDLE, IDLE], 2),
        ([IDLE, "03 F2 05", IDLE], 0),
        ([IDLE, "81 F1 EC 1C 26", IDLE], 0),
        ([IDLE, "C3 E8 60", "03 60", IDLE], 0),
        ([IDLE, "03 E4", IDLE], 0),
        ([IDLE, "C3 E8 E4 1C", IDLE], 2),
        ([RESET, "70 E4", "70 E4", "7C E0 05", RESET], 0),
        ([IDLE, "70 E4 1C 26", IDLE], 2),
    ],
)
def test_rule_43_around_cv_access_in_the_long_form(packets: list[str], measured: int) -> None:
    """Of 5 and of 6 bytes (S-9.2.1 §C footnote 7), to multi-function decoders."""
    found = of(43, *packets, session=EVERY)
    assert (found.measured, found.verdict) == (measured, PASS if measured else NOT_EXERCISED)
    assert of(43, *packets).verdict is NOT_DECIDABLE
