"""Stretches of a VCD that are read each by itself: together they are the whole."""

from __future__ import annotations

import gzip
import pickle
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dccwire.recordings import read
from dccwire.recordings.resolution import ResolutionEstimate

HEAD = (
    "$timescale 1 ns $end\n$var wire 1 ! track $end\n$var wire 1 % other $end\n"
    "$enddefinitions $end\n"
)
START = "#5\n$dumpvars\n0!\n$end\n"


def vcd(edges, first=START, last=""):
    """One wire, whose first time mark is not 0."""
    rows = "".join(f"#{edge + 5}\n{1 - number % 2}!\n" for number, edge in enumerate(edges))
    return HEAD + first + rows + last


def edges_of(chunks):
    return np.concatenate([np.empty(0, np.int64), *(chunk.edges for chunk in chunks)])


def joined(path, count, **options):
    """The edges of so many parts, and the recording that has joined them."""
    recording = read(path, **options)
    parts = recording.parts(count)
    edges = [edges_of(part) for part in parts]
    assert all(two.follows(one) for one, two in pairwise(parts))
    recording.join(parts)
    return np.concatenate(edges), recording


@pytest.mark.parametrize("count", [1, 2, 3, 7])
def test_parts_are_the_whole(track, save, count):
    """Their edges, and what is known when all is read."""
    path = save("a.vcd", vcd(track, last="#999999999\n#10"))
    whole = read(path)
    expected = edges_of(whole)
    edges, recording = joined(path, count)
    assert (edges == expected).all()
    known = "resolution_ns", "resolution_source", "end_ns", "notes", "fraction"
    assert [getattr(recording, name) for name in known] == [getattr(whole, name) for name in known]
    assert any("cut off" in note for note in recording.notes)
    told = joined(path, count, resolution=77)[1]
    assert (told.resolution_ns, told.resolution_source) == (77, "option")


def test_parts_can_be_sent_to_another_process(track, save):
    """Before they are read, and with what was found."""
    path = save("a.vcd", vcd(track))
    first, second = (pickle.loads(pickle.dumps(part)) for part in read(path).parts(2))
    edges = np.concatenate([edges_of(first), edges_of(second)])
    first, second = (pickle.loads(pickle.dumps(part)) for part in (first, second))
    assert second.follows(first)
    assert (edges == edges_of(read(path))).all()


def spoiled(track, row):
    """The file with rows put in right before the place where it is cut in two."""
    text = vcd(track)
    place = text.index("\n#", (len(HEAD) + len(text)) // 2) + 1
    return text[:place] + row + text[place:]


@pytest.mark.parametrize(
    ("row", "follows"),
    [
        ("$comment no end\n", False),
        ("b1\n", False),
        ("$dumpoff\nx!\n", False),
        ("0!\n1!\n", True),
        ("1!\n0!\n", True),
        ("0!\n1!\n0!\n", None),
        ("1!\n0!\n1!\n", None),
    ],
)
def test_parts_do_not_follow_on_what_is_open_or_otherwise(track, save, row, follows):
    """A comment, a word, a time without a level; a level that is no change."""
    first, second = read(save("a.vcd", spoiled(track, row))).parts(2)
    for part in (first, second):
        edges_of(part)
    level = row[-3]
    ends = spoiled(track, "").index("\n#", (len(HEAD) + len(vcd(track))) // 2)
    assert second.follows(first) is (
        vcd(track)[ends - 2] == level if follows is not False else False
    )


def test_parts_do_not_follow_where_time_runs_backwards(track, save):
    """A later one before an earlier one, though the levels go on."""
    parts = read(save("a.vcd", vcd(track))).parts(6)
    for part in parts:
        edges_of(part)
    assert all(two.follows(one) for one, two in pairwise(parts))
    levels = [part._level for part in parts[2:]]
    assert parts[1]._taken in levels
    assert not any(parts[1].follows(later) for later in parts[2:])


def test_a_part_without_the_signal_follows_on_nothing(track, save):
    """Only the other wire changes there: which level goes on is not known."""
    rows = "".join(f"#{10**9 + number}\n{number % 2}%\n" for number in range(9000))
    path = save("a.vcd", vcd(track, last=rows))
    first, second = read(path).parts(2)
    edges_of(first)
    assert not len(edges_of(second))
    assert not second.follows(first)


def test_parts_that_were_not_read_do_not_follow(track, save):
    first, second = read(save("a.vcd", vcd(track))).parts(2)
    assert not second.follows(first)


def test_what_is_packed_or_has_no_times_is_not_cut(track, save):
    """Nor is a file with no time near a place to cut."""
    assert read(save("a.vcd.gz", gzip.compress(vcd(track).encode()))).parts(2) == []
    assert read(save("b.vcd", vcd([], first="0!\n")), signal="track").parts(2) == []
    assert read(save("c.vcd", vcd(track, last=" " * 100_000))).parts(64) == []


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 99),
    scale=st.sampled_from([1, 40, 10**4]),
    cut=st.floats(0, 1),
    offset=st.sampled_from([0, 5 * 10**9]),
)
def test_estimates_of_parts_add_up(seed, scale, cut, offset):
    """Whatever the portions, and with times that are far apart."""
    draw = np.random.default_rng(seed)
    times = offset + np.cumsum(draw.integers(50, 120, 20_000)) * 1000 * scale
    place = int(cut * len(times))
    whole, first, second = (ResolutionEstimate(1, int(times[0])) for _ in range(3))
    whole.add(times)
    first.add(times[:place])
    for some in np.array_split(times[place:], 3):
        second.add(some)
    first.absorb(second)
    first.absorb(ResolutionEstimate())
    assert first.result() == whole.result()
    assert {key: value[1:] for key, value in first._octaves.items()} == {
        key: value[1:] for key, value in whole._octaves.items()
    }
