"""Rules 29 to 37, 40 and 88: addresses and instruction codes, typed in from the texts."""

from __future__ import annotations

from functools import reduce
from operator import xor

import pytest
from conformance_helpers import PLAIN, edges_of, lengths_of
from hypothesis import example, given
from hypothesis import strategies as st

from dccwire import Mode
from dccwire.conformance import RULES, Force, Session, Verdict, check
from dccwire.conformance.rules import Outcome, Sent
from dccwire.conformance.session import Access

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
LATER = {0x3C, 0xC1, 0xC2, *range(0xD8, 0xDD), *range(0xF4, 0xF7)}
"""From memory: RCN-212, RCN-211 and RCN-214."""


def whole(text: str) -> bytes:
    """Bytes in hex with their exclusive OR."""
    data = bytes.fromhex(text)
    return data + bytes([reduce(xor, data)])


def said(number: int, text: str, mode: Mode | None = Mode.OPERATIONS) -> Outcome | None:
    """What a rule says of a packet; of one of service mode, on a programming track."""
    return RULES[number].judge(Sent(whole(text), mode), track=mode is Mode.SERVICE or None)


def verdict(number: int, text: str, mode: Mode | None = Mode.OPERATIONS) -> Verdict | None:
    """The verdict alone; None where the rule is not about it."""
    outcome = said(number, text, mode)
    return None if outcome is None else outcome.verdict


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        *[("C0 03 60", PASS), ("E7 FF 60", PASS), ("C0 60", FAIL), ("E7 60", FAIL)],
        *[("BF 60", None), ("E8 60", None), ("03 60", None), ("C3 E8 3F 85", PASS)],
    ],
)
def test_rule_29_long_addresses_have_two_bytes(text: str, expected: Verdict | None) -> None:
    """First byte 192 to 231: a second one, and an instruction (S-9.2.1 §C)."""
    assert verdict(29, text) is expected


DEFINED = {
    *(0x00, 0x01, 0x02, 0x03, 0x06, 0x07, 0x0A, 0x0B, 0x0E, 0x0F),
    *(0x12, 0x13, 0x3D, 0x3E, 0x3F),
    *range(0x40, 0xC0),
    *(0xC0, 0xDD, 0xDE, 0xDF, *range(0xE4, 0xF0), 0xF2, 0xF3, 0xF9),
}
"""S-9.2.1 §C: what the row of rule 30 does not name as reserved."""


@pytest.mark.parametrize("address", ["03", "C3E8"])
def test_rule_30_every_code(address: str) -> None:
    """Reserved ones fail, those of later additions are told; the rest passes, whatever follows.

    Those of consist control are demanded, the others derived. What is cut short is undecided.
    """
    for code in range(256):
        for rest in ("", "00", "40 40", "0B"):
            text = f"{address} {code:02X} {rest}"
            outcome = said(30, text)
            assert outcome is not None
            if code in LATER:
                assert outcome.verdict is not FAIL, text
                assert "perhaps defined later (from memory)" in outcome.note
            else:
                assert (outcome.verdict is not FAIL) is (code in DEFINED), text
                cut = "cut short" in outcome.note
                assert cut is (outcome.verdict is UNDECIDED), text
                if outcome.verdict is FAIL:
                    assert outcome.force is (Force.SHALL if code >> 4 == 1 else None)


@pytest.mark.parametrize("text", ["05 12", "05 DE", "05 3F", "05 C0 80", "05 EC 00", "C3 E8 12"])
def test_rule_30_what_is_cut_short_is_undecided(text: str) -> None:
    """It opens as a defined instruction does, and is none."""
    assert verdict(30, text) is UNDECIDED


def test_rule_30_the_longer_cv_access_is_told() -> None:
    """Bytes that may be one later instruction, whatever they are read as (from memory)."""
    outcome = said(30, "05 E4 00 00 01")
    assert outcome is not None
    assert "perhaps defined later (from memory)" in outcome.note


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        *[("81 F1 E0 07 05", FAIL), ("81 F1 E4 07 05", PASS), ("81 F1 EC 07 05", PASS)],
        *[("81 F1 E3 07 05", FAIL), ("81 71 E0 07 05", FAIL), ("81 71 E8 07 F5", PASS)],
        *[("81 F1", None), ("81 F1 D0 07 05", None), ("FF 00", None), ("E9 40", None)],
    ],
)
def test_rule_30_accessory_cv_access(text: str, expected: Verdict | None) -> None:
    """CC = 00 is reserved there too (S-9.2.1 §D)."""
    assert verdict(30, text) is expected


