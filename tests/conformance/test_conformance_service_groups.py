"""Packets in service mode cut into groups, without any rule."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_conformance_packets import with_error_byte

from dccwire.address import Mode
from dccwire.conformance.history import Heard
from dccwire.conformance.rules import Sent
from dccwire.conformance.service.groups import End, Group, Groups, Kind, Target, kind_and_target
from dccwire.receiver.tracking import ModeHistory, is_service

PACKETS = {
    "r": bytes(3),
    "v": bytes.fromhex("741C264E"),  # verify CV 29
    "V": bytes.fromhex("741C2048"),  # the same CV, another value
    "w": bytes.fromhex("7C1C2646"),  # write CV 29
    "W": bytes.fromhex("7C00265A"),  # write CV 1
    "p": bytes.fromhex("7D017C"),  # page preset
    "i": bytes.fromhex("FF00FF"),
    "h": bytes.fromhex("000101"),  # hard reset to all
    "x": bytes.fromhex("741C264F"),  # a wrong error byte
}
LASTS, PREAMBLE = 6_000_000, 2_000_000


def run(text: str, *, meant: bool = False) -> list[Group]:
    """The groups of packets that letters stand for, each of 8 ms.

    `_` is a pause of 30 ms without a gap, `-` one with, `!` what could not be read, `.` others
    that the groups do not ask for.
    """
    return list(steps(Groups(1000, meant=meant), text))


def steps(groups: Groups, text: str) -> Iterator[Group]:
    """The groups as they end."""
    history, at, number = ModeHistory(), 0, 0
    for one in text:
        if one in "_-":
            at += 30_000_000
            if one == "-":
                history.miss(at)
                yield from groups.gap(at - 30_000_000, at)
        elif one == ".":
            at, number = at + PREAMBLE + LASTS, number + 1
        elif one == "!":
            at += LASTS
            history.miss(at)
            groups.miss(at)
        else:
            data = PACKETS[one]
            begin, start, at = at, at + PREAMBLE, at + PREAMBLE + LASTS
            mode: Mode | None = Mode.OPERATIONS
            if Sent(data).right:
                told = history.take(data, start, at)
                mode = told if is_service(data) else mode
            yield from groups.take(Heard(number, begin, start, at, 21, Sent(data, mode), False))
            number += 1
    yield from groups.close()


def words(text: str, *, meant: bool = False) -> list[str]:
    """Each group in short: resets, kind and packets, resets, what ended it."""
    return [
        f"{one.before.count} {one.kind.name[0]}{one.count} {one.after.count} {one.ended.name}"
        for one in run(text, meant=meant)
    ]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("rrrvvvvvi", ["3 V5 0 OTHERS"]),
        ("rrrvvvvvrrri", ["3 V5 3 OTHERS"]),
        ("rrrvvvvvrwwi", ["3 V5 1 GROUP", "1 W2 0 OTHERS"]),
        ("rrrwwwwwwwrrrrri", ["3 W7 5 OTHERS"]),
        ("rrrwwwwwWi", ["3 W5 0 GROUP", "0 W1 0 OTHERS"]),
        ("rrrvvv", ["3 V3 0 RECORDING"]),
        ("rrrvvvrr", ["3 V3 2 RECORDING"]),
        ("rrrvvvrr_rvi", ["3 V3 2 PAUSE", "1 V1 0 OTHERS"]),
        ("rrrvvvrr-rvi", ["3 V3 2 GAP", "1 V1 0 OTHERS"]),
        ("rrrpppppi", ["3 W5 0 OTHERS"]),
        ("iiiii", []),
        ("rrriiii", []),
    ],
)
def test_groups_with_their_resets(text: str, found: list[str]) -> None:
    """Each ends with what is of another kind or target, and says what that was."""
    assert words(text + "ii" * text.endswith("i")) == found


def test_resets_between_groups_belong_to_both() -> None:
    """They are what comes behind the one, and before the other."""
    first, second = run("rrrwwwwwrrrrrrrrrvvvvvi")
    assert first.after is second.before
    assert (second.earlier, first.after.count) == (first, 9)


@pytest.mark.parametrize("between", ["i", "_", "-"])
def test_what_divides_sequences(between: str) -> None:
    """No group has an earlier one behind other packets, a pause, or silence."""
    assert run(f"rrrwwwwwrr{between}rrrvvi")[1].earlier is None


def test_no_chain_of_groups_is_kept() -> None:
    """Behind the next group an earlier one is let go."""
    *_, last = run("rrrvvrvvrvvrvvi")
    assert last.earlier is not None
    assert last.earlier.earlier is None


def test_differing_packets_to_one_cv_make_one_group_until_five_are_identical() -> None:
    """Those are enough for a group of their own; what falls short counts with what follows."""
    assert words("rrrvvvvVvvvvvVVVVVi" + "i" * 3) == ["3 V10 0 GROUP", "0 V5 0 OTHERS"]
    (first, second) = run("rrrvvvvVvvvvvVVVVViiii")
    assert (first.differs, first.same, second.differs, second.same) == (True, 5, False, 5)


@pytest.mark.parametrize(("text", "surplus"), [("w", 0), ("wwwwww", 1), ("w" * 9, 4)])
def test_packets_beyond_five(text: str, surplus: int) -> None:
    """Identical ones are a surplus, which counts for recovery."""
    assert run(f"rrr{text}i")[0].surplus == surplus


def test_intruders_are_told_where_the_group_goes_on() -> None:
    """The longest run counts; behind five packets, or resets, what goes on is a new group."""
    (group,) = run("rrrvviivvvii")
    assert (group.count, group.intruders) == (3, [5 * 8_000_000 + PREAMBLE])
    assert words("rrrvvvvvivvvvi") == ["3 V5 0 OTHERS", "0 V4 0 OTHERS"]
    assert words("rrrvvirvvv") == ["3 V2 0 OTHERS", "1 V3 0 RECORDING"]
    assert words("rrrvviiiiiiivvv") == ["3 V2 0 OTHERS"]


def test_where_the_recording_cuts() -> None:
    """Before the first packet, and behind the last, more may have been sent."""
    begun, ended = run("vvvrrrvv")
    assert (begun.cut, begun.uncounted, begun.unsure) == (True, True, True)
    assert (ended.cut, ended.uncounted, ended.unsure) == (False, True, False)
    assert run("rrvvr")[0].before.cut
    assert not run("rrvvr")[0].uncounted
    assert not run("irrvvi")[0].before.cut


@pytest.mark.parametrize(
    ("text", "lost", "before", "after"),
    [
        ("rrrvv!vvrri", True, False, False),
        ("rrrvvxvvrri", True, False, False),
        ("r!rvvrri", False, True, False),
        ("rr!vvrri", True, True, False),
        ("rrvv!rri", True, False, True),
        ("rrvvr!ri", False, False, True),
        ("rrvv-rri", True, False, False),
        ("-rrvvrri", False, True, False),
        ("-vvrri", True, True, False),
        (".-vvrri", True, True, False),
        (".!vvrri", True, True, False),
        ("-.rrvvrri", False, False, False),
        ("!.rrvvrri", False, False, False),
    ],
)
def test_what_may_be_lost(text: str, lost: bool, before: bool, after: bool) -> None:
    """Each part of a group that a packet may have belonged to says so."""
    group = run("i" + text + "ii")[0]
    assert (group.lost, group.before.missed, group.after.missed) == (lost, before, after)


def test_a_pause_in_which_packets_may_be_lost_is_a_gap() -> None:
    """Four that could not be read are 24 ms; three are less than the 20 ms that divide groups."""
    assert words("irvv!!!vvi") == ["1 V2 0 OTHERS"]  # those in a row behind them
    assert words("irvv!!!!vvi") == ["1 V2 0 GAP", "0 V2 0 OTHERS"]
    assert [one.lost for one in run("irvv!!!!vvi")] == [True, True]
    assert pauses("irv!!!!v") == [(2, False), (26, True)]


def test_silence_too_short_for_a_packet_hides_none() -> None:
    """Five ms are (14 ones and FF FF 00 take longer)."""
    groups = Groups(1000, meant=False)
    list(steps(groups, "rrrvv"))
    assert groups.gap(0, 4_999_999) == []
    ended = Groups(1000, meant=False)
    taken = Heard(3, 0, 2, 5, 21, Sent(PACKETS["v"], Mode.SERVICE), False)
    ended.take(taken)
    assert ended.gap(0, 4_999_999) == []
    assert [one.ended for one in ended.gap(0, 5_000_000)] == [End.GAP]


def test_packets_that_no_reset_leads() -> None:
    """They are of service mode where that is meant, else where they go on with a group."""
    assert words("irvvivvivv") == ["1 V2 0 RECORDING"]
    assert words("ivvvvv") == []
    assert words("ivvvvv", meant=True) == ["0 V5 0 RECORDING"]
    assert words("irvvWwi") == ["1 V2 0 GROUP", "0 W1 0 GROUP", "0 W1 0 OTHERS"]


def test_resets_that_others_divide() -> None:
    """When a packet came between, and one that resets decoders too."""
    assert run("rrirvvi")[0].before.divided == 2 * 8_000_000 + PREAMBLE
    assert run("rriirvvi")[0].before.divided == 2 * 8_000_000 + PREAMBLE
    assert run("iirvvi")[0].before.divided is None
    group = run("rrhrvvi")[0]
    assert group.before.likeness == group.before.divided == 2 * 8_000_000 + PREAMBLE
    assert run("rrhirvvi")[0].before.likeness is None


def pauses(text: str) -> list[tuple[int, bool]]:
    """The pauses in ms, and whether there is doubt about them."""
    groups, found = Groups(1000, meant=False), []
    take = groups.take

    def listen(heard: Heard) -> list[Group]:
        ended = take(heard)
        if groups.pause is not None:
            found.append((groups.pause.lasted // 1_000_000, bool(groups.pause.doubt)))
        return ended

    groups.take = listen  # type: ignore[method-assign]
    list(steps(groups, text))
    return found


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("irrv", [(2, False)] * 2),
        ("irv_v", [(2, False), (32, False)]),
        ("irv-v", [(2, False), (40 - 8, True)]),
        ("irw_r", [(2, False), (32, False)]),
        ("irww_r", [(2, False), (2, False), (32, True)]),
        ("irv_r", [(2, False)]),
        ("ir_rv", [(2, False)]),
        ("irwr_r", [(2, False), (2, False), (32, True)]),
        ("irvr", [(2, False)]),
    ],
)
def test_pauses_within_a_step(text: str, found: list[tuple[int, bool]]) -> None:
    """From the first reset to where the count ends or recovery; not between steps."""
    assert pauses(text) == found


def test_kinds_and_targets() -> None:
    """Four bytes are direct mode, three name a register (S-9.2.3 §E); the rest is neither."""
    expected = {
        "741C26": (Kind.VERIFY, Target(True, 29)),
        "7F FF 00": (Kind.WRITE, Target(True, 1024)),
        "781CE7": (Kind.VERIFY, Target(True, 29)),
        "781CF7": (Kind.WRITE, Target(True, 29)),
        "7003": (Kind.VERIFY, Target(False, 1)),
        "7F08": (Kind.WRITE, Target(False, 8)),
        "701C26": (Kind.OTHER, Target(False, 0)),
        "03F9": (Kind.OTHER, Target(False, 0)),
        "00F903": (Kind.OTHER, Target(False, 0)),
    }
    found = {body: kind_and_target(with_error_byte(body)) for body in expected}
    assert found == expected


@given(st.text("rvVwWpihx_-!", max_size=60), st.booleans())
def test_groups_tile_the_packets(text: str, meant: bool) -> None:
    """Whatever comes: each group is in order, and no packet is in two."""
    pairs = [(one, one.earlier) for one in steps(Groups(1000, meant=meant), text)]
    groups = [one for one, _ in pairs]
    assert [one.number for one in groups] == sorted({one.number for one in groups})
    for (one, _), (following, earlier) in pairwise(pairs):
        assert one.end <= following.begin
        assert (earlier is one) is (one.ended is End.GROUP)
        assert earlier is None or one.after is following.before
    assert all(one.count >= 1 and 0 <= one.same <= one.run for one in groups)
    assert all(one.same or one.missed for one in groups)
