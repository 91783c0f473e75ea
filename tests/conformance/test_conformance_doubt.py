"""What one recording cannot tell, and is left open: modes, consists that change, what came before.

Each recording here keeps its rules in one way to see it, and breaks them in another.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from conformance_helpers import edges_of, lengths_of, result
from test_conformance_codes import whole as checked

from dccwire import LongAddress, ShortAddress
from dccwire.conformance import Expectation, Locomotive, Report, Session, Verdict, check
from dccwire.conformance.session import Access
from dccwire.errors import ErrorByteError
from dccwire.pytest_plugin import assert_sent
from dccwire.recordings import Chunk

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
IDLE, RESET = "FF 00 FF", "00 00 00"


def whole(text: str) -> str:
    """The bytes with their error byte, as text."""
    return checked(text).hex(" ").upper()


def of(*packets: str, session: Session | None = None, preamble: int = 16) -> Report:
    """The report on packets, error bytes included."""
    lengths = lengths_of(*packets, preamble=preamble)
    return check([edges_of(lengths)], session=session, resolution_ns=1000)


WRITE, TO_7, TO_9 = (whole(one) for one in ("03 EC 1C 26", "07 60", "09 60"))


@pytest.mark.parametrize("track", [None, True])
def test_what_may_be_direct_access_is_no_certain_decoder_reset(track: bool | None) -> None:
    """74 00 03 verifies CV 1 in direct mode, or would reset a decoder at 116 (rule 38)."""
    verify, later = whole("74 00 03"), whole("71 EC 05 05")
    packets = [*[verify] * 5, IDLE, IDLE, later, IDLE, later, *[IDLE] * 5]
    report = of(*packets, session=Session(programming_track=track), preamble=20)
    assert result(report, 38).verdict is not FAIL
    surely = whole("03 00"), *[IDLE] * 2, later
    assert result(of(*surely, session=Session(programming_track=False)), 38).verdict is FAIL


def in_consist(number: int | None) -> Session:
    """Locomotive 3, in a consist or in none; all other consists are told."""
    one = Locomotive(ShortAddress(3), consist=number)
    return Session(consists=frozenset(), locomotives=(one, Locomotive(LongAddress(9999))))


@pytest.mark.parametrize(
    ("number", "change", "between"),
    [
        (0, "03 12 09", TO_9),
        (7, "03 12 09", TO_9),
        (0, "03 EC 12 09", TO_9),  # CV 19 on the main
        (7, "03 12 00", TO_7),
        (7, "03 12 09", TO_7),
        (7, "03 01", TO_7),  # a hard reset
        (7, "00 01", TO_7),  # of all
        (7, "03 E8 12 F0", TO_7),  # a bit of CV 19
    ],
)
def test_rule_42_a_consist_that_the_recording_changes(
    number: int, change: str, between: str
) -> None:
    """Whether the packet between is for the same decoder is not known any more."""
    session = in_consist(number)
    changed = whole(change)
    report = of(changed, changed, IDLE, WRITE, between, WRITE, IDLE, session=session)
    assert result(report, 42).verdict is UNDECIDED


def test_rule_42_the_same_consist_again_changes_nothing() -> None:
    """It is still the session's."""
    again = whole("03 12 07")
    report = of(again, again, IDLE, WRITE, TO_7, WRITE, IDLE, session=in_consist(7))
    assert result(report, 42).verdict is FAIL


@pytest.mark.parametrize(("rule", "to_it"), [(44, "07 EC 1C 26"), (91, "07 07 80")])
def test_rules_44_and_91_where_the_last_one_has_left(rule: int, to_it: str) -> None:
    """Unless the session names the consist by itself, or another one stays in it."""
    leaves, written = whole("03 12 00"), whole(to_it)
    one, other = (Locomotive(ShortAddress(number), consist=7) for number in (3, 4))
    for session, verdict in (
        (Session(locomotives=(one,)), UNDECIDED),
        (Session(locomotives=(one, other)), FAIL),
        (Session(locomotives=(one,), consists=frozenset({7})), FAIL),
    ):
        report = of(leaves, IDLE, leaves, IDLE, written, IDLE, written, session=session)
        assert result(report, rule).verdict is verdict


