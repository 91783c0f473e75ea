"""What a page draws: the signal around findings, and packets by address over time."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import html5lib
import numpy as np
import pytest
from conformance_helpers import PLAIN, SAMPLED_NS, SIGNAL, edges_of, lengths_of
from hypothesis import given, settings
from hypothesis import strategies as st

import dccwire
from dccwire.conformance import Evidence, Report, check, evidence_of, html_of
from dccwire.conformance.reports.evidence import BINS, MOST_EXCERPTS, MOST_ROWS, Excerpt
from dccwire.recordings import Chunk

STORM = Path(__file__).parents[2] / "vectors/recordings/harbour-storm.vcd"


def seen(chunks: Iterable[Chunk], rules: Iterable[int] | None = SIGNAL) -> tuple[Report, Evidence]:
    """A report on chunks, and what is drawn of them."""
    chunks = list(chunks)
    some = None if rules is None else tuple(rules)
    report = check(chunks, rules=some, resolution_ns=SAMPLED_NS)
    return report, evidence_of(chunks, report)


def of(lengths: Iterable[int], rules: Iterable[int] | None = SIGNAL) -> tuple[Report, Evidence]:
    return seen([Chunk(edges_of(lengths))], rules)


def values(one: Excerpt) -> str:
    return "".join(bit.value for bit in one.bits)


def roles(one: Excerpt) -> list[str]:
    """Each role once, in order."""
    told = [bit.role for bit in one.bits]
    return [role for place, role in enumerate(told) if told[place - 1 : place] != [role]]


def test_a_wrong_error_byte_shows_its_packet() -> None:
    """From the ones before the start bit to the next packet: 28 bits and their roles."""
    _, evidence = of(lengths_of(PLAIN, "03 3F 3D", PLAIN))
    (one,) = evidence.excerpts
    assert one.rules == (16,)
    assert one.time_ns in one.edges
    at = one.edges.index(one.time_ns)
    (start,) = (place for place, bit in enumerate(one.bits) if bit.edge == at)
    assert values(one)[start : start + 28] == "0000000110001111110001111011"
    assert set(values(one)[:start]) == {"1"}
    assert roles(one)[1:7] == ["start", "byte 0: 03", "start", "byte 1: 3F", "start", "byte 2: 3D"]
    assert roles(one)[0] == "preamble"
    assert roles(one)[7:] == ["end", "preamble"]
    assert [words for _, _, words in one.parts] == ["packet 03 3F 3D", "packet 03 3F 3C"]


def test_a_short_preamble_is_shown_whole() -> None:
    """All ones that were counted, and the end bit before them."""
    _, evidence = of(lengths_of(PLAIN) + lengths_of("03 3F 3C", preamble=11) + lengths_of(PLAIN))
    (one,) = evidence.excerpts
    assert one.rules == (14,)
    bits = values(one)[: next(n for n, bit in enumerate(one.bits) if bit.role == "start")]
    assert bits.endswith("1" * 12)
    assert "end" in roles(one)[: roles(one).index("preamble")]


def test_a_wrong_half_is_shown_with_a_few_others() -> None:
    """Twelve before it, twenty from it on; a whole packet is more than that says."""
    halves = lengths_of(*[PLAIN] * 3)
    halves[100] = 63_000
    _, evidence = of(halves)
    (one,) = [one for one in evidence.excerpts if 1 in one.rules]
    lengths = [later - first for first, later in pairwise(one.edges)]
    assert (len(lengths), lengths[12], lengths.count(63_000)) == (32, 63_000, 1)
    assert one.edges[12] == one.time_ns


def test_what_is_no_packet_is_named() -> None:
    """Faults with their reason, gaps, what is cut off, and what belongs to nothing."""
    told = {words for one in evidence_of(STORM, check(STORM)).excerpts for *_, words in one.parts}
    assert {"half-bits, 03 read", "of no packet", "packet 37 74 42"} <= told
    edges = edges_of(lengths_of(PLAIN, PLAIN, "03 3F 3D"))
    halves = lengths_of(PLAIN)
    later = edges_of(halves, int(edges[-1]) + 5_000_000)
    chunks = [
        Chunk(edges, (int(edges[-1]) + 100_000, int(edges[-1]) + 5_000_000)),
        Chunk(later[: len(later) - 30]),
    ]
    _, evidence = seen(chunks)
    told = {words for one in evidence.excerpts for *_, words in one.parts}
    assert "packet 03 3F 3D" in told
    assert html_of(check(chunks, resolution_ns=1000), evidence)


def test_a_pair_of_unlike_halves_is_no_bit() -> None:
    """It is drawn as a question."""
    halves = lengths_of(*[PLAIN] * 4)
    place = 120 + halves[120:].index(99_000) + 3
    halves[place] = 70_000
    _, evidence = of(halves)
    (one,) = [one for one in evidence.excerpts if 5 in one.rules]
    assert "?" in values(one)


def test_merged_pulses_are_marked() -> None:
    """Their edges are no half-bits."""
    halves = lengths_of(PLAIN, "03 3F 3D", PLAIN)
    first = sum(halves[:116])
    halves[116:117] = [20_000, 2_000, halves[116] - 22_000]
    _, evidence = of(halves)
    (one,) = [one for one in evidence.excerpts if 16 in one.rules]
    assert one.pulses == (first + 20_000,)
    assert first + 20_000 not in one.edges


def test_an_excerpt_is_bounded_whatever_is_there() -> None:
    """A packet of sixteen bytes, zeros of 9 ms: so many half-bits at most."""
    data = bytes(range(1, 17))
    _, evidence = of([9_000_000 if one == 99_000 else one for one in lengths_of(PLAIN, data, data)])
    assert evidence.excerpts
    assert max(len(one.edges) for one in evidence.excerpts) <= 200


def test_the_number_of_excerpts_and_rows_is_bounded() -> None:
    """The addresses with the most packets have rows, the others share one."""
    sent = [
        bytes((number, 0x74, number ^ 0x74)) for number in range(1, 101) for _ in range(number > 50)
    ]
    sent += [bytes((number, 0x74, number ^ 0x74)) for number in (30, 31)] * 3
    report, evidence = of(lengths_of(*sent, "FF 00 FF", "00 00 00", "70 00 70"), rules=None)
    rows = dict(evidence.timeline.rows)
    assert len(evidence.excerpts) <= MOST_EXCERPTS
    assert len(rows) == MOST_ROWS + 4
    assert sum(rows["short 30"]) == 3
    assert sum(rows["other addresses"]) == 52 - MOST_ROWS
    assert [sum(rows[one]) for one in ("idle", "broadcast", "first byte 112 to 127")] == [1, 1, 1]
    assert sum(map(sum, rows.values())) == report.packets
    assert {len(counts) for counts in rows.values()} == {BINS}


def test_packets_stand_where_they_were_sent() -> None:
    """By their start, in stretches of a hundred and sixtieth of the recording."""
    edges = edges_of(lengths_of(*["FF 00 FF"] * 40, PLAIN, *["FF 00 FF"] * 39), 10**9)
    _, evidence = seen([Chunk(edges)])
    rows, time = dict(evidence.timeline.rows), evidence.timeline
    (place,) = np.flatnonzero(rows["short 3"]).tolist()
    half = int(edges[0] + edges[-1]) // 2
    assert abs(time.begin_ns + place * time.bin_ns - half) < 2 * time.bin_ns + 6_102_000
    assert (time.begin_ns, sum(rows["idle"])) == (10**9, 79)


@settings(max_examples=20)
@given(st.lists(st.integers(0, 900), max_size=6), st.lists(st.integers(4, 300), max_size=4))
def test_chunks_change_nothing(cuts: list[int], odd: list[int]) -> None:
    """Cut anywhere, the same is drawn; and the page with it is valid."""
    halves = lengths_of(PLAIN, "03 3F 3D", PLAIN, "FF 00 FF", PLAIN)
    halves[150:150] = [1000 * one for one in odd]
    edges = edges_of(halves)
    report, whole = seen([Chunk(edges)])
    parts = [Chunk(one) for one in np.split(edges, sorted(one % len(edges) for one in cuts))]
    assert evidence_of(parts, report) == whole
    assert evidence_of([one.edges for one in parts], report) == whole
    html5lib.HTMLParser(strict=True).parse(html_of(report, whole))


def test_a_path_is_read_as_check_reads_it() -> None:
    """With the resolution of the report."""
    report = check(STORM)
    recording = evidence_of(dccwire.recordings.read(STORM), report)
    assert evidence_of(STORM, report) == evidence_of(str(STORM), report) == recording


@pytest.mark.parametrize("gap", [False, True])
def test_of_a_stopped_report_what_was_judged_is_read(gap: bool) -> None:
    """Not a packet more."""
    edges = edges_of(lengths_of(*[PLAIN] * 3))
    silence = (int(edges[-1]) + 1, int(edges[-1]) + 10**6) if gap else None
    more = edges_of(lengths_of("FF 00 FF"), int(edges[-1]) + 2 * 10**6)
    chunks = [Chunk(edges, silence), Chunk(more)]
    report = check(chunks, resolution_ns=1000, progress=lambda: True)
    assert report.stopped
    rows = dict(evidence_of(chunks, report).timeline.rows)
    assert set(rows) == {"short 3"}


def test_of_nothing_nothing_is_drawn() -> None:
    """No edge, no failure: a page without the signal."""
    report, evidence = seen([Chunk(np.empty(0, np.int64))])
    assert evidence.excerpts == ()
    assert evidence.timeline.rows == ()
    assert "The signal where it fails" not in html_of(report, evidence)


def test_a_failure_of_another_recording_is_an_empty_place() -> None:
    """Where the edges are not there, nothing is drawn, and nothing breaks."""
    report, _ = of(lengths_of(PLAIN, "03 3F 3D", PLAIN))
    evidence = evidence_of([np.empty(0, np.int64)], report)
    assert [one.edges for one in evidence.excerpts] == [()]
    html5lib.HTMLParser(strict=True).parse(html_of(report, evidence))
