"""Recovery that mixes the write and resets, and lasts longer than it must (S-9.2.3 §E).

What comes behind a write is its recovery as long as nothing but that write and resets come: six
packets, or ten, and any number more. So no such packet fails, whatever the mixture is.
"""

from __future__ import annotations

from itertools import product

import pytest
from conformance_helpers import edges_of, lengths_of

from dccwire.conformance import Session, Verdict, check
from dccwire.conformance.session import Access
from dccwire.recordings import Chunk

RESET, IDLE, PRESET = "00 00 00", "FF 00 FF", "7D 01 7C"
DIRECT, REGISTER_1 = "7C 1C 06 66", "78 32 4A"
"""A byte of CV 29, and of register 1."""

RULES = {*range(53, 59), *range(62, 65), *range(66, 73), 75, 76}


def failed(packets: list[str], access: Access | None = None) -> dict[int, Verdict]:
    """What fails of a recording of these behind idles, on a programming track."""
    lengths = lengths_of(*[IDLE] * 20, *packets, *[RESET] * 3, *[IDLE] * 4, preamble=20)
    session = Session(programming_track=True, access=access)
    report = check([edges_of(lengths)], session=session, resolution_ns=1000)
    found = {one.rule.number: one.verdict for one in report.results}
    return {number: found[number] for number in RULES if found[number] is Verdict.FAIL}


@pytest.mark.parametrize("size", [6, 7, 8])
def test_any_mixture_of_a_direct_write_and_resets_is_its_recovery(size: int) -> None:
    """All of six and seven packets, and each fifth of eight."""
    every = list(product([DIRECT, RESET], repeat=size))
    for mixture in every[:: 1 if size < 8 else 5]:
        assert failed([*[RESET] * 3, *[DIRECT] * 5, *mixture]) == {}, mixture


@pytest.mark.parametrize("access", [Access.ADDRESS_ONLY, Access.REGISTER])
def test_ten_packets_of_either_kind_are_the_recovery_of_register_1(access: Access) -> None:
    """Each seventh of all mixtures."""
    opening = [*[RESET] * 3, *[PRESET] * 5, *[RESET] * 9, *[REGISTER_1] * 5]
    for mixture in list(product([REGISTER_1, RESET], repeat=10))[::7]:
        assert failed([*opening, *mixture], access) == {}, mixture


def test_what_is_not_the_same_write_still_fails() -> None:
    """Another value, one packet of it, behind recovery that is mixed."""
    other = "7C 1C 07 67"
    found = failed([*[RESET] * 3, *[DIRECT] * 5, RESET, DIRECT, *[RESET] * 5, other])
    assert {57, 58} <= found.keys()
    assert failed([*[RESET] * 3, DIRECT, *[IDLE] * 3]).keys() >= {57, 58}


@pytest.mark.parametrize("writes", [2, 3, 4])
def test_an_answer_may_have_ended_the_count_before_a_mixed_recovery(writes: int) -> None:
    """From the second write on (P17): six of the same write or resets follow, however mixed."""
    for mixture in product([DIRECT, RESET], repeat=6):
        sent = [*[RESET] * 3, *[DIRECT] * writes, *mixture]
        assert failed(sent) == {}, mixture


def test_an_answer_may_have_ended_the_count_before_a_recovery_of_ten() -> None:
    """Six resets or more, and the write again: address-only mode and register 1 ask for ten."""
    opening = [*[RESET] * 3, *[PRESET] * 5, *[RESET] * 9]
    for access in (Access.ADDRESS_ONLY, Access.REGISTER):
        for writes in (2, 3, 4):
            for resets in (5, 6, 7, 9):
                sent = [*opening, *[REGISTER_1] * writes, *[RESET] * resets, REGISTER_1]
                assert failed([*sent, *[RESET] * 6], access) == {}, (access, writes, resets)


def test_writes_across_resets_are_no_count() -> None:
    """A recording that begins within them: unbroken by any other packet (rules 57, 68, 71)."""
    for write, access in ((DIRECT, Access.DIRECT), ("7A 07 7D", None)):
        for sent in ([write, RESET] * 5, [*[write] * 4, *[RESET] * 3, write, *[RESET] * 6]):
            session = Session(programming_track=True, access=access)
            lengths = lengths_of(*sent, preamble=20)
            report = check([edges_of(lengths)], session=session, resolution_ns=1000)
            found = {one.rule.number: one.verdict for one in report.results}
            assert Verdict.PASS not in {found[number] for number in (57, 68, 71)}


@pytest.mark.parametrize("seen", range(1, 9))
def test_a_recording_may_begin_within_a_mixed_recovery(seen: int) -> None:
    """With a reset, too; address-only mode, whose recovery is the longest, and direct mode."""
    for write, access in (("78 72 0A", Access.ADDRESS_ONLY), (DIRECT, Access.DIRECT)):
        recovery = [RESET, RESET, write, RESET, write, RESET, write, write, RESET, RESET]
        sent = [*recovery[-seen:], *[RESET] * (access is Access.DIRECT), *[IDLE] * 3]
        session = Session(programming_track=True, access=access)
        lengths = lengths_of(*sent, preamble=20)
        report = check([edges_of(lengths)], session=session, resolution_ns=1000)
        assert not any(one.failed for one in report.results if one.rule.number in RULES), sent


def test_a_mixed_recovery_behind_a_stretch_without_a_level_fails_nothing() -> None:
    """Seven of its writes may be hidden; with a session or without."""
    whole = [*[IDLE] * 4, *[RESET] * 3, *[DIRECT] * 8, RESET, DIRECT, RESET, *[IDLE] * 4]
    for first, last in ((7, 14), (7, 15), (8, 13)):
        before, hidden = lengths_of(*whole[:first], preamble=20), whole[first:last]
        lasts = sum(lengths_of(*hidden, preamble=20))
        one = edges_of(before)
        two = edges_of(lengths_of(*whole[last:], preamble=20), int(one[-1]) + lasts)
        chunks = [Chunk(one, (int(one[-1]) + 30_000, int(two[0]) - 1_000)), Chunk(two)]
        for track in (None, True):
            session = Session(programming_track=track)
            report = check(chunks, session=session, resolution_ns=1000)
            assert not any(one.failed for one in report.results if one.rule.number in RULES)
