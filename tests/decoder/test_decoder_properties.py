"""Whatever comes: nothing raises, others do not change, the same stream gives the same state."""

from hypothesis import example, given
from hypothesis import strategies as st

from dccwire import Mode, Packet
from dccwire.decoder import Decoder, Options, Track
from dccwire.receiver.events import PacketReceived
from dccwire.receiver.tracking import ModeTracker
from strategies import GENERAL, bodies, packets, with_error_byte

OPTIONS = Options(time_out_unit_ns=1_000_000, factory={3: 3, 4: 2, 11: 40, 19: 0x8A, 22: 1})
RESET = bytes(3)
FRAGMENTS = (
    RESET,
    with_error_byte(b"\xff\x00"),
    with_error_byte(b"\x74\x00\x03"),
    with_error_byte(b"\x78\x05"),
    with_error_byte(b"\x7d\x11"),
    with_error_byte(b"\x7f\x08"),
    with_error_byte(b"\x00\xf9\x05"),
    with_error_byte(b"\x03\xf9"),
    with_error_byte(b"\x03\xec\x00\x37"),
    with_error_byte(b"\x03\x7f"),
)
"""What leads into the corners, so that they are met often."""

SENT = packets([form for form in GENERAL if form.stands_in(Mode.OPERATIONS)])
SERVICE = st.binary(min_size=1, max_size=2).flatmap(
    lambda rest: st.integers(0x70, 0x7F).map(lambda first: with_error_byte(bytes((first,)) + rest))
)
DATA = st.one_of(
    st.sampled_from(FRAGMENTS),
    SENT.map(bytes),
    SERVICE,
    bodies.map(with_error_byte),
    st.binary(max_size=7),
)
PIECE = st.tuples(DATA, st.integers(1, 3), st.sampled_from((0, 1_000_000, 19_000_000, 25_000_000)))
ASKED = st.one_of(st.sampled_from(FRAGMENTS), SERVICE).map(
    lambda data: ((RESET, 3, 0), (data, 3, 0))
)
"""What a decoder acknowledges follows resets, and comes twice (S-9.2.3 §E)."""

STREAM = st.lists(st.one_of(PIECE.map(lambda one: (one,)), ASKED), max_size=20).map(
    lambda parts: [one for part in parts for one in part]
)
Stream = list[tuple[bytes, int, int]]


def timed(stream: Stream) -> list[tuple[bytes, int, int]]:
    """Each packet as often as the stream says, 6 ms long, after its pause."""
    now, found = 0, []
    for data, times, pause in stream:
        for _ in range(times):
            start = now + pause
            now = start + 6_000_000
            found.append((data, start, now))
    return found


@given(STREAM)
def test_no_stream_raises_and_the_same_stream_gives_the_same_state(stream: Stream) -> None:
    """And every acknowledgement lasts 6 ms and comes in service mode (S-9.2.3 §D)."""
    one, two = Decoder(OPTIONS), Decoder(OPTIONS)
    for packet in timed(stream):
        found = one.take(*packet)
        assert two.take(*packet) == found
        for acknowledgement in found:
            assert one.in_service_mode
            assert acknowledgement.start_ns >= packet[2]
            assert acknowledgement.duration_ns == 6_000_000
        assert -1 <= one.speed_at(packet[2] + 5_000_000) <= 1
    assert one.snapshot() == two.snapshot()
    track = Track((Decoder(OPTIONS),))
    for packet in timed(stream):
        track.take(*packet)
    assert track.decoders[0].snapshot() == one.snapshot()


@given(st.lists(SENT))
def test_decoders_at_other_addresses_never_change(sent: list[Packet]) -> None:
    """Out of service mode, and but for broadcasts."""
    decoder = Decoder(Options(factory={19: 10}))
    fresh = decoder.snapshot()
    for number, packet in enumerate(sent):
        if packet.address.kind != "broadcast" and bytes(packet)[0] not in (3, 10):
            assert decoder.take(packet, number, number) == []
    assert decoder.snapshot() == fresh


@given(STREAM)
def test_what_is_no_valid_packet_changes_nothing(stream: Stream) -> None:
    """S-9.2 §A: the stream with its broken packets left out gives the same."""
    one, two = Decoder(OPTIONS), Decoder(OPTIONS)
    for data, start, end in timed(stream):
        found = one.take(data, start, end)
        if PacketReceived(start, start, end, 20, data, False).packet is not None:
            assert two.take(data, start, end) == found
        else:
            assert found == []
    assert one.snapshot() == two.snapshot()


UNLOCKED = [bytes((number,)) for number in range(1, 128)]


@given(STREAM)
@example([(b"\x00\xf9", 1, 0)])
@example([(RESET, 1, 0), (with_error_byte(b"\x00\xf9\x80"), 1, 0), (FRAGMENTS[2], 2, 0)])
def test_decoder_and_mode_tracker_agree_on_service_mode(stream: Stream) -> None:
    """S-9.2.3 §C, but for decoder locks with no address (P13), which only the tracker takes."""
    decoder, tracker = Decoder(OPTIONS), ModeTracker()
    for data, start, end in timed(stream):
        if data[:2] == b"\x00\xf9" and data[2:3] not in UNLOCKED:
            continue
        event = tracker.take(PacketReceived(start, start, end, 20, data, False))
        decoder.take(event)
        assert isinstance(event, PacketReceived)
        if event.packet is not None:
            assert decoder.in_service_mode == (event.mode is Mode.SERVICE)


@given(STREAM, st.integers(0, 10**10))
def test_asking_for_the_speed_changes_nothing(stream: Stream, later: int) -> None:
    """A decoder that is asked and one that is not go the same way."""
    asked, silent = Decoder(OPTIONS), Decoder(OPTIONS)
    for data, start, end in timed(stream):
        asked.take(data, start, end)
        silent.take(data, start, end)
        asked.speed_at(end + later)
        assert asked.functions is not None
    assert asked.snapshot() == silent.snapshot()
    if stream:
        assert asked.speed_at(end + later) == silent.speed_at(end + later)
