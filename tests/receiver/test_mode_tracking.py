"""Which packets of a stream are service mode packets (S-9.2.3 §C)."""

from __future__ import annotations

import pytest

from dccwire.address import Mode
from dccwire.receiver import ModeTracker, PacketReceived, Stray

RESET, VERIFY, IDLE = bytes(3), bytes.fromhex("700373"), bytes.fromhex("FF00FF")
PACKET_NS = 6_000_000


def modes(*packets: bytes, pauses: tuple[int, ...] = ()) -> list[Mode]:
    """The mode of each packet, with a pause before each but the first; 0 where none is given."""
    tracker, at, found = ModeTracker(), 0, []
    for data, pause in zip(packets, (0, *pauses, *[0] * len(packets)), strict=False):
        at += pause
        event = PacketReceived(at, at, at + PACKET_NS, 20, data, True)
        at += PACKET_NS
        taken = tracker.take(event)
        assert isinstance(taken, PacketReceived)
        found.append(taken.mode)
    return found


@pytest.mark.parametrize(
    ("pause", "mode"),
    [(19_999_999, Mode.SERVICE), (20_000_000, Mode.SERVICE), (20_000_001, Mode.OPERATIONS)],
)
def test_a_pause_of_20_ms_ends_service_mode(pause: int, mode: Mode) -> None:
    """Counted to the next start bit, from where a packet that keeps the mode ends."""
    assert modes(RESET, VERIFY, pauses=(pause,))[-1] is mode
    assert modes(RESET, VERIFY, VERIFY, pauses=(0, pause))[-1] is mode
    assert modes(RESET, VERIFY, RESET, VERIFY, pauses=(0, pause, 0))[-1] is Mode.SERVICE


def test_another_packet_ends_service_mode() -> None:
    """Idle included; a reset and a service mode packet lead in again."""
    found = modes(RESET, VERIFY, IDLE, VERIFY, RESET, VERIFY)
    assert [one is Mode.SERVICE for one in found] == [False, True, False, False, False, True]


def test_what_is_no_valid_packet_changes_nothing() -> None:
    """Nor does anything else that a receiver reports."""
    assert modes(RESET, b"\x70\x03\x00", VERIFY)[-1] is Mode.SERVICE
    stray = Stray(0, 1)
    assert ModeTracker().take(stray) is stray
