"""Rules on the sequences of S-9.2.3: counts, resets, recovery, pages, pauses, preambles."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import cycle
from typing import Any

import pytest
from conformance_helpers import SAMPLED_NS, edges_of, lengths_of, result
from hypothesis import example, given, settings
from hypothesis import strategies as st
from test_conformance_packets import with_error_byte

from dccwire.conformance import Report, RuleResult, Verdict, check
from dccwire.conformance.session import Access, Session
from dccwire.programming import (
    AddressOnly,
    Answer,
    DirectCv,
    PagedCv,
    Register,
    Setup,
    address_query,
    conversation,
    decoder_lock,
    factory_reset,
    find_direct_mode,
    read_byte,
    verify_bit,
    verify_byte,
    write_bit,
    write_byte,
)
from dccwire.programming import Session as Programming
from dccwire.recordings import Chunk

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED, NOT_DECIDABLE = Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE
OBSERVED = Verdict.OBSERVED

PACKETS = {
    name: with_error_byte(body)
    for name, body in {
        "r": "0000",  # reset
        "i": "FF00",  # idle
        "h": "0001",  # hard reset to all
        "s": "0368",  # speed of locomotive 3
        "v": "741C26",  # direct mode: verify CV 29
        "V": "741C20",  # another value
        "a": "74070D",  # CV 8
        "Z": "740003",  # CV 1
        "w": "7C1C26",  # write CV 29
        "W": "7C1C20",  # another value
        "b": "781CE9",  # verify bit 1 of CV 29
        "x": "701C26",  # not defined
        "p": "7D01",  # page preset
        "P": "7D08",  # page 8
        "c": "7508",  # verify page 8
        "1": "7003",  # verify register 1, or data register 0, or the address
        "2": "7103",  # verify register 2, or data register 1
        "4": "7303",
        "5": "7403",  # verify register 5
        "6": "7503",  # verify register 6
        "A": "7803",  # write the first
        "H": "78C8",  # the same with bit 7, which is no address
        "B": "7903",
        "E": "7C03",  # write register 5
        "F": "7F08",  # write 8 to register 8
        "q": "03F9",  # address query
        "l": "00F903",  # decoder lock
    }.items()
}
PACKETS["d"] = PACKETS["v"][:3] + b"\x00"
"""By a letter; `d` has a wrong error byte."""

Sent = str | float


def packets(text: str) -> list[Sent]:
    """The packets of `3r 5v`; `_21` is a pause in ms filled with ones, `-30` one without signal."""
    found: list[Sent] = []
    for word in text.split():
        if word[0] in "_-":
            found.append(-float(word[1:]) if word[0] == "-" else float(word[1:]))
        else:
            match = re.fullmatch(r"(\d*)(.)", word)
            assert match is not None
            found += [match[2]] * int(match[1] or "1")
    return found


def record(sent: Sequence[Sent], *, preamble: int = 20) -> tuple[list[Chunk], list[int]]:
    """The edges of packets, and where the packet start bits begin."""
    lengths: list[int] = []
    starts, at = [], 0
    for one in sent:
        if isinstance(one, float):
            silent, ns = one < 0, int(abs(one) * 1_000_000)
            halves = [ns] if silent else [58_000] * (ns // 116_000 * 2)
        else:
            halves = lengths_of(PACKETS[one], preamble=preamble)
            starts.append(at + preamble * 116_000)
        lengths += halves
        at += sum(halves)
    return [Chunk(edges_of(lengths))], starts


def judge(text: str, *, around: bool = True, preamble: int = 20, **known: object) -> Report:
    """The report on packets among idles."""
    idles = ("i ", " 2i") if around else ("", "")
    chunks, _ = record(packets(text.join(idles)), preamble=preamble)
    session = Session(**known)  # type: ignore[arg-type]
    return check(chunks, resolution_ns=SAMPLED_NS, session=session)


def told(number: int, text: str, **known: object) -> RuleResult:
    """What a rule says of packets among idles."""
    return result(judge(text, **known), number)  # type: ignore[arg-type]


DIRECT, PAGED = Access.DIRECT, Access.PAGED
REGISTER, ADDRESS_ONLY = Access.REGISTER, Access.ADDRESS_ONLY
PRESET = "3r 5p 6r"

COUNTS: list[tuple[int, Access, str, Verdict, int | None]] = [
    # Direct mode: 3 resets before each write group; before verify groups in a row, once.
    (54, DIRECT, "3r 5v", PASS, None),
    (54, DIRECT, "9r 5v", PASS, None),
    (54, DIRECT, "2r 5v", FAIL, 2),
    (54, DIRECT, "1r 5w 6r", FAIL, 1),
    (54, DIRECT, "3r 5v 5a 5v", PASS, None),
    (54, DIRECT, "3r 5v 1r 5a 1r 5v", PASS, None),
    (54, DIRECT, "3r 5v 3r 5w 6r", PASS, None),
    (54, DIRECT, "3r 5v 2r 5w 6r", FAIL, 10),
    (54, DIRECT, "3r 5v 5w 6r", FAIL, 8),
    (54, DIRECT, "3r 5w 9r 5v", PASS, None),
    (54, DIRECT, "3r 5w 8r 5v", UNDECIDED, None),
    (54, DIRECT, "3r 5w 3r 5v", UNDECIDED, None),
    (54, DIRECT, "3r 5w 2r 5v", FAIL, 10),
    (54, DIRECT, "3r 7w 7r 5v", PASS, None),
    (54, DIRECT, "3r 7w 6r 5v", UNDECIDED, None),
    (54, DIRECT, "3r 20w 3r 5v", PASS, None),
    (54, DIRECT, "3r 20w 2r 5v", FAIL, 25),
    (54, DIRECT, "3r 5q 5v", UNDECIDED, None),
    (54, DIRECT, "3r 5q", NOT_EXERCISED, None),
    (54, DIRECT, "3r", NOT_EXERCISED, None),
    # 5 verifies of one CV, 5 writes to one.
    (55, DIRECT, "3r 5v", PASS, None),
    (55, DIRECT, "3r 6v", PASS, None),
    (55, DIRECT, "3r 5b 5v", PASS, None),
    (55, DIRECT, "3r 4v", UNDECIDED, None),
    (55, DIRECT, "3r 2v", UNDECIDED, None),
    (55, DIRECT, "3r 1v", FAIL, 3),
    (55, DIRECT, "3r 5v 1a 5v", FAIL, 8),
    (55, DIRECT, "3r 5w 6r", NOT_EXERCISED, None),
    (57, DIRECT, "3r 5w 6r", PASS, None),
    (57, DIRECT, "3r 4w 6r", UNDECIDED, None),
    (57, DIRECT, "3r 2w 6r", UNDECIDED, None),
    (57, DIRECT, "3r 1w 6r", FAIL, 3),
    (57, DIRECT, "3r 5v", NOT_EXERCISED, None),
    # 6 identical writes or resets behind them.
    (58, DIRECT, "3r 5w 6r", PASS, None),
    (58, DIRECT, "3r 5w 5r", UNDECIDED, None),
    (58, DIRECT, "3r 5w", UNDECIDED, None),
    (58, DIRECT, "3r 11w", PASS, None),
    (58, DIRECT, "3r 10w", UNDECIDED, None),
    (58, DIRECT, "3r 10w 1r", PASS, None),
    (58, DIRECT, "3r 1w 6r", PASS, None),
    (58, DIRECT, "3r 1w 5r", FAIL, 3),
    (58, DIRECT, "3r 5v", NOT_EXERCISED, None),
    # Address-only mode: resets, presets, recovery with presets or resets, resets; 5; 10.
    (62, ADDRESS_ONLY, f"{PRESET} 3r 51", PASS, None),
    (62, ADDRESS_ONLY, "2r 5p 6r", FAIL, 2),
    (62, ADDRESS_ONLY, "3r 4p 6r", UNDECIDED, None),
    (62, ADDRESS_ONLY, "3r 1p 6r", FAIL, 3),
    (62, ADDRESS_ONLY, "3r 5p 5r", UNDECIDED, None),
    (62, ADDRESS_ONLY, "3r 11p", PASS, None),
    (62, ADDRESS_ONLY, "3r 51", UNDECIDED, None),
    (62, ADDRESS_ONLY, "3r 5p 2r 51", FAIL, 10),
    (62, ADDRESS_ONLY, "3r 5p 8r 51", UNDECIDED, None),
    (62, ADDRESS_ONLY, f"{PRESET} 3r 5A 13r 51", PASS, None),
    (62, ADDRESS_ONLY, "3r 5A 12r 51", UNDECIDED, None),
    (63, ADDRESS_ONLY, "3r 51", PASS, None),
    (63, ADDRESS_ONLY, "3r 41", UNDECIDED, None),
    (63, ADDRESS_ONLY, "3r 11", FAIL, 3),
    (63, ADDRESS_ONLY, "3r 5A 10r", PASS, None),
    (63, ADDRESS_ONLY, "3r 1A 10r", FAIL, 3),
    (63, ADDRESS_ONLY, "3r 5H 10r", NOT_EXERCISED, None),
    (64, ADDRESS_ONLY, "3r 5A 10r", PASS, None),
    (64, ADDRESS_ONLY, "3r 8A 7r", PASS, None),
    (64, ADDRESS_ONLY, "3r 5A 9r", UNDECIDED, None),
    (64, ADDRESS_ONLY, "3r 1A 9r", FAIL, 3),
    # Register mode: the same, and 7 verifies; 6 behind writes, 10 to register 1.
    (66, REGISTER, f"{PRESET} 3r 75", PASS, None),
    (66, REGISTER, f"{PRESET} 3r 75 72 75", PASS, None),
    (66, REGISTER, f"{PRESET} -30 20r 3r 75", UNDECIDED, None),
    (66, REGISTER, "3r 75", UNDECIDED, None),
    (70, PAGED, "3r 51", UNDECIDED, None),
    (66, REGISTER, "2r 5p 6r", FAIL, 2),
    (66, REGISTER, "3r 4p 6r", UNDECIDED, None),
    (66, REGISTER, "3r 1p 6r", FAIL, 3),
    (66, REGISTER, "3r 5p 5r", UNDECIDED, None),
    (66, REGISTER, "3r 11p", PASS, None),
    (66, REGISTER, "2r 72", FAIL, 2),
    (66, REGISTER, f"{PRESET} 3r 5E 9r 75", PASS, None),
    (66, REGISTER, "3r 5A 12r 75", UNDECIDED, None),
    (67, REGISTER, "3r 75", PASS, None),
    (67, REGISTER, "3r 65", UNDECIDED, None),
    (67, REGISTER, "3r 25", UNDECIDED, None),
    (67, REGISTER, "3r 15", FAIL, 3),
    (67, REGISTER, "3r 71", PASS, None),
    (67, REGISTER, "3r 61", UNDECIDED, None),
    (67, REGISTER, "3r 66", UNDECIDED, None),
    (67, REGISTER, "3r 76", PASS, None),
    (68, REGISTER, "3r 5E 6r", PASS, None),
    (68, REGISTER, "3r 4E 6r", UNDECIDED, None),
    (68, REGISTER, "3r 1E 6r", FAIL, 3),
    (69, REGISTER, "3r 5E 6r", PASS, None),
    (69, REGISTER, "3r 5E 5r", UNDECIDED, None),
    (69, REGISTER, "3r 1E 5r", FAIL, 3),
    (69, REGISTER, "3r 1B 6r", PASS, None),
    (69, REGISTER, "3r 5A 10r", PASS, None),
    (69, REGISTER, "3r 5A 9r", UNDECIDED, None),
    (69, REGISTER, "3r 1A 9r", FAIL, 3),
    # Paged mode: 3 resets before each group.
    (70, PAGED, "3r 5P 6r 3r 51 3r 52", PASS, None),
    (70, PAGED, "3r 5P 6r 3r 51 2r 52", FAIL, 24),
    (70, PAGED, "3r 5P 6r 3r 51 52", FAIL, 22),
    (70, PAGED, "3r 5P 8r 51", UNDECIDED, None),
    (70, PAGED, "3r 5P 2r 51", FAIL, 10),
    (70, PAGED, "2r 5P 6r", FAIL, 2),
    (70, PAGED, "3r 4P 6r", UNDECIDED, None),
    (70, PAGED, "3r 1P 6r", FAIL, 3),
    (70, PAGED, "3r 5P 5r", UNDECIDED, None),
    (70, PAGED, "3r 11P", PASS, None),
    (70, PAGED, "3r 5P 6r 3r 5c 3r 51", PASS, None),
    (71, PAGED, "3r 51", PASS, None),
    (71, PAGED, "3r 42", UNDECIDED, None),
    (71, PAGED, "3r 12", FAIL, 3),
    (71, PAGED, "3r 5B 6r", PASS, None),
    (71, PAGED, "3r 1B 6r", FAIL, 3),
    (71, PAGED, "3r 5P 6r 3r 1c", NOT_EXERCISED, None),
    (72, PAGED, "3r 5A 6r", PASS, None),
    (72, PAGED, "3r 5A 5r", UNDECIDED, None),
    (72, PAGED, "3r 1A 5r", FAIL, 3),
    (72, PAGED, "3r 5P 6r", NOT_EXERCISED, None),
]


@pytest.mark.parametrize(("number", "access", "text", "verdict", "at"), COUNTS)
def test_counts(number: int, access: Access, text: str, verdict: Verdict, at: int | None) -> None:
    """The count reached passes; from two packets on what falls short is undecided, else it fails.

    A failure is told where the group's first packet begins.
    """
    chunks, starts = record(packets(f"i {text} 2i"))
    session = Session(programming_track=True, access=access)
    found = result(check(chunks, resolution_ns=SAMPLED_NS, session=session), number)
    assert found.verdict is verdict
    assert found.first_times_ns == (() if at is None else (starts[at + 1],))


def test_every_count_has_its_edges() -> None:
    """Each rule of the table passes, fails and is undecided somewhere."""
    for number in {row[0] for row in COUNTS}:
        assert {PASS, FAIL, UNDECIDED} <= {row[3] for row in COUNTS if row[0] == number}


@pytest.mark.parametrize(
    ("number", "text", "note"),
    [
        (55, "3r 4v 1V", "packets that differ"),
        (55, "3r 5v 5V 5b", ""),
        (57, "3r 4w 1W 6r", "packets that differ"),
        (55, "3r 4v", "record the current to decide"),
        (54, "3r 5w 8r 5v", "record the current to decide"),
        (66, "3r 8p 3r", "page writes repeated"),
        (66, "3r 8p 6r", ""),
        (62, "3r 8p 3r", ""),
        (54, "3r 5l 5v", "of, and behind, address queries and decoder locks"),
    ],
)
def test_what_counts_say_besides(number: int, text: str, note: str) -> None:
    """Packets that differ are told, and what would decide; presets repeated where resets are due.

    Differing packets each five times are groups of their own (S-9.2.3 §E).
    """
    access = {62: ADDRESS_ONLY, 66: REGISTER}.get(number, DIRECT)
    found = told(number, text, access=access)
    assert note in found.note
    assert bool(note) is bool(found.note)
    assert (found.verdict is UNDECIDED) is ("decide" in note or "behind" in note)


@pytest.mark.parametrize(
    ("text", "verdicts"),
    [
        # The count of one mode is short of another's.
        ("3r 51", {63: PASS, 67: UNDECIDED, 71: PASS}),
        ("3r 52", {63: NOT_EXERCISED, 67: UNDECIDED, 71: PASS}),
        ("3r 54", {63: NOT_EXERCISED, 67: UNDECIDED, 71: PASS}),
        ("3r 71", {63: PASS, 67: PASS, 71: PASS}),
        ("3r 41", {63: UNDECIDED, 67: UNDECIDED, 71: UNDECIDED}),
        ("3r 5A 9r", {64: UNDECIDED, 69: UNDECIDED, 72: PASS}),
        ("3r 5H 9r", {64: NOT_EXERCISED, 69: UNDECIDED, 72: PASS}),
        ("3r 5A 10r", {64: PASS, 69: PASS, 72: PASS}),
        ("3r 5B 6r", {64: NOT_EXERCISED, 69: PASS, 72: PASS}),
        # Only paged mode asks for resets before each.
        (f"{PRESET} 3r 71 72", {62: PASS, 66: PASS, 70: UNDECIDED}),
        # One packet alone is too few in each of them, and so are two resets.
        ("3r 12", {63: NOT_EXERCISED, 67: FAIL, 71: FAIL}),
        ("2r 5p 6r", {62: FAIL, 66: FAIL, 70: FAIL}),
        ("3r 1A 9r", {64: UNDECIDED, 69: UNDECIDED, 72: PASS, 76: UNDECIDED}),
        # Registers 5, 7 and 8 are register mode; a page other than 1 is paged mode.
        ("3r 5c", {62: NOT_EXERCISED, 67: UNDECIDED, 70: PASS, 71: NOT_EXERCISED}),
        ("3r 55", {63: NOT_EXERCISED, 67: UNDECIDED, 71: NOT_EXERCISED}),
        ("3r 15", {63: NOT_EXERCISED, 67: FAIL, 71: NOT_EXERCISED}),
        ("3r 5F 6r", {68: PASS, 69: PASS, 71: NOT_EXERCISED, 72: NOT_EXERCISED}),
        ("3r 5P 6r 3r 51", {62: NOT_EXERCISED, 66: NOT_EXERCISED, 67: NOT_EXERCISED, 71: PASS}),
        ("3r 5P 6r 3r 75", {67: PASS, 71: NOT_EXERCISED}),
        ("3r 5P 6r 3r 5p 6r 3r 51", {67: UNDECIDED, 71: PASS, 70: PASS}),
    ],
)
def test_modes_that_bytes_do_not_tell(text: str, verdicts: dict[int, Verdict]) -> None:
    """What is wrong in one mode alone is undecided; what is wrong in each fails."""
    report = judge(text, programming_track=True)
    assert {one: result(report, one).verdict for one in verdicts} == verdicts


def test_a_verdict_that_hangs_on_the_mode_says_so() -> None:
    """The session can say which is in use; that of direct mode leaves three bytes open."""
    assert "which in the session" in told(67, "3r 51").note
    assert "say it in the session" in told(70, "3r 72 71").note
    assert told(71, "3r 51").note == ""
    assert told(67, "3r 51", access=PAGED).verdict is NOT_EXERCISED
    assert told(67, "3r 51", access=DIRECT).verdict is UNDECIDED


ORDER: list[tuple[int, str, Verdict, int | None]] = [
    (51, "3r 5v", PASS, None),
    (51, "3r 5v i 3r 5w 6r", PASS, None),
    (51, "3r i 5v", FAIL, 4),
    (51, "3r 5v i 5v", FAIL, 9),
    (51, "5q", UNDECIDED, None),
    (51, "3r 5v 5w 6r", PASS, None),
    (51, "3s", NOT_EXERCISED, None),
    (53, "3r 5v", PASS, None),
    (53, "i 3r 5v 2i 3r 5w 6r i s", PASS, None),
    (53, "3r 2v i 3v", FAIL, 5),
    (53, "3r 2v i s 3v", FAIL, 5),
    (53, "3r 5v i 3v", PASS, None),
    (53, "2r i 2r 5v", UNDECIDED, None),
    (53, "3r i 5v", UNDECIDED, None),
    (53, "3r i 3r 5v", PASS, None),
    (53, "3r 5w 3r i 3r 5v", UNDECIDED, None),
    (53, "3r 1w 3r i 3r 5v", FAIL, 7),
    (53, "3r 5w 6r i 3r 5v", PASS, None),
    (53, "3r 5w 3r 5v", PASS, None),
    (53, "3r 2v 1q 3r 5v", PASS, None),
    (53, "3r 5q", NOT_EXERCISED, None),
    (76, "3r 5w 6r i", PASS, None),
    (76, "3r 5w 3r i", UNDECIDED, None),
    (76, "3r 5w 3r 5v", UNDECIDED, None),
    (76, "3r 1w 3r i 6r", FAIL, 7),
    (76, "3r 1w 3r 5v", FAIL, 7),
    (76, "3r 11w i", PASS, None),
    (76, "3r 5p 6r 3r 1E 4r s", FAIL, 22),
    (76, "3r 5v", NOT_EXERCISED, None),
    (94, "3r 5v", PASS, None),
    (94, "2r h 5v", FAIL, 2),
    (94, "h 2r 5v", FAIL, 0),
    (94, "3h 5v", FAIL, 2),
    (94, "h 3r 5v", PASS, None),
    (94, "h i 2r 5v", PASS, None),
    (94, "3s", NOT_EXERCISED, None),
]


@pytest.mark.parametrize(("number", "text", "verdict", "at"), ORDER)
def test_order(number: int, text: str, verdict: Verdict, at: int | None) -> None:
    """What leads a sequence, what comes into it, and resets that are none; told where it begins."""
    chunks, starts = record(packets(f"i {text} 2i"))
    session = Session(programming_track=True, access=REGISTER)
    found = result(check(chunks, resolution_ns=SAMPLED_NS, session=session), number)
    assert found.verdict is verdict
    assert found.first_times_ns == (() if at is None else (starts[at + 1],))


def test_packets_that_no_reset_leads() -> None:
    """They may be for short addresses 112 to 127, unless service mode is meant, or they go on.

    Identical ones less than 5 ms apart behind 20 ones leave rule 51 undecided; packets further
    apart, behind fewer ones, or of other lengths do not.
    """
    assert told(51, "5v").verdict is UNDECIDED
    assert told(51, "5v").undecided == 1
    assert told(51, "5v", programming_track=True).verdict is FAIL
    for text in ("v", "v i v i v", "v V v V", "5s", "5q"):
        assert told(51, text).verdict is NOT_EXERCISED
    assert told(51, "v _1 v").verdict is UNDECIDED
    assert told(51, "v _4 v").verdict is NOT_EXERCISED
    assert result(judge("5v", preamble=18), 51).verdict is NOT_EXERCISED
    assert result(judge("5v", preamble=19), 51).verdict is UNDECIDED
    assert told(51, "3r 5v i 5v").verdict is FAIL
    assert told(53, "3r 2v i 5v").verdict is FAIL
    assert told(53, "3r 2v i 5v").measured == 1


def test_a_track_that_is_no_programming_track() -> None:
    """Nothing of these rules is about it."""
    report = judge("3r 1v 1w", programming_track=False)
    service = [one for one in report.results if one.rule.number in {*range(49, 79), 94} - {59}]
    assert {one.verdict for one in service} == {NOT_EXERCISED}


@pytest.mark.parametrize(
    ("number", "text", "verdict"),
    [
        (55, "1v", NOT_EXERCISED),
        (55, "5v", PASS),
        (54, "2r 5v i", NOT_EXERCISED),
        (54, "3r 5v i", PASS),
        (51, "r 5v i", PASS),
        (51, "5v r v i", NOT_EXERCISED),
        (55, "3r 1v", UNDECIDED),
        (55, "3r 1v r", FAIL),
        (57, "3r 1w", UNDECIDED),
        (58, "3r 1w", UNDECIDED),
        (58, "3r 1w 5r", UNDECIDED),
        (58, "3r 5w 6r", PASS),
        (58, "1w 5r i", NOT_EXERCISED),
        (76, "3r 1w 5r", NOT_EXERCISED),
        (76, "3r 5A 7r", NOT_EXERCISED),
        (75, "3r 1w 5r", NOT_EXERCISED),
        (53, "3r 2v i", UNDECIDED),
        (53, "3r 5v i", PASS),
        (53, "3r 1v i", FAIL),
    ],
)
def test_where_the_recording_cuts(number: int, text: str, verdict: Verdict) -> None:
    """What lies before its begin or behind its end is not judged; what is reached passes."""
    assert result(judge(text, around=False, programming_track=True), number).verdict is verdict


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (54, "2r d 5v"),
        (54, "r d r 5v"),
        (51, "d 5v"),
        (55, "3r 1v d"),
        (55, "3r d 1v"),
        (57, "3r 1w d 6r"),
        (58, "3r 1w 2r d 2r"),
        (58, "3r 1w d"),
        (76, "3r 1w 2r d 2r"),
        (54, "2r -30 5v"),
        (55, "3r 1v -30"),
        (55, "3r 1v -30 r"),
        (55, "-30 1v"),
        (57, "3r 1w -30"),
        (58, "3r 1w 2r -30 6r"),
        (75, "3r 1w 2r -30 6r"),
    ],
)
def test_what_may_be_lost_fails_nothing(number: int, text: str) -> None:
    """Behind silence, or beside what could not be read, too few are undecided."""
    found = told(number, text, programming_track=True)
    assert (found.verdict, "record again" in found.note) == (UNDECIDED, True)


def test_a_wrong_error_byte_does_not_count_and_may_break_the_count() -> None:
    """Rule 16 has it; five others are enough if it was one of them, not if it was another."""
    report = judge("3r 2v d 3v i")
    assert {one: result(report, one).verdict for one in (16, 53, 54, 55)} == {
        **{16: FAIL, 53: UNDECIDED},
        **{54: PASS, 55: UNDECIDED},
    }


def broken(text: str) -> list[int]:
    """The half-bits of packets, in each `d` of which one is of neither a 1 nor a 0."""
    lengths: list[int] = []
    for one in packets(text):
        assert isinstance(one, str)
        lengths += lengths_of(PACKETS[one], preamble=20)
        if one == "d":
            lengths[-30] = 75_000
    return lengths


@pytest.mark.parametrize(
    ("number", "text"),
    [(54, "i 2r d 5v i"), (55, "i 3r v d i"), (58, "i 3r w 2r d 3r i"), (51, "i d 5v i")],
)
def test_what_cannot_be_read_is_not_blamed(number: int, text: str) -> None:
    """A packet with half-bits that are none may have been one of those that are too few."""
    session = Session(programming_track=True)
    report = check([edges_of(broken(text))], resolution_ns=SAMPLED_NS, session=session)
    assert result(report, number).verdict is UNDECIDED
    whole = check([edges_of(broken(text.replace("d", "")))], resolution_ns=1000, session=session)
    assert result(whole, number).verdict is FAIL


def test_a_hard_reset_before_what_cannot_be_read_is_not_counted() -> None:
    """What follows is not known."""
    lengths = broken("i h 2r d 3r s")
    assert result(check([edges_of(lengths)], resolution_ns=SAMPLED_NS), 78).verdict is NOT_EXERCISED


def test_where_the_mode_is_not_known_nothing_fails() -> None:
    """A packet that could not be read may have led into service mode, or not."""
    found = in_service(check([edges_of(broken("i d 1w 2r i"))], resolution_ns=SAMPLED_NS))
    assert not [number for number, one in found.items() if one.verdict is FAIL]
    assert found[57].verdict is found[58].verdict is UNDECIDED
    found = in_service(judge("5v 1w 2r i", around=False))
    assert not [number for number, one in found.items() if one.verdict is FAIL]
    assert "what came before them does not tell" in found[57].note


@pytest.mark.parametrize(
    ("text", "preamble", "verdict"),
    [
        ("1r 1w i", 20, UNDECIDED),
        ("2r 1w 1v i", 20, UNDECIDED),
        ("1r 5w i", 14, UNDECIDED),
        ("1r 5w i", 20, FAIL),
        ("2r 5w i", 20, FAIL),
    ],
)
def test_packets_to_112_to_127_behind_a_reset(text: str, preamble: int, verdict: Verdict) -> None:
    """Rule 21 is about those where no service mode is meant.

    Where the session does not say, one packet alone leaves it open, and so do fewer resets than
    three with short preambles.
    """
    report = judge(text, preamble=preamble)
    assert result(report, 54).verdict is verdict
    failed = {number for number, one in in_service(report).items() if one.verdict is FAIL}
    assert bool(failed) is (verdict is FAIL)
    assert told(57, "3r 1w i").verdict is UNDECIDED
    assert result(judge("3r 1w i", programming_track=True), 57).verdict is FAIL
    assert result(judge("3r 1w i", preamble=14), 57).verdict is UNDECIDED
    assert result(judge("3r 5w i", preamble=14), 49).verdict is FAIL
    if verdict is UNDECIDED:
        assert "what the track is for decides" in result(report, 54).note
        meant = judge(text, preamble=preamble, programming_track=True)
        assert {54} <= {number for number, one in in_service(meant).items() if one.verdict is FAIL}


PAUSES: list[tuple[str, Verdict]] = [
    ("3r 5v", PASS),
    ("3r 2v _15 3v", PASS),
    ("3r 2v _18 3v", FAIL),
    ("2r _15 r 5v", PASS),
    ("3r 2w _18 3w 6r", FAIL),
    ("3r 1w _18 6r", FAIL),
    ("3r 5w _18 6r", UNDECIDED),
    ("3r 5w 2r _18 6r", UNDECIDED),
    ("3r 5w 6r _18 6r", PASS),
    ("3r 5v _30 3r 5v", PASS),
    ("3r 2v -30 3v", UNDECIDED),
    ("3r 2v -30 3r 3v", PASS),
    ("3s", NOT_EXERCISED),
]


@pytest.mark.parametrize(("text", "verdict"), PAUSES)
def test_rule_52_pauses_within_a_step(text: str, verdict: Verdict) -> None:
    """20 ms between end and start bits, 2.3 ms of them ones; silence may be a track without power.

    An acknowledgement may have ended the writes before the pause; between steps any is free.
    """
    assert told(52, text, programming_track=True).verdict is verdict
    assert told(52, text).verdict is (UNDECIDED if verdict is FAIL else verdict)


@pytest.mark.parametrize(("ones", "verdict"), [(172, PASS), (173, FAIL)])
def test_rule_52_at_its_limit(ones: int, verdict: Verdict) -> None:
    """172 ones of 116 us are 19.952 ms, 173 are 20.068."""
    lengths = lengths_of(*[PACKETS[one] for one in "irrrvv"], preamble=20)
    lengths += lengths_of(PACKETS["v"], preamble=ones) + lengths_of(PACKETS["v"], preamble=20)
    track = Session(programming_track=True)
    found = result(check([edges_of(lengths)], resolution_ns=SAMPLED_NS, session=track), 52)
    assert (found.verdict, found.worst) == (verdict, f"{ones * 116} us")
    start = sum(lengths_of(*[PACKETS[one] for one in "irrrvv"], preamble=20)) + ones * 116_000
    assert found.first_times_ns == ((start,) if verdict is FAIL else ())
    coarse = check(
        [edges_of(lengths)], resolution_ns=SAMPLED_NS, uncertainty_ns=9900, session=track
    )
    assert result(coarse, 52).verdict is (PASS if verdict is PASS else FAIL)


def test_rule_52_within_the_error_of_its_limit() -> None:
    """20 ms less or more than the error: undecided, and the step goes on."""
    lengths = lengths_of(*[PACKETS[one] for one in "irrrvv"], preamble=20)
    long = lengths_of(PACKETS["v"], preamble=172)
    for extra in (40_500, 48_000, 55_500):
        halves = list(long)
        for place in range(16):
            halves[place] += extra // 16
        sent = lengths + halves + lengths_of(*[PACKETS["v"]] * 2, PACKETS["i"], preamble=20)
        report = check([edges_of(sent)], resolution_ns=8000)
        assert result(report, 52).verdict is UNDECIDED
        assert result(report, 55).verdict is PASS


@pytest.mark.parametrize(
    ("ones", "verdict"), [(9, FAIL), (18, FAIL), (19, PASS), (20, PASS), (40, PASS)]
)
def test_rule_49_counts_as_rule_14(ones: int, verdict: Verdict) -> None:
    """At least 20 ones before service mode instructions, the end bit before among them."""
    lengths = lengths_of(*[PACKETS[one] for one in "irrr"], preamble=20)
    start = sum(lengths) + ones * 116_000 * (ones > 9)
    lengths += lengths_of(PACKETS["v"], preamble=ones)
    lengths += lengths_of(*[PACKETS["v"]] * 4, PACKETS["i"], preamble=20)
    found = result(check([edges_of(lengths)], resolution_ns=SAMPLED_NS), 49)
    assert (found.verdict, found.measured) == (verdict, 5)
    assert found.first_times_ns == ((start,) if verdict is FAIL else ())
    assert ("strict reading" in found.note) is (ones == 19)


def test_rule_49_is_about_instructions_alone() -> None:
    """Resets among them are told, those before and packets to locomotives are not."""
    short = lengths_of(PACKETS["r"], preamble=14)
    many = lengths_of(*[PACKETS["v"]] * 5, preamble=20)
    report = check([edges_of(short * 3 + many + short * 2 + many)], resolution_ns=SAMPLED_NS)
    found = result(report, 49)
    assert (found.verdict, found.measured) == (PASS, 10)
    assert found.note.startswith("2 resets among service mode packets")
    assert result(judge("3s", preamble=14), 49).verdict is NOT_EXERCISED
    assert "resets" not in result(judge("3r 5v 3r 5v", preamble=19), 49).note


def test_rule_49_where_ones_may_hide() -> None:
    """The first packet's may be cut; a stretch of no packet hides no more than it has time for."""
    verifies = lengths_of(*[PACKETS["v"]] * 5, preamble=20)
    cut = check([edges_of(lengths_of(PACKETS["v"], preamble=12) + verifies)], resolution_ns=1000)
    assert (result(cut, 49).measured, result(cut, 49).verdict) == (5, PASS)
    resets = lengths_of(*[PACKETS["r"]] * 4, preamble=20)
    for ones, hidden, verdict in ((17, 440, UNDECIDED), (14, 440, FAIL), (15, 440, UNDECIDED)):
        short = lengths_of(PACKETS["v"], preamble=ones)
        lengths = [*resets, hidden * 1000, *short, *verifies]
        assert result(check([edges_of(lengths)], resolution_ns=1000), 49).verdict is verdict


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("3r 5P 6r 3r 51 3r 5p 6r", PASS),
        ("3r 5P 6r 3r 51 3r 5p 6r i s", PASS),
        ("3r 5P 6r 3r 51 i s", FAIL),
        ("3r 5P 6r 3r 51 40i s", FAIL),
        ("3r 5P 6r 3r 51 2i", UNDECIDED),
        ("3r 5P 6r i s 3r 5v i", UNDECIDED),
        ("3r 5P 6r 3r 51 i s 3r 5P 6r 3r 5p 6r i s", UNDECIDED),  # perhaps two sessions
        ("3r 5P 6r 3r 51 3r d i s", UNDECIDED),  # which may have been another page
        ("3r 5P 6r 3r 51", NOT_EXERCISED),
        ("3r 5v i s", NOT_EXERCISED),
    ],
)
def test_rule_73_the_page_that_is_left(text: str, verdict: Verdict) -> None:
    """1 where programming ends: that has come where packets to locomotives follow."""
    report = judge(text, around=False)
    assert result(report, 73).verdict is verdict
    assert not report.failed or verdict is not FAIL or result(report, 73).binding is False


