"""Parts of a recording that are judged by themselves: merged, they are as if judged at once."""

from __future__ import annotations

import os
import pickle
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from multiprocessing import Value
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_conformance_random import SESSIONS, chunks_of, stretches

from dccwire.conformance import Part, Report, Session, Terms, check, merge, parts, processes
from dccwire.conformance.judging import alike
from dccwire.errors import FieldError, RecordingError
from dccwire.receiver import Gap, PacketReceived
from dccwire.recordings import Chunk, RecordingPart, read, write_vcd
from dccwire.synthesis import Sending, synthesize

STORM = Path(__file__).parent.parent.parent / "vectors/recordings/harbour-storm.vcd"
TEXTS = ["FF00FF", "033F3C", "000000", "C4B53F2967", "03EC02 00ED", "700272", "7C0279", "0343BE"]


def traffic(count: int, seed: int, **noise: float) -> np.ndarray:  # type: ignore[type-arg]
    """Edges of packets of several kinds, a few of them wrong, in an order drawn by the seed."""
    draw = np.random.default_rng(seed)
    sent = [Sending(bytes.fromhex(TEXTS[at])) for at in draw.integers(0, len(TEXTS), count)]
    for at in draw.integers(0, count, count // 50):
        sent[at] = Sending(sent[at].data, **{str(draw.choice(["flip", "drop"])): 12})
    for at in draw.integers(0, count, count // 80):
        sent[at] = Sending(sent[at].data, gap_ns=int(draw.choice([3_000_000, 40_000_000])))
    edges = synthesize(sent, jitter_ns=200, seed=seed, **noise)  # type: ignore[arg-type]
    return np.fromiter(edges, np.int64)


def lines(report: Report) -> list[object]:
    """All that a report says."""
    return [*report.to_dicts(), report.text(every=True)]


def merged(chunks: list[list[Chunk]], terms: Terms) -> Report:
    return merge([Part.of(some, terms) for some in chunks])


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 1000),
    cuts=st.lists(st.floats(0, 1), min_size=1, max_size=5),
    pulses=st.sampled_from([0, 0, 3]),
)
def test_parts_of_edges_add_up(seed: int, cuts: list[float], pulses: int) -> None:
    """Wherever they are cut, with faults, silence and distortion in them."""
    edges = traffic(260, seed, pulses_per_second=pulses)
    places = sorted({0, len(edges), *(int(cut * len(edges)) for cut in cuts)})
    some = [[Chunk(edges[one:two])] for one, two in pairwise(places)]
    report = merged(some, Terms(1000, "option", 100))
    assert lines(report) == lines(check([edges], resolution_ns=1000, uncertainty_ns=100))


@settings(max_examples=40, deadline=None)
@given(made=stretches(), cuts=st.lists(st.floats(0, 1), max_size=4), at=st.data(), session=SESSIONS)
def test_parts_with_times_without_a_level_add_up(
    made: list[tuple[bool, list[int]]], cuts: list[float], at: st.DataObject, session: Session
) -> None:
    """Whatever the session says; here most parts are too short to stand by themselves."""
    chunks = chunks_of(made * 6, cuts)
    place = at.draw(st.integers(0, len(chunks)))
    report = merged([chunks[:place], chunks[place:]], Terms(1000, session=session))
    assert lines(report) == lines(check(chunks, resolution_ns=1000, session=session))


def test_parts_that_stand_by_themselves_are_not_judged_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of a signal that is well all but the first edges of each part is counted where it is read."""
    edges = np.fromiter(synthesize([Sending(bytes.fromhex("FF00FF"))] * 900), np.int64)
    some = [[Chunk(part)] for part in np.array_split(edges, 3)]
    absorb, absorbed = parts.Judge.absorb, list[object]()
    with monkeypatch.context() as watched:
        watched.setattr(
            parts.Judge, "absorb", lambda *given, **how: absorbed.append(absorb(*given, **how))
        )
        merge([Part.of(chunks, Terms(1)) for chunks in some])
    assert len(absorbed) == 3
    made = [Part.of(chunks, Terms(1)) for chunks in some]
    assert all(part.judge is not None for part in made)
    again: list[Chunk] = []
    monkeypatch.setattr(parts.Judge, "add", lambda self, chunk: again.append(chunk))
    monkeypatch.setattr(parts, "alike", lambda one, other: True)
    parts.joined(made)
    assert sum(len(chunk.edges) for chunk in again) == 3 * 2 * 2048


def test_a_part_that_began_otherwise_is_judged_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was found in it by itself does not count then."""
    edges = traffic(300, 5)
    some = [[Chunk(part)] for part in np.array_split(edges, 2)]
    made = [Part.of(chunks, Terms(1000)) for chunks in some]
    monkeypatch.setattr(parts, "alike", lambda one, other: False)
    assert lines(merge(made)) == lines(check([edges], resolution_ns=1000))