@pytest.mark.parametrize(
    ("number", "text", "expected"),
    [
        *[(31, "03 12 49", PASS), (31, "03 13 49", PASS), (31, "03 12 C9", FAIL)],
        *[(31, "03 13 80", FAIL), (31, "03 12", None), (31, "03 11 80", None)],
        *[(31, "03 60", None), (31, "03 60 13 80", FAIL), (31, "03 60 13 00", PASS)],
        *[(32, "03 06 00", PASS), (32, "03 07 50", PASS), (32, "03 07 08", FAIL)],
        *[(32, "03 07 F7", PASS), (32, "03 07 10", FAIL), (32, "03 06 88", FAIL)],
        *[(32, "03 07", None), (32, "03 05 08", None)],
        *[(33, "03 3D 01 64", PASS), (33, "03 3D 02 64", FAIL), (33, "03 3D 00 64", FAIL)],
        *[(33, "03 3D 01", None), (33, "03 3F 02", None)],
        *[(34, "03 E8 07 E5", PASS), (34, "03 E8 07 F5", PASS), (34, "03 E8 07 C5", FAIL)],
        *[(34, "03 EB FF 65", FAIL), (34, "03 EC 07 C5", None), (34, "03 E8 07", None)],
        *[(40, "03 C0 80 01", PASS), (40, "03 C0 81 00", FAIL), (40, "03 C0 FF 00", FAIL)],
        *[(40, "03 C0 00 00", PASS), (40, "03 C0 01 01", PASS), (40, "03 DD 81", None)],
        *[(40, "03 60 C0 01 00", FAIL)],
    ],
)
def test_forms_of_instructions(number: int, text: str, expected: Verdict | None) -> None:
    """Bytes that open as a form does and are of its length are one, or fail (S-9.2.1 §C)."""
    assert verdict(number, text) is expected


@pytest.mark.parametrize(
    ("number", "one", "other"),
    [
        *[(35, "00", "01"), (35, "12 05", "0B"), (35, "06 00", "0A")],
        *[(36, "3F 85", "3E 05"), (37, "F2 05", "F3 05")],
    ],
)
def test_rules_35_to_37_one_instruction_of_a_group(number: int, one: str, other: str) -> None:
    """Of group 000, 001 and 111 (S-9.2.1 §C); others may stand beside it."""
    assert said(number, f"03 {one}") == Outcome(PASS, 1)
    assert said(number, f"03 60 {one}") == Outcome(PASS, 1)
    assert said(number, f"03 {one} {other}") == Outcome(FAIL, 2)
    assert said(number, "03 60 80") is None
    assert all(verdict(n, f"03 {one}") is None for n in {35, 36, 37} - {number})


def test_an_acknowledgement_request_does_not_count() -> None:
    """0F alone is exempt (S-9.2.1 §C); what 0E means is open (X10)."""
    assert verdict(35, "03 00 0F") is PASS
    assert verdict(35, "03 0F 0F") is None
    assert verdict(35, "03 00 0E") is UNDECIDED
    assert verdict(35, "03 0E 0E") is UNDECIDED
    assert verdict(35, "03 00 0A 0E") is FAIL
    assert verdict(35, "03 0E") is PASS


@pytest.mark.parametrize(
    ("number", "text", "expected"),
    [
        *[(35, "03 C5 00", None), (35, "03 C5 00 01", UNDECIDED), (35, "03 00 C5 00", UNDECIDED)],
        *[(35, "03 00 C5", PASS), (36, "03 20 05", UNDECIDED), (36, "03 20", PASS)],
        *[(37, "03 F0 05 05", UNDECIDED), (35, "03 00 04", FAIL), (36, "03 3F 85 21", FAIL)],
    ],
)
def test_behind_an_unknown_instruction_it_is_undecided(
    number: int, text: str, expected: Verdict | None
) -> None:
    """How long that is, and whether the bytes behind it are instructions, nobody knows."""
    assert verdict(number, text) is expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        *[("00 00", PASS), ("00 71", PASS), ("00 01 71", FAIL), ("00 60 80", FAIL)],
        *[("00 C1 05 05 05", UNDECIDED), ("00 04", PASS), ("00 60 04", FAIL), ("03 60 80", None)],
    ],
)
def test_rule_88_one_instruction_to_all(text: str, expected: Verdict | None) -> None:
    """S-9.2.1 §B."""
    found = verdict(88, text)
    assert found is expected or (expected is UNDECIDED and found is not FAIL)


@pytest.mark.parametrize("number", [30, 31, 35, 36])
def test_packets_of_service_mode_hold_no_instructions(number: int) -> None:
    """0111.... carries registers there; where the mode is not known, a failure is undecided."""
    text = {30: "7C 04", 31: "7C 13 80", 35: "7C 00 01", 36: "7C 3F 85 3F 85"}[number]
    assert verdict(number, text) is FAIL
    assert verdict(number, text, Mode.SERVICE) is None
    outcome = said(number, text, None)
    assert outcome is not None
    assert outcome.verdict is UNDECIDED
    assert "service mode, perhaps" in outcome.note


def test_the_mode_of_a_recording_decides() -> None:
    """At its begin it is not known; after a reset 112 to 127 are service mode (S-9.2.3 §C)."""
    wrong = "7C 04 78"

    def of(*data: str) -> Verdict:
        report = check([edges_of(lengths_of(*data, preamble=20))], resolution_ns=1000, rules=(30,))
        return report.results[0].verdict

    assert of(wrong, wrong) is UNDECIDED
    assert of("03 60 63", wrong) is FAIL
    assert of("03 60 63", "00 00 00", wrong) is PASS
    assert of("00 00 00", "7C 00 7C", wrong, "FF 00 FF", wrong) is FAIL