@pytest.mark.parametrize(
    ("text", "power_on_ms", "verdict"),
    [
        ("3r 5P 6r 3r 51", None, PASS),
        ("3r 5P 6r -30 20r 51", None, UNDECIDED),
        ("3r 5P 6r -30 20r 51", (150,), FAIL),
        ("3r 5P 6r -30 20r 51", (1,), PASS),
        ("3r 5P 6r -30 20r 5P 6r 3r 51", None, PASS),
        ("3r 5P 6r -30 20r 55", None, NOT_EXERCISED),
        ("3r 5p 6r -30 20r 51", (150,), NOT_EXERCISED),
        ("3r 5P 6r -30 20r 5v", (150,), NOT_EXERCISED),
        ("3r 5P 6r -30 20r 5c", (150,), NOT_EXERCISED),
        ("3r 5P 6r 3r 5q", None, NOT_EXERCISED),
        ("3r 5P 6r 3r 5Z", None, NOT_EXERCISED),
    ],
)
def test_rule_74_power_cycles(
    text: str, power_on_ms: tuple[int, ...] | None, verdict: Verdict
) -> None:
    """A data register behind a power cycle needs its page anew, unless it is page 1 (footnote 3).

    The last page write ends behind 120 ms; silence alone may be lost signal.
    """
    times = None if power_on_ms is None else tuple(one * 1_000_000 for one in power_on_ms)
    assert told(74, text, power_on_ns=times).verdict is verdict