def test_bytes_are_sent_in_whichever_mode() -> None:
    """A packet of a programming track, by its bytes alone."""
    verify = "74 1C 06 6E"
    packets = [*[IDLE] * 20, *[RESET] * 3, *[verify] * 5, *[IDLE] * 3]
    edges = edges_of(lengths_of(*packets, preamble=20))
    found = assert_sent(edges, bytes.fromhex(verify), times=5, resolution_ns=1000)
    assert (found.verdict, found.count) == (PASS, 5)
    assert str(found.expectation) == "74 1C 06 6E, exactly 5, 0 s to the end"
    never = Expectation(at_least=0, at_most=0, packet=bytes.fromhex(verify))
    report = check([edges], session=Session(expectations=(never,)), resolution_ns=1000)
    assert report.expectations[0].verdict is FAIL
    near = Expectation(packet=bytes.fromhex("741C076F"))
    report = check([edges], session=Session(expectations=(near,)), resolution_ns=1000)
    assert "differs in byte 2 bit 0" in report.expectations[0].nearest
    other = Expectation(packet=bytes.fromhex("03606F")[:2] + b"\x63")
    report = check([edges], session=Session(expectations=(other,)), resolution_ns=1000)
    assert (report.expectations[0].verdict, report.expectations[0].nearest) == (FAIL, "")
    with pytest.raises(ErrorByteError):
        Expectation(packet=b"\x03\x60\x60")


def test_a_recording_that_begins_without_a_level_is_not_known_there(tmp_path: Path) -> None:
    """It is a stretch without a level as any other: what came then is not recorded."""
    edges = edges_of(lengths_of(*[RESET] * 3, *[IDLE] * 5, whole("03 60"), IDLE), 10**9).tolist()
    head = "$timescale 1 ns $end\n$var wire 1 ! track $end\n$enddefinitions $end\n#0\nx!\n"
    rows = (f"#{time}\n{place % 2}!\n" for place, time in enumerate([10**9 - 58_000, *edges]))
    path = tmp_path / "late.vcd"
    path.write_text(head + "".join(rows), "utf-8")
    none = Expectation(ShortAddress(5), at_least=0, at_most=0)
    early = Expectation(ShortAddress(5), until_ns=900_000_000)
    session = Session(
        programming_track=False, power_on_ns=(200_000_000,), new=True, expectations=(none, early)
    )
    report = check(path, session=session)
    assert [one.verdict for one in report.expectations] == [UNDECIDED, UNDECIDED]
    assert result(report, 86).verdict is UNDECIDED


@pytest.mark.parametrize("lost", [True, False])
def test_rule_74_a_page_that_could_not_be_read_may_be_written_anew(lost: bool) -> None:
    """Behind a power cycle, by packets whose error bytes read wrong."""
    page, data = whole("7D 05"), whole("71 07")
    wrong = f"{whole('7D 09')[:5]} 00"
    first = [*[IDLE] * 20, *[RESET] * 3, *[page] * 5, *[RESET] * 9, *[data] * 5, *[RESET] * 6]
    again = [
        *[IDLE] * 20,
        *[RESET] * 3,
        *[wrong] * 5 * lost,
        *[RESET] * 9,
        *[data] * 5,
        *[IDLE] * 3,
    ]
    one = edges_of(lengths_of(*first, preamble=20))
    off, on = int(one[-1]), int(one[-1]) + 250_000_000
    two = edges_of(lengths_of(*again, preamble=20), off + 300_000_000)
    session = Session(programming_track=True, access=Access.PAGED, power_on_ns=(0, on))
    report = check([np.concatenate([one, two])], session=session, resolution_ns=1000)
    assert result(report, 74).verdict is (UNDECIDED if lost else FAIL)


@pytest.mark.parametrize(("rule", "first"), [(49, True), (51, True), (49, False), (51, False)])
def test_a_locomotive_at_112_may_run_where_the_recording_begins(rule: int, first: bool) -> None:
    """On a programming track, with short preambles: nothing leads to service mode (S-9.2.3 §C)."""
    packets = [*[IDLE] * (0 if first else 20), *[whole("70 60"), IDLE] * 10]
    report = of(*packets, session=Session(programming_track=True))
    assert result(report, rule).verdict is not FAIL


@pytest.mark.parametrize(
    ("rule", "packet"),
    [
        (30, "03 D8 20 10"),
        (30, "03 F4 08 01 10"),
        (31, "03 D9 01 13 85"),
        (30, "03 DC 01 04"),
        (88, "00 D8 20 00"),
    ],
)
def test_what_stands_behind_a_later_form_fails_nothing(rule: int, packet: str) -> None:
    """Where such a form ends is known from memory alone."""
    found = result(of(*[IDLE] * 3, whole(packet), *[IDLE] * 3), rule)
    assert found.verdict is UNDECIDED
    assert "defined later (from memory)" in found.note