FIRST = st.sampled_from([0, 3, 112, 127, 128, 191, 192, 231, 232, 255])


@given(first=FIRST, rest=st.binary(min_size=1, max_size=6), right=st.booleans(), data=st.data())
def test_no_bytes_make_a_rule_raise(
    first: int, rest: bytes, right: bool, data: st.DataObject
) -> None:
    """Any bytes, in any mode, with a right error byte or a wrong one."""
    packet = bytes([first]) + rest
    packet += bytes([reduce(xor, packet) ^ (not right)])
    mode = data.draw(st.sampled_from([Mode.OPERATIONS, Mode.SERVICE, None]))
    for one in RULES.values():
        outcome = one.judge(Sent(packet, mode))
        assert outcome is None or isinstance(outcome, Outcome)
        if outcome is not None and not right and one.number not in (16, 27):
            raise AssertionError(one.number)


SOME_PACKETS = st.builds(
    lambda first, rest, flip: (first, *rest, first ^ reduce(xor, rest) ^ flip),
    first=st.one_of(FIRST, st.integers(112, 127), st.integers(0, 255)),
    rest=st.one_of(st.binary(min_size=1, max_size=4), st.sampled_from([b"\0", b"\1", b"\xf9\5"])),
    flip=st.sampled_from([0, 0, 0, 1]),
).map(bytes)
"""Three to six bytes, the first of which mostly means something of its own, some of them wrong."""

SESSIONS = st.builds(
    Session,
    programming_track=st.sampled_from([None, True, False]),
    factory=st.sampled_from([None, True, False]),
    access=st.sampled_from([None, *Access]),
)


@given(
    packets=st.lists(st.one_of(st.just(bytes(3)), SOME_PACKETS), min_size=1, max_size=12),
    cut=st.floats(0, 1),
    session=SESSIONS,
)
@example([bytes(3), b"\x81\x08\x89", b"\0\x3c\x3c", bytes(3)], 0.5, Session())
def test_packets_judged_in_chunks_are_judged_alike(
    packets: list[bytes], cut: float, session: Session
) -> None:
    """Wherever the edges are cut, to the order of the notes; and nothing raises."""
    edges = edges_of(lengths_of(PLAIN, *packets, preamble=20))
    at = int(cut * len(edges))
    one, two = (
        list(check(chunks, resolution_ns=1000, session=session).to_dicts())
        for chunks in ([edges], [edges[:at], edges[at:]])
    )
    assert one == two


@pytest.mark.parametrize(
    ("number", "text"),
    [
        *[(30, "03 E4 00 07 04"), (30, "00 EC 00 07 04"), (35, "03 E4 00 07 04")],
        *[(37, "03 E4 00 07 E2"), (37, "7F EF 00 07 F2"), (88, "00 E4 00 07 60")],
        *[(34, "03 E8 07 C5 00"), (18, "00 EC 00 07 04"), (18, "00 E8 07 C5 00")],
    ],
)
def test_what_may_be_the_longer_cv_access_never_fails(number: int, text: str) -> None:
    """From memory (RCN-214): four bytes at a short address or to all, CC other than 00."""
    assert verdict(number, text) is not FAIL
    outcome = said(number, text)
    assert outcome is None or outcome.verdict is PASS or "from memory" in outcome.note


@pytest.mark.parametrize(
    ("number", "text"),
    [
        *[(30, "03 E0 00 07 04"), (30, "03 60 60 60 04"), (37, "03 F2 07 F3 07")],
        *[(88, "00 F2 07 F3 07"), (88, "00 60 E4 00 04")],
        *[(18, "00 E0 00 07 04"), (18, "00 60 E0 00 04")],
    ],
)
def test_what_cannot_be_the_longer_cv_access_fails(number: int, text: str) -> None:
    """CC = 00, another code, or one that stands behind an instruction."""
    assert verdict(number, text) is FAIL


@pytest.mark.parametrize(
    ("number", "text"), [(36, "03 3F 85 3C 05"), (37, "03 F2 05 F4"), (37, "03 F4 05 05 F2")]
)
def test_codes_of_later_additions_are_no_second_instruction(number: int, text: str) -> None:
    """From memory, in several lengths: what they hide is undecided."""
    outcome = said(number, text)
    assert outcome == Outcome(UNDECIDED, note="perhaps defined later (from memory)")


@pytest.mark.parametrize("number", [30, 31, 35, 36, 37, 88])
@pytest.mark.parametrize("mode", [Mode.OPERATIONS, None])
def test_a_decoder_lock_is_no_packet_of_instructions(number: int, mode: Mode | None) -> None:
    """It is a whole packet of its own (S-9.2.3 Appendix B); with a bit 7 it is none."""
    assert said(number, "00 F9 05", mode) is None
    assert (said(number, "00 F9 85", mode) is None) == (number in (31, 35, 36))


def test_rule_30_tells_an_accessory_s_no_operation() -> None:
    """From memory (RCN-213): three bytes that ask for a reply."""
    told = Outcome(PASS, note="of a form perhaps defined later (from memory)")
    assert said(30, "81 79") == told
    assert said(30, "81 71") is None
