"""Service mode: entry and exit, two identical packets, acknowledgements."""

import pytest
from decoder_helpers import (
    GAP_NS,
    IDLE,
    RESET,
    VERIFY_CV_1_IS_3,
    WRITE_CV_3,
    at_work,
    on_programming_track,
)

from dccwire.decoder import Acknowledgement, Ignored

STORAGE_NS, ACKNOWLEDGEMENT_NS = 5_000_000, 6_000_000


def test_a_matching_verify_is_acknowledged_at_the_end_of_the_second_packet() -> None:
    """S-9.2.3 §D and §E: 6 ms, once, however often the packet comes."""
    _, line = on_programming_track()
    assert line.send(VERIFY_CV_1_IS_3) == []
    assert line.send(VERIFY_CV_1_IS_3) == [Acknowledgement(line.now, ACKNOWLEDGEMENT_NS)]
    assert line.send(VERIFY_CV_1_IS_3, times=5) == []


def test_a_verify_that_does_not_match_is_not_acknowledged() -> None:
    """S-9.2.3 §D."""
    decoder, line = on_programming_track()
    assert line.send("74 00 04", times=5) == []
    assert decoder.ignored == {}


def test_a_write_is_acknowledged_after_storage() -> None:
    """S-9.2.3 §D."""
    decoder, line = on_programming_track()
    line.send(WRITE_CV_3)
    assert decoder.cv(3) == 0
    done = line.send(WRITE_CV_3)
    assert done == [Acknowledgement(line.now + STORAGE_NS, ACKNOWLEDGEMENT_NS)]
    assert decoder.cv(3) == 7


def test_a_decoder_need_not_acknowledge_a_write() -> None:
    """S-9.2.3 §D: it may; the times are the decoder's own."""
    decoder, line = on_programming_track(acknowledges_writes=False)
    assert line.send(WRITE_CV_3, times=5) == []
    assert decoder.cv(3) == 7
    _, line = on_programming_track(storage_ns=0, acknowledgement_ns=7_000_000)
    assert line.send(WRITE_CV_3, times=2) == [Acknowledgement(line.now, 7_000_000)]


@pytest.mark.parametrize(
    ("between", "answers"),
    [
        ([], 1),
        (["74 00 04"], 0),  # another valid packet
        ([RESET], 0),
        ([IDLE], 0),  # leaves service mode
    ],
)
def test_it_takes_the_same_packet_twice_in_a_row(between: list[str], answers: int) -> None:
    """S-9.2.3 §E."""
    _, line = on_programming_track()
    assert len(line.send(VERIFY_CV_1_IS_3, *between, VERIFY_CV_1_IS_3)) == answers


def test_a_broken_packet_in_between_does_not_count() -> None:
    """S-9.2.3 §E: no other *valid* packet."""
    decoder, line = on_programming_track()
    line.send(VERIFY_CV_1_IS_3)
    line.wait(2_000_000)
    decoder.take(bytes.fromhex("74 00 04 00"), line.now - 1, line.now)
    assert len(line.send(VERIFY_CV_1_IS_3)) == 1


@pytest.mark.parametrize(
    ("opening", "inside"),
    [
        ([RESET], True),
        ([RESET, RESET], True),
        ([], False),
        ([IDLE], False),
        ([RESET, IDLE], False),
        ([RESET, "05 7F"], False),
    ],
)
def test_service_mode_begins_right_after_a_reset(opening: list[str], inside: bool) -> None:
    """S-9.2.3 §C; elsewhere 74 is a short address."""
    decoder, line = at_work()
    answers = line.send(*opening, VERIFY_CV_1_IS_3, VERIFY_CV_1_IS_3)
    assert (len(answers) == 1, decoder.in_service_mode) == (inside, inside)


@pytest.mark.parametrize("last", [RESET, "74 00 05"])
@pytest.mark.parametrize(
    ("pause_ns", "answers"), [(19_999_999, 1), (20_000_000, 1), (20_000_001, 0)]
)
def test_service_mode_lasts_20_ms_more_from_each_packet_that_keeps_it(
    last: str, pause_ns: int, answers: int
) -> None:
    """S-9.2.3 §C: 20 ms is in time, 1 ns more is not."""
    decoder, line = on_programming_track()
    line.send("74 00 05", last)
    line.wait(pause_ns - GAP_NS)
    assert len(line.send(VERIFY_CV_1_IS_3, times=2)) == answers
    assert decoder.in_service_mode == bool(answers)


def test_after_service_mode_ran_out_nothing_counts_that_looks_like_it() -> None:
    """S-9.2.3 §C: a packet of operations has to come first, one that could be nothing else."""
    decoder, line = at_work(factory={1: 0x74})
    line.send(RESET, "7C 02 09")
    line.wait(30_000_000)
    line.send("74 7F", "74 81")
    assert (decoder.step, decoder.functions) == (0, frozenset())
    assert decoder.ignored == {Ignored.BARRED: 2}
    line.send("05 7F", "74 7F")
    assert decoder.step == 28


def test_what_ends_service_mode_is_obeyed_itself() -> None:
    """It is a valid operations packet."""
    decoder, line = on_programming_track()
    line.send(VERIFY_CV_1_IS_3, "03 7F")
    assert (decoder.step, decoder.in_service_mode) == (28, False)


def test_after_20_ms_a_reset_opens_service_mode_anew() -> None:
    """S-9.2.3 §C."""
    _, line = on_programming_track()
    line.send(VERIFY_CV_1_IS_3)
    line.wait(60_000_000)
    assert len(line.send(RESET, VERIFY_CV_1_IS_3, VERIFY_CV_1_IS_3)) == 1


def test_out_of_service_mode_nothing_is_acknowledged() -> None:
    """S-9.2.3 §D: a write on the main and an acknowledgement request."""
    decoder, line = at_work()
    assert line.send("03 EC 02 07", "03 EC 02 07", "03 0F", "03 0F") == []
    assert decoder.cv(3) == 7