def test_parts_of_other_terms_do_not_add_up() -> None:
    """They were judged by other measures."""
    edges = traffic(10, 1)
    made = [Part.of([Chunk(edges)], Terms(resolution)) for resolution in (100, 1000)]
    with pytest.raises(FieldError, match=r"terms: .*resolution_ns=100.* expected"):
        merge(made)


@pytest.fixture(scope="module")
def long_vcd(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Half a minute of a track at 0.1 us, some of it wrong."""
    path = tmp_path_factory.mktemp("recordings") / "long.vcd"
    write_vcd(path, iter((traffic(1500, 3) // 100 * 100).tolist()))
    return path


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("at_work", ["all", "others", "others, spawned"])
def test_processes_give_the_report_of_one(
    long_vcd: Path, count: int, at_work: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To the last byte, whoever judges which part; where threads run, processes begin anew."""
    whole = check(long_vcd)
    monkeypatch.setattr(processes.Judge, "run", None)  # it is not judged as a whole
    first, take = os.getpid(), processes._Work.take
    if at_work != "all":
        told = lambda work: None if os.getpid() == first else take(work)  # noqa: E731 - a stand-in
        monkeypatch.setattr(processes._Work, "take", told)
    done = threading.Event()
    if at_work.endswith("spawned"):
        threading.Thread(target=done.wait).start()
    try:
        assert lines(check(long_vcd, processes=count)) == lines(whole)
    finally:
        done.set()


def test_others_that_take_their_time_are_waited_for(
    long_vcd: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As long as they run."""
    whole = check(long_vcd)
    first, take = os.getpid(), processes._Work.take
    told = lambda work: None if os.getpid() == first else take(work)  # noqa: E731 - a stand-in
    monkeypatch.setattr(processes._Work, "take", told)
    monkeypatch.setattr(processes._Work, "judge", slowly(processes._Work.judge))
    monkeypatch.setattr(processes, "_PATIENCE_S", 0.01)
    assert lines(check(long_vcd, processes=2)) == lines(whole)


def test_a_part_that_cannot_be_read_is_no_part(long_vcd: Path) -> None:
    """The whole then tells what is wrong."""
    parts_ = read(long_vcd).parts(3)
    spoiled(long_vcd, (b"\n1!", b"\n?!"), 0.5).replace(long_vcd.with_name("other.vcd"))
    bad = read(long_vcd.with_name("other.vcd")).parts(3)
    work = processes._Work([*parts_, *bad], Terms(100), Value("l", 0), SimpleQueue[Any]())
    assert [work.judge(number) is None for number in range(6)] == [
        *(False, False, False),
        *(False, True, False),
    ]


def test_what_a_process_ends_without_is_judged_as_a_whole(
    long_vcd: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Such as one that the system has killed."""
    whole = check(long_vcd)
    monkeypatch.setattr(processes, "_PATIENCE_S", 0.01)
    monkeypatch.setattr(processes, "_help", lambda work: os._exit(int(work.take() is None)))
    monkeypatch.setattr(processes._Work, "judge", slowly(processes._Work.judge))
    assert lines(check(long_vcd, processes=2)) == lines(whole)


def slowly(judge: Callable[..., object]) -> Callable[..., object]:
    """Lets the other processes have a part."""

    def judged(*given: object) -> object:
        time.sleep(0.05)
        return judge(*given)

    return judged


def test_what_a_process_gives_back_is_a_part(
    long_vcd: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It can be sent as it is, rules and tallies included; Ctrl-C is for the first process."""
    recording = read(long_vcd)
    terms = Terms(recording.resolution_ns, recording.resolution_source)
    ignored = list[object]()
    monkeypatch.setattr("signal.signal", lambda *given: ignored.append(given))
    answers = SimpleQueue[Any]()
    processes._help(processes._Work(recording.parts(3), terms, Value("l", 0), answers))
    assert ignored == [(signal.SIGINT, signal.SIG_IGN)]
    sent = [pickle.loads(pickle.dumps(answers.get())) for _ in range(3)]
    assert [number for number, _ in sent] == [0, 1, 2]
    report = merge([replace(part, chunks=read) for _, (read, part) in sent])
    expected = check(long_vcd)
    assert [one.to_dict() for one in report.results] == [one.to_dict() for one in expected.results]


def spoiled(path: Path, change: tuple[bytes, bytes], at: float) -> Path:
    """The file with something replaced once, behind a place in it."""
    text = path.read_bytes()
    place = text.index(change[0], int(at * len(text)))
    made = path.with_name("spoiled.vcd")
    made.write_bytes(text[:place] + change[1] + text[place + len(change[0]) :])
    return made


@pytest.mark.parametrize(
    "change",
    [
        (b"\n1!", b"\nx!"),
        (b"\n1!", b"\n0!"),
        (b"\n1!", b"\n$comment\n#7\n $end\n1!"),
        (b"\n1!", b"\n1!\n$dumpoff\nx!\n$end"),
        (b"\n#", b"\n\n#"),
        (b"\n#", b"\n $comment #0\n#1 a\n#2 b $end\n#"),
    ],
    ids=["x", "repeated", "comment", "dump off", "blank line", "times in a comment"],
)
@pytest.mark.parametrize("at", [0.05, 0.5, 0.95])
def test_files_that_are_not_plain_are_judged_alike(
    long_vcd: Path, change: tuple[bytes, bytes], at: float
) -> None:
    """Also where they are cut: what does not fit together is read as a whole."""
    path = spoiled(long_vcd, change, at)
    assert lines(check(path, processes=2)) == lines(check(path))


def test_parts_that_do_not_follow_are_read_as_a_whole(
    long_vcd: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever they have shown."""
    whole = check(long_vcd)
    monkeypatch.setattr(RecordingPart, "follows", lambda self, before: False)
    assert lines(check(long_vcd, processes=2)) == lines(whole)


def test_what_is_open_is_compared_by_what_it_holds() -> None:
    """Also arrays, and events of several kinds."""
    event = PacketReceived(0, 1, 2, 14, b"1", True)
    assert alike([np.arange(3), (event, None)], [np.arange(3), (event, None)])
    for other in (
        [np.arange(4), event],
        [np.arange(3), Gap(0, 1)],
        [np.arange(3), None],
        [1, event],
    ):
        assert not alike([np.arange(3), event], other)
    assert not alike(event, PacketReceived(0, 1, 2, 15, b"1", True))
    assert not alike([event], [event, event])


def test_what_cannot_be_read_is_told_alike(long_vcd: Path) -> None:
    """With the line of the whole file."""
    path = spoiled(long_vcd, (b"\n1!", b"\n?!"), 0.7)
    told = []
    for count in (1, 2):
        with pytest.raises(RecordingError) as caught:
            check(path, processes=count)
        told.append(str(caught.value))
    assert told[0] == told[1]
    assert "line" in told[0]


def test_other_formats_are_judged_in_one_process(tmp_path: Path) -> None:
    """They are read from their begin alone."""
    path = tmp_path / "edges.npy"
    np.save(path, traffic(50, 2))
    assert read(path, unit="ns").parts(4) == []
    reports = [check(read(path, unit="ns"), processes=count) for count in (1, 4)]
    assert lines(reports[0]) == lines(reports[1])


def test_a_file_that_ends_at_once_is_not_cut() -> None:
    """Where no time stands near a place to cut, it is read as a whole."""
    assert lines(check(STORM, processes=64)) == lines(check(STORM))


def test_stopped_processes_give_the_report_so_far(long_vcd: Path) -> None:
    """The parts that are done count."""
    report = check(long_vcd, processes=2, progress=lambda: True)
    assert report.stopped
    assert 0 < report.packets < check(long_vcd).packets
    assert report.notes[0].startswith("stopped: what comes after")


@pytest.mark.parametrize("count", [0, -1, 1.5, True])
def test_no_process_is_refused(count: int) -> None:
    """As the command line has it, too."""
    with pytest.raises(FieldError, match="processes: 1 or more expected"):
        check(STORM, processes=count)


def test_the_command_takes_processes_and_several_files(run, long_vcd: Path) -> None:
    """The report is that of one process; a number that is none is one line."""
    words = ["check", str(long_vcd), str(STORM), "--json"]
    assert run(*words, "--processes", "2") == run(*words)
    status, out, err = run(*words, "--processes", "0")
    assert (status, out, err) == (2, "", "dccwire: processes: 1 or more expected, 0 given\n")
