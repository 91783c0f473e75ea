"""Writes on the main: how far apart their packets are, to the half-bit."""

from collections.abc import Sequence
from itertools import pairwise

import pytest
from programming_helpers import sent

from dccwire import IDLE, LongAddress, ShortAddress, Timing
from dccwire.programming import (
    TIMINGS,
    MainCounts,
    Outgoing,
    write_bit_on_main,
    write_byte_on_main,
)
from dccwire.signal import durations

APART = 5_000_000
"""From one packet to the start bit of another, in ns: S-9.2 §C; footnote 11 for 112 to 127."""

SESSIONS = {
    "byte to 3": lambda: write_byte_on_main(ShortAddress(3), 29, 38),
    "byte to 112": lambda: write_byte_on_main(ShortAddress(112), 3, 5),
    "bit to 127": lambda: write_bit_on_main(ShortAddress(127), 29, 5, 1),
    "byte to long 3000": lambda: write_byte_on_main(LongAddress(3000), 1, 0),
    "four to 120": lambda: write_byte_on_main(ShortAddress(120), 1, 4, MainCounts(writes=4)),
}


def places(
    outgoing: Sequence[Outgoing], timing: Timing, *, shared: bool = False
) -> list[tuple[int, int]]:
    """When the start bit of each packet begins and its end bit ends, in ns, by its half-bits.

    With `shared` an end bit counts as one of the next preamble (S-9.2 footnote 3; C2).
    """
    now, found = 0, []
    for number, one in enumerate(outgoing):
        preamble = one.preamble - (shared and number > 0)
        lengths = list(durations(one.packet.to_bits(preamble), timing))
        found.append((now + sum(lengths[: 2 * preamble]), now + sum(lengths)))
        now += sum(lengths)
    return found


def gaps(outgoing: Sequence[Outgoing], timing: Timing, *, shared: bool = False) -> list[int]:
    """How long after each end bit of a decoder's packets its next start bit comes, in ns."""
    timed = zip(outgoing, places(outgoing, timing, shared=shared), strict=True)
    own = [place for one, place in timed if one.packet.address != IDLE]
    return [start - end for (_, end), (start, _) in pairwise(own)]


@pytest.mark.parametrize(
    ("timing", "shared", "gap"),
    [
        # an idle packet, 14 + 17 ones and 11 zeros, and the 14 ones of the next preamble
        ("nominal", False, 45 * 116_000 + 11 * 200_000),
        ("least", False, 45 * 110_000 + 11 * 190_000),
        ("most", False, 45 * 122_000 + 11 * 200_000),
        # two of the ones are end bits, of which the first comes before the gap
        ("nominal", True, 43 * 116_000 + 11 * 200_000),
        ("least", True, 43 * 110_000 + 11 * 190_000),
    ],
)
@pytest.mark.parametrize("session", SESSIONS.values(), ids=SESSIONS)
def test_packets_to_one_address_are_5_ms_apart(session, timing, shared, gap) -> None:
    """Within a session, and from one session to the next, at the shortest half-bits too."""
    outgoing = sent(session()) + sent(session())
    found = gaps(outgoing, TIMINGS[timing], shared=shared)
    assert len(found) == len(outgoing) // 2 - 1
    assert set(found) == {gap}
    assert gap >= APART
    bare = [one for one in outgoing if one.packet.address != IDLE]
    assert max(gaps(bare, TIMINGS[timing])) < APART  # so it is the idle packets that do it


@pytest.mark.parametrize("timing", ["nominal", "least", "most"])
@pytest.mark.parametrize("session", SESSIONS.values(), ids=SESSIONS)
def test_at_most_30_ms_lie_between_start_bits(session, timing) -> None:
    """Packets of six bytes among them (S-9.2.1 footnote 7)."""
    starts = [start for start, _ in places(sent(session()), TIMINGS[timing])]
    steps = [after - before for before, after in pairwise(starts)]
    assert 0 < max(steps) <= 30_000_000


def test_an_idle_packet_alone_is_long_enough() -> None:
    """5.796 ms at nominal timing and 5.5 ms at the least, whatever preamble comes after it."""
    idle = sent(write_byte_on_main(ShortAddress(3), 3, 17))[1].packet
    times = [sum(durations(idle.to_bits(14), TIMINGS[timing])) for timing in ("nominal", "least")]
    assert (bytes(idle), times) == (bytes.fromhex("FF00FF"), [5_796_000, 5_500_000])
    assert min(times) >= APART