def test_a_decoder_lock_needs_no_reset_that_a_text_asks_for() -> None:
    """Rule 51: Appendix B is silent."""
    lock = whole("00 F9 03")
    session = Session(programming_track=True)
    report = of(*[IDLE] * 20, *[lock] * 5, *[IDLE] * 5, session=session, preamble=20)
    assert result(report, 51).verdict is not FAIL


def test_rule_23_where_the_same_packets_may_be_of_service_mode() -> None:
    """Two to 112, close together behind a reset: 21 and 38 leave it open, and so does this."""
    one, two = whole("70 80"), whole("70 81")
    packets = [*[IDLE] * 4, one, *[IDLE] * 3, one, *[IDLE] * 3, RESET, two, two, *[IDLE] * 6]
    for track, verdict in ((None, UNDECIDED), (False, FAIL)):
        report = of(*packets, session=Session(programming_track=track))
        assert result(report, 23).verdict is verdict
    assert result(of(*packets[:9], IDLE), 23).verdict is PASS


@pytest.mark.parametrize(
    ("resets", "preamble", "verdict"),
    [(1, 20, UNDECIDED), (2, 20, UNDECIDED), (3, 20, FAIL), (3, 16, UNDECIDED)],
)
@pytest.mark.parametrize("between", [(), (IDLE,)])
def test_three_resets_and_long_preambles_show_service_mode(
    resets: int, preamble: int, verdict: Verdict, between: tuple[str, ...]
) -> None:
    """Nothing to 116 was sent where all is of service mode (S-9.2.3 §E); fewer leave it open."""
    verify = [whole("74 1C 06")] * 5
    sent = [*[IDLE] * 3, *[RESET] * resets, *verify, RESET, *verify, *[IDLE] * 3]
    asked = Expectation(ShortAddress(116), until_ns=10**8)
    for track, told in ((None, verdict), (True, FAIL)):
        session = Session(programming_track=track, expectations=(asked,))
        (one,) = of(*sent, session=session, preamble=preamble).expectations
        assert one.verdict is told
    read = Expectation(None, "DirectByteAccess operation=verify cv=29", at_least=10, at_most=10)
    (one,) = of(*sent, session=Session(expectations=(read,)), preamble=preamble).expectations
    assert one.verdict is (PASS if verdict is FAIL else UNDECIDED)
    lost = [*sent[:5], *between, *sent[5:]]
    (one,) = of(*lost, session=Session(expectations=(read,)), preamble=preamble).expectations
    assert one.verdict is (UNDECIDED if between or verdict is not FAIL else PASS)


@pytest.mark.parametrize("track", [None, True, False])
def test_a_locomotive_at_125_leaves_no_page(track: bool | None) -> None:
    """7D 68 15 is a speed, or a write of the page register, where the recording begins (P10)."""
    sent = whole("7D 68"), IDLE, whole("05 77"), IDLE, whole("7D 68"), IDLE
    report = of(*sent, session=Session(programming_track=track))
    assert result(report, 73).verdict in (UNDECIDED, Verdict.NOT_EXERCISED)


def test_a_page_preset_may_lie_where_no_level_is() -> None:
    """The last write of the page register, behind which a right session ends (rule 73)."""
    page, preset = [whole("7D 03")] * 5, [whole("7D 01")] * 5
    verify = [whole("71 05")] * 5
    first = [IDLE] * 20 + [RESET] * 3 + page + [RESET] * 9 + verify
    hidden = [RESET] * 3 + preset + [RESET] * 6
    last = [IDLE] * 4 + [whole("03 45"), IDLE]
    session = Session(programming_track=True)
    for middle, verdict in ((hidden, UNDECIDED), ([], FAIL)):
        one = edges_of(lengths_of(*first, preamble=20))
        lasts = sum(lengths_of(*middle, preamble=20))
        two = edges_of(lengths_of(*last, preamble=20), int(one[-1]) + lasts)
        gap = (int(one[-1]) + 30_000, int(two[0]) - 30_000) if middle else None
        chunks = [Chunk(one, gap), Chunk(two[not middle :])]
        report = check(chunks, session=session, resolution_ns=1000)
        assert result(report, 73).verdict is verdict


def test_what_the_session_says_is_not_asked_for() -> None:
    """A packet to 112 alone, on a programming track: a locomotive's, perhaps (rule 51)."""
    one = whole("70 12 50")
    for sent, track, asked in (((RESET, one), None, True), ((IDLE, one), True, False)):
        report = of(*sent, session=Session(programming_track=track), preamble=20)
        assert ("say it in the session" in report.text(every=True)) is asked