@pytest.mark.parametrize(("gap_us", "verdict"), [(4000, PASS), (6000, UNDECIDED)])
def test_rule_74_too_little_time_without_a_level(gap_us: int, verdict: Verdict) -> None:
    """What is shorter than any packet is no power cycle."""
    first = edges_of(lengths_of(*[PACKETS[one] for one in "irrrPPPPPrrrrrr"], preamble=20))
    begin = int(first[-1])
    end = begin + gap_us * 1000
    rest = edges_of(lengths_of(*[PACKETS[one] for one in "rrr11111ii"], preamble=20), end)
    report = check([Chunk(first, (begin, end)), rest], resolution_ns=SAMPLED_NS)
    assert result(report, 74).verdict is verdict


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("3r 5w 6r", PASS),
        ("3r 5w 3r i", NOT_EXERCISED),
        ("3r 5w 3r -30 20r", UNDECIDED),
        ("3r 5w _30 20r", UNDECIDED),
        ("3r 1w _30 20r", UNDECIDED),
        ("3r 5v -30", NOT_EXERCISED),
    ],
)
def test_rule_75_nothing_stops_before_the_recovery_is_over(text: str, verdict: Verdict) -> None:
    """Only silence, or ones alone, stop it."""
    assert told(75, text).verdict is verdict
    assert result(judge("3r 1w _30 20r", programming_track=True), 75).verdict is FAIL


