"""Several recordings of one station: one report, and no history from one to the next."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from conformance_helpers import PLAIN, edges_of, result

from dccwire.conformance import Expectation, Report, Session, Verdict, check
from dccwire.conformance.reports.text import would_decide
from dccwire.errors import FieldError
from dccwire.recordings import read, write_vcd
from dccwire.synthesis import Sending

FOLDER = Path(__file__).parent.parent.parent / "vectors/recordings"
MORNING, STORM = FOLDER / "harbour-morning.vcd", FOLDER / "harbour-storm.vcd"
PLAIN_US = 27 * 116 + 15 * 200
LONE_WRITE = bytes.fromhex("03EC020AE7")


def saved(folder: Path, name: str, *packets: bytes | str, factor: float = 1) -> Path:
    """A recording of packets, as nominal halves times a factor."""
    path = folder / name
    sendings = [Sending(one if isinstance(one, bytes) else bytes.fromhex(one)) for one in packets]
    lengths = [round(length * factor) for one in sendings for length in one.lengths()]
    write_vcd(path, iter(edges_of(lengths, 1000).tolist()))
    return path


@pytest.fixture(scope="module")
def both() -> Report:
    return check([MORNING, STORM])


def test_what_is_counted_adds_up(both: Report) -> None:
    """Rule by rule, and of the whole."""
    single = [check(one) for one in (MORNING, STORM)]
    for number in (1, 2, 3, 14, 15, 16, 24):
        for name in ("measured", "failed", "undecided"):
            found = [getattr(result(one, number), name) for one in (*single, both)]
            assert found[0] + found[1] == found[2], (number, name)
    assert both.packets == single[0].packets + single[1].packets
    assert both.edges == single[0].edges + single[1].edges
    assert both.duration_ns == single[0].duration_ns + single[1].duration_ns
    assert sum(both.histogram.counts().values()) == sum(
        sum(one.histogram.counts().values()) for one in single
    )
    assert both.not_judged == single[1].not_judged
    assert both.source == f"{MORNING}, {STORM}"
    assert both.failed


def test_times_name_their_recording(both: Report) -> None:
    """Those of the first one that failed."""
    assert result(both, 16).recording == str(STORM)
    assert result(check([STORM, MORNING]), 16).recording == str(STORM)
    assert result(both, 16).first_times_ns == result(check(STORM), 16).first_times_ns
    assert result(both, 27).to_dict()["recording"] == str(STORM)
    assert result(both, 5).to_dict()["recording"] == str(STORM)
    assert result(both, 18).verdict is Verdict.FAIL
    assert f"failed, at 38.124 ms of {STORM}" in both.text(200)
    assert both.notes[0].startswith(f"{STORM}: 1 pulse shorter than 4 us")


def test_no_history_goes_from_one_to_the_next(tmp_path: Path) -> None:
    """Neither a write that was sent once, nor the time since the last packet."""
    one, other = (saved(tmp_path, name, LONE_WRITE) for name in ("a.vcd", "b.vcd"))
    assert result(check([one, other]), 42).undecided == 2
    assert result(check([one, other]), 24).measured == 0
    twice = saved(tmp_path, "c.vcd", LONE_WRITE, LONE_WRITE)
    assert (result(check(twice), 42).measured, result(check(twice), 24).measured) == (1, 1)


def test_addresses_are_put_together(tmp_path: Path) -> None:
    """Packets and times of both count; the rate is that within the recordings."""
    one = saved(tmp_path, "a.vcd", *[PLAIN] * 3)
    other = saved(tmp_path, "b.vcd", "FF00FF", *[PLAIN] * 5)
    alone = saved(tmp_path, "c.vcd", PLAIN)
    (row,) = (one for one in check([one, other, alone]).addresses if one.address == "short 3")
    assert (row.count, row.recordings) == (9, 3)
    assert row.rate_hz == pytest.approx(1e6 / PLAIN_US)
    assert (row.longest_ns, row.without_ns) == (PLAIN_US * 1000, 14 * 116_000)
    assert row.to_dict()["packets"] == {"speed": 9}
    (single,) = check([alone, alone]).addresses
    assert (single.rate_hz, single.longest_ns) == (None, None)


def test_expectations_are_told_of_each(tmp_path: Path) -> None:
    """Their times are each recording's own."""
    one, other = saved(tmp_path, "a.vcd", "FF00FF"), saved(tmp_path, "b.vcd", PLAIN)
    session = Session(expectations=(Expectation(None, "Idle"),))
    found = check([one, other], session=session).expectations
    assert [each.verdict for each in found] == [Verdict.PASS, Verdict.FAIL]
    assert [each.note for each in found] == [f"in {one}", f"in {other}"]


def test_an_expectation_behind_the_end_of_one_names_it(tmp_path: Path) -> None:
    """Of a single recording it is plain which."""
    short = saved(tmp_path, "a.vcd", PLAIN)
    session = Session(expectations=(Expectation(from_ns=100_000_000),))
    for recordings, notes in (([MORNING, short], [f"in {short}"]), ([short], [])):
        with pytest.raises(FieldError, match="from_s") as caught:
            check(recordings, session=session)
        assert getattr(caught.value, "__notes__", []) == notes


def test_one_that_is_in_doubt_leaves_its_rules_open(tmp_path: Path) -> None:
    """Nothing passes by times that are a factor off, nor fails; the other one still counts."""
    right = saved(tmp_path, "a.vcd", *[PLAIN] * 4)
    slow = saved(tmp_path, "b.vcd", *[PLAIN, "FF00FF"] * 4, factor=1.07)
    report = check([right, slow], resolution_ns=1000)
    assert result(report, 1).verdict is Verdict.UNDECIDED
    assert result(report, 16).verdict is Verdict.PASS
    assert any(note.startswith(f"{slow}: ") and "1.07" in note for note in report.notes)


def test_the_coarsest_resolution_is_told(tmp_path: Path) -> None:
    """All are as exact as it, at least."""
    path = saved(tmp_path, "a.vcd", *[PLAIN] * 4)
    report = check([read(MORNING), read(path, resolution=2500)])
    assert (report.resolution_ns, report.resolution_source) == (2500, "option")


def test_what_stops_the_one_stops_all() -> None:
    """The report so far is of what was judged."""
    report = check([MORNING, STORM], progress=lambda: True)
    assert report.stopped
    assert report.source == str(MORNING)


def test_no_recording_at_all_is_no_edges() -> None:
    """Nothing is shown."""
    assert check([]).verdict is Verdict.NOT_EXERCISED
    assert check([np.empty(0, np.int64)]).source == "edges"


def test_one_without_a_packet_keeps_the_whole_open(tmp_path: Path) -> None:
    """And what would decide it is told."""
    ones = tmp_path / "ones.vcd"
    write_vcd(ones, iter(range(1_000_000, 30_000_000, 58_000)))
    report = check([MORNING, read(ones, signal="track")])
    assert (report.verdict, report.unread) == (Verdict.UNDECIDED, (str(ones),))
    assert not report.well()
    assert f"no packet in {ones}: the right signal, rate and unit?" in would_decide(report)
