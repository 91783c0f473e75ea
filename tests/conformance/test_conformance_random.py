"""Any packets, right or wrong, with gaps, in any session: judged without error, in any pieces."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce
from itertools import pairwise
from operator import xor

import numpy as np
from conformance_helpers import COARSE, edges_of
from hypothesis import given, settings
from hypothesis import strategies as st

from dccwire.conformance import Report, Session, Verdict, check
from dccwire.conformance.rules import RULES
from dccwire.recordings import Chunk
from dccwire.synthesis import Sending

FIRST = st.one_of(
    *[st.sampled_from([0, 255, 3, 105]), st.integers(112, 127), st.integers(192, 231)],
    st.integers(0, 255),
)
SECOND = st.one_of(
    st.sampled_from([0x00, 0x07, 0xC0, 0xDD, 0xDE, 0xDF, 0xE8, 0xEC, 0xF9, 0x80]),
    st.integers(0, 255),
)


@st.composite
def packets(draw: st.DrawFn) -> bytes:
    """Three to six bytes; the error byte is wrong in one of eight."""
    rest = draw(st.binary(max_size=3))
    data = bytes([draw(FIRST), draw(SECOND)]) + rest
    return data + bytes([reduce(xor, data) ^ draw(st.sampled_from([0] * 7 + [1]))])


SOME = st.one_of(st.sampled_from([bytes(3), bytes.fromhex("FF00FF")]), packets())
"""Resets and idle packets, and any."""

GAP_US = st.sampled_from([0] * 9 + [60, 400, 3000, 9000, 12_000, 30_000])
SESSIONS = st.builds(
    Session,
    programming_track=st.sampled_from([None, True, False]),
    consists=st.sampled_from([None, frozenset({3, 112})]),
    every_30_ms=st.sampled_from([None, True, False]),
    power_on_ns=st.sampled_from([None, (), (0,), (0, 1_000_000)]),
    new=st.sampled_from([None, True, False]),
)


@st.composite
def stretches(draw: st.DrawFn) -> list[tuple[bool, list[int]]]:
    """Half-bits of packets, some repeated; before each stretch silence, or a time without level."""
    made: list[tuple[bool, list[int]]] = [(False, [])]
    for data in draw(st.lists(SOME, min_size=1, max_size=12)):
        lengths = list(Sending(data, draw(st.sampled_from([14, 20, 200])), COARSE).lengths())
        held = draw(GAP_US)
        if held:
            made.append((draw(st.booleans()), [1000 * held, *lengths[draw(st.integers(0, 30)) :]]))
        for _ in range(draw(st.sampled_from([1, 1, 2, 11]))):
            made[-1][1].extend(lengths)
    return made


def chunks_of(parts: list[tuple[bool, list[int]]], cuts: list[float]) -> list[Chunk]:
    """The edges, in pieces that end at gaps without a level, and at these shares of the rest."""
    wholes: list[np.ndarray] = []  # type: ignore[type-arg] # of edges
    at, kept = 0, [0]
    for undefined, lengths in parts:
        if undefined:
            wholes.append(np.array(kept))
            at += lengths[0]
            kept, lengths = [at], lengths[1:]  # noqa: PLW2901
        more = edges_of(lengths, at).tolist()[1:]
        kept += more
        at = kept[-1]
    wholes.append(np.array(kept))
    chunks = []
    for place, edges in enumerate(wholes):
        places = sorted({0, len(edges), *(int(cut * len(edges)) for cut in cuts)})
        pieces = [edges[one:two] for one, two in pairwise(places)]
        last = place == len(wholes) - 1
        gap = None if last else (int(edges[-1]), int(wholes[place + 1][0]))
        chunks += [Chunk(piece) for piece in pieces[:-1]] + [Chunk(pieces[-1], gap)]
    return chunks


def judged(parts: list[tuple[bool, list[int]]], cuts: list[float], session: Session) -> Report:
    chunks = chunks_of(parts, cuts)
    if session.power_on_ns:  # what comes on behind the end would be refused
        end = max(int(chunk.edges[-1]) for chunk in chunks if len(chunk.edges))
        session = replace(session, power_on_ns=tuple(at for at in session.power_on_ns if at <= end))
    return check(chunks, session=session, resolution_ns=1000)


@settings(max_examples=150, deadline=None)
@given(parts=stretches(), cuts=st.lists(st.floats(0, 1), max_size=6), session=SESSIONS)
def test_any_packets_are_judged_and_in_any_pieces_alike(
    parts: list[tuple[bool, list[int]]], cuts: list[float], session: Session
) -> None:
    """Every rule has a result, and what counts in it adds up."""
    report = judged(parts, [], session)
    assert {one.rule.number for one in report.results} == set(RULES)
    for one in report.results:
        assert one.failed + one.undecided <= one.measured
        assert (one.verdict is Verdict.FAIL) is (one.failed > 0)
        assert len(one.first_times_ns) == min(one.failed, 5)
        assert one.verdict is not Verdict.PASS or one.measured
    assert list(judged(parts, cuts, session).to_dicts()) == list(report.to_dicts())