@pytest.mark.parametrize(
    ("number", "text", "lacks"),
    [
        (60, "3r 5v", "session description lacks what the programmer meant"),
        (77, "3r 5F 6r", "session description lacks what the programmer meant"),
        (80, "3r 5q", "recording lacks the track current"),
        (82, "3r 5v", "recording lacks the track current"),
        (83, "3r 5v", "recording lacks the track current"),
        (84, "3r 5v", "recording lacks the track current"),
        (85, "3r 5v", "recording lacks the track current"),
        (93, "3r 5E 6r", "session description lacks what the programmer meant"),
    ],
)
def test_what_the_signal_alone_does_not_decide(number: int, text: str, lacks: str) -> None:
    """The rule says what is missing, and only where what it is about was sent."""
    found = told(number, text)
    assert (found.verdict, lacks in found.note) == (NOT_DECIDABLE, True)
    assert told(number, "3s").verdict is NOT_EXERCISED


def test_rule_60_all_kinds_of_direct_mode() -> None:
    """Verifies, writes and bit manipulation: all of them seen pass."""
    assert told(60, "3r 5v 3r 5w 9r 5b").verdict is PASS
    assert told(60, "3r 5v 3r 5w 9r").verdict is NOT_DECIDABLE


def test_what_is_told_without_a_verdict() -> None:
    """Resets behind verifies (56), verifies of CV 8 bit 7 (61), what follows a hard reset (78)."""
    assert (told(56, "3r 5v 2r").verdict, told(56, "3r 5v 2r").worst) == (OBSERVED, "2 packets")
    assert told(56, "3r 5w 6r").verdict is NOT_EXERCISED
    assert told(61, "3r 5v").verdict is NOT_EXERCISED
    PACKETS.update({"y": with_error_byte("7807E7"), "z": with_error_byte("7807EF")})
    found = told(61, "3r 5y 5z")
    assert (found.verdict, found.note) == (OBSERVED, "1 of bit 7 as 0; 1 of bit 7 as 1")


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("h 10r s", 10),
        ("h 4r 3i s", 7),
        ("h s", 0),
        ("h 30i", 10),
        ("h r h 2r s", 1),
        ("h 3r", None),
        ("h 3r -30 s", None),
        ("h 3r d s", 3),
        ("3s", None),
    ],
)
def test_rule_78_what_follows_a_hard_reset(text: str, count: int | None) -> None:
    """Idles and resets, mixed as they come, until there are ten or another packet comes."""
    found = result(judge(f"i {text}", around=False), 78)
    assert found.verdict is (NOT_EXERCISED if count is None else OBSERVED)
    assert found.worst == ("" if count is None else f"{count} packets")


PLANS: dict[str, tuple[Access | None, Callable[[Setup], Programming[Any]]]] = {
    "read, direct": (DIRECT, lambda how: read_byte(DirectCv(29), how)),
    "read bits, direct": (DIRECT, lambda how: verify_bit(DirectCv(300), 3, 1, how)),
    "write, direct": (DIRECT, lambda how: write_byte(DirectCv(29), 7, how, confirm=True)),
    "write a bit, direct": (DIRECT, lambda how: write_bit(DirectCv(29), 0, 1, how)),
    "read, paged": (PAGED, lambda how: read_byte(PagedCv(300), how)),
    "read CV 2, paged": (PAGED, lambda how: read_byte(PagedCv(2), how)),
    "write, paged": (PAGED, lambda how: write_byte(PagedCv(29), 7, how, confirm=True)),
    "write CV 1, paged": (PAGED, lambda how: write_byte(PagedCv(1), 7, how)),
    "read, register": (REGISTER, lambda how: read_byte(Register(5), how)),
    "read CV 1, register": (REGISTER, lambda how: verify_byte(Register(1), 3, how)),
    "write, register": (REGISTER, lambda how: write_byte(Register(1), 7, how, confirm=True)),
    "read, address-only": (ADDRESS_ONLY, lambda how: read_byte(AddressOnly(), how)),
    "write, address-only": (
        ADDRESS_ONLY,
        lambda how: write_byte(AddressOnly(), 7, how, confirm=True),
    ),
    "direct mode?": (None, find_direct_mode),
    "factory reset": (REGISTER, factory_reset),
    "address query": (None, lambda how: address_query(3, power_on=how.power_on)),
    "decoder lock": (None, lambda how: decoder_lock(3, power_on=how.power_on)),
}
"""What `dccwire.programming` plans, which counts by no code of the rules."""


def plan(name: str, answers: Sequence[bool] = (False,), *, power_on: bool = True) -> list[bytes]:
    """The packets of a session that hears these answers over and over; by default none."""
    session = PLANS[name][1](Setup(power_on=power_on))
    heard = cycle(Answer.ACKNOWLEDGED if one else Answer.SILENCE for one in answers)
    return [bytes(one.packet) for one, _ in conversation(session, lambda _: next(heard))]


def of_plan(
    sent: list[bytes], access: Access | None = None, *, meant: bool | None = None
) -> Report:
    """The report on packets among idles."""
    idle = PACKETS["i"]
    edges = edges_of(lengths_of(idle, *sent, idle, idle, preamble=20))
    session = Session(access=access, programming_track=meant)
    return check([edges], resolution_ns=SAMPLED_NS, session=session)


def in_service(report: Report) -> dict[int, RuleResult]:
    """The results of the rules on the sequences of service mode."""
    numbers = {*range(49, 86), 93, 94} - {50, 59, 65, 79, 81}
    return {one.rule.number: one for one in report.results if one.rule.number in numbers}


@pytest.mark.parametrize("name", PLANS)
def test_what_is_planned_passes_where_nobody_answers(name: str) -> None:
    """No rule fails or is undecided where the mode is known; counts are measured."""
    found = in_service(of_plan(plan(name), PLANS[name][0]))
    assert not [number for number, one in found.items() if one.verdict in (FAIL, UNDECIDED)]
    assert found[49].verdict is found[51].verdict is found[52].verdict is PASS
    counted = [number for number in BY_COUNT if found[number].measured]
    assert bool(counted) is (name not in ("address query", "decoder lock"))


@given(
    st.sampled_from(list(PLANS)),
    st.lists(st.booleans(), min_size=1, max_size=40),
    st.booleans(),
)
@example("read, direct", [True], False)
@example("write, paged", [True], False)
@example("write, register", [False, False, True], True)
@settings(max_examples=40, deadline=None)
def test_what_is_planned_never_fails(name: str, answers: list[bool], known: bool) -> None:
    """Whatever is answered; rules that hold in one mode alone are undecided if it is not known."""
    found = in_service(of_plan(plan(name, answers), PLANS[name][0] if known else None))
    assert not [number for number, one in found.items() if one.verdict is FAIL]


BY_COUNT = {54, 55, 57, 58, 62, 63, 64, 66, 67, 68, 69, 70, 71, 72}
COUNTED = {
    DIRECT: (54, 55, 57, 58),
    ADDRESS_ONLY: (62, 63, 63, 64),
    REGISTER: (66, 67, 68, 69),
    PAGED: (70, 71, 71, 72),
}
"""By mode: the rules that count resets, verifies, writes and recovery."""

MUTATED = [
    *("read bits, direct", "write, direct", "write, paged", "write CV 1, paged"),
    *("read CV 1, register", "write, register", "write, address-only"),
]


@pytest.mark.parametrize("name", MUTATED)
def test_a_packet_left_out_of_a_plan_is_missed(name: str) -> None:
    """Its count fails, is undecided, or tells that packets differ; no other rule fails."""
    access, sent = PLANS[name][0], plan(name, power_on=False)
    assert access is not None
    for place, data in enumerate(sent):
        found = in_service(of_plan(sent[:place] + sent[place + 1 :], access))
        resets, verifies, writes, recovery = COUNTED[access]
        if data == PACKETS["r"]:
            possible = {resets, recovery}
        elif data[0] & 0b111 == 5 and len(data) == 3:
            possible = {resets}
        elif data[0] & (0b1000 if len(data) == 3 else 0b1100) == (8 if len(data) == 3 else 12):
            possible = {writes}
        else:
            possible = {verifies}
        told = {n for n in possible if found[n].verdict in (FAIL, UNDECIDED) or found[n].note}
        # The text lists no verify of the page register in paged mode, so its count has no rule.
        assert told or (data[0] == 0x75 and access is PAGED), (place, data.hex())
        assert {n for n, one in found.items() if one.verdict is FAIL} <= possible


@pytest.mark.parametrize("name", MUTATED)
@pytest.mark.parametrize("instead", ["i", "d"])
def test_a_packet_changed_in_a_plan_is_found(name: str, instead: str) -> None:
    """An idle packet fails a rule or leaves one undecided; what reads wrong never fails one."""
    access, sent = PLANS[name][0], plan(name, power_on=False)
    for place, data in enumerate(sent):
        changed = [*sent[:place], PACKETS[instead], *sent[place + 1 :]]
        found = in_service(of_plan(changed, access, meant=True))
        failed = {number for number, one in found.items() if one.verdict is FAIL}
        undecided = {number for number, one in found.items() if one.verdict is UNDECIDED}
        noted = {number for number in BY_COUNT if found[number].note}
        unlisted = data[0] == 0x75 and access is PAGED
        assert failed | undecided | noted or unlisted, (place, data.hex())
        assert not failed or instead == "i", (place, data.hex(), failed)


@given(
    st.lists(st.sampled_from("rissvV1AwWb"), max_size=40).map(" ".join),
    st.sampled_from([14, 16]),
    st.booleans(),
)
@example("v v", 14, False)
@settings(max_examples=60, deadline=None)
def test_a_main_track_fails_nothing(text: str, preamble: int, around: bool) -> None:
    """Resets among packets to any locomotive, 5 ms apart, are none of service mode's business.

    Idle packets part what goes to one address, as rule 23 demands.
    """
    apart = " ".join(f"{one} i" if one not in "ri" else one for one in text.split())
    found = in_service(judge(apart, around=around, preamble=preamble))
    assert not [number for number, one in found.items() if one.verdict is FAIL]
    if "r" not in text:
        assert {one.verdict for one in found.values()} == {NOT_EXERCISED}


random_packets = st.builds(
    lambda first, rest, right: (
        with_error_byte(bytes([first, *rest]).hex()) if right else bytes([first, *rest, 7])
    ),
    st.one_of(
        *(st.just(one) for one in (0, 255)),
        *(st.integers(low, high) for low, high in ((112, 127), (112, 127), (192, 231), (0, 255))),
    ),
    st.lists(st.sampled_from([0, 1, 3, 8, 0xF9, 0xE7, 0xFF]), min_size=1, max_size=4),
    st.booleans(),
)
mixed = st.lists(
    st.one_of(random_packets, st.sampled_from([PACKETS[one] for one in "rrriv1pPE"])), max_size=25
)


@given(mixed, st.sampled_from([None, True, False]), st.sampled_from([None, *Access]), st.data())
@settings(max_examples=60, deadline=None)
def test_any_packets_in_any_portions(
    sent: list[bytes], meant: bool | None, access: Access | None, data: st.DataObject
) -> None:
    """Whatever comes is judged without an error, and alike however it is cut."""
    session = Session(programming_track=meant, access=access)
    edges = edges_of(lengths_of(*sent, preamble=20))
    whole = in_service(check([edges], resolution_ns=SAMPLED_NS, session=session))
    size = data.draw(st.integers(1, max(len(edges), 1)))
    parts = [edges[at : at + size] for at in range(0, len(edges), size)]
    assert in_service(check(parts, resolution_ns=SAMPLED_NS, session=session)) == whole


@pytest.mark.parametrize(
    ("text", "verdict"),
    [("5w 2r w 3r", PASS), ("5w 3r 3w", PASS), ("5w 2r 5w 6r", PASS), ("5w r 2w 2r", UNDECIDED)],
)
def test_a_recovery_of_the_write_and_resets_as_they_come(text: str, verdict: Verdict) -> None:
    """Six packets, each the same write or a reset (S-9.2.3 §E, Decoder Recovery Time)."""
    report = judge(f"3r {text}", programming_track=True, access=DIRECT)
    for number in (58, 76):
        assert result(report, number).verdict is verdict, number
    for number in (53, 54, 57):
        assert result(report, number).verdict is not FAIL, number


def test_what_no_reset_leads_where_service_mode_is_meant() -> None:
    """It fails for that alone: rules on operation leave it open."""
    report = judge("25r 4i 5w 6r", programming_track=True, access=DIRECT)
    assert {one.rule.number for one in report.results if one.failed} == {51, 54}


def test_rule_24_is_not_about_queries_and_locks_of_service_mode() -> None:
    """They lie close together there, as all that is of service mode."""
    for text in ("25r 5l 3r", "25r 5q 3r"):
        assert told(24, text, programming_track=True).verdict is Verdict.NOT_EXERCISED


def test_direct_mode_is_not_looked_for_where_no_service_mode_is_meant() -> None:
    """The same bytes are instructions to locomotives 112 to 127, then."""
    assert told(59, "r v", programming_track=False).verdict is Verdict.NOT_EXERCISED
    assert told(59, "v", programming_track=False, around=False).verdict is Verdict.NOT_EXERCISED
