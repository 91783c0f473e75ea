"""Programmer, wire and decoder together: what was asked for comes out at the other end.

The programmer (`dccwire.programming`) and the simulated decoder (`dccwire.decoder`) know nothing of
each other; here they talk, by packets and through the whole wire.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from random import Random

import pytest

from dccwire import Packet
from dccwire.cv import DecoderKind
from dccwire.decoder import Acknowledgement, Decoder, Options
from dccwire.errors import ConfirmationError
from dccwire.programming import (
    AddressOnly,
    Answer,
    Block,
    DirectCv,
    Outgoing,
    PagedCv,
    Register,
    Session,
    Target,
    conversation,
    find_direct_mode,
    read_byte,
    read_cvs,
    write_byte,
    write_byte_on_main,
)
from dccwire.receiver import PacketReceived, Receiver
from dccwire.recordings import write_vcd
from dccwire.synthesis import Sending, synthesize

PACKET_NS = 8_000_000
"""Start bit to start bit: the length of a packet does not matter here."""


class Bench:
    """A programming track without a wire: each packet reaches the decoder, unless it is lost."""

    def __init__(self, decoder: Decoder, *, lost: float = 0, deaf: float = 0, seed: int = 0):
        self.decoder, self.lost, self.deaf = decoder, lost, deaf
        self.random = Random(seed)
        self.time = 0
        self.sent: list[Outgoing] = []

    def __call__(self, outgoing: Outgoing) -> Answer:
        """Send a packet, and say what the current did."""
        self.sent.append(outgoing)
        if outgoing.power_on:
            self.decoder.power_on()
        start = self.time
        self.time += PACKET_NS
        if self.random.random() < self.lost:
            return Answer.SILENCE
        pulses = self.decoder.take(bytes(outgoing.packet), start, start + PACKET_NS - 1)
        heard = bool(pulses) and self.random.random() >= self.deaf
        return Answer.ACKNOWLEDGED if heard else Answer.SILENCE


def carry_out(session: Session, respond: Callable[[Outgoing], Answer]):
    """The result of a session."""
    for _ in conversation(session, respond):
        pass
    return session.result


def check_reading(target: Callable[[int], Target], places: Iterable[tuple[int, int, int]]) -> None:
    """Each CV with a value is read as it stands: (place, CV, value)."""
    bench = Bench(Decoder())
    for place, cv, value in places:
        bench.decoder.set_cv(cv, value)
        assert carry_out(read_byte(target(place)), bench) == value, (cv, value)


DIRECT = [cv for cv in range(1, 1025) if cv not in (31, 32)]
"""CV 31 and 32 choose what stands at 257 to 512, and are read by themselves."""


def legal(cv: int, value: int) -> bool:
    """What a decoder can hold there: CV 1 has seven bits, CV 17 192 to 231 (S-9.2.2)."""
    return not (cv == 1 and value > 127) and not (cv == 17 and not 192 <= value <= 231)


@pytest.mark.slow
def test_direct_mode_reads_every_cv_and_every_value() -> None:
    """All that a decoder can hold: some 262,000 reads."""
    for cv in DIRECT:
        check_reading(DirectCv, ((cv, cv, value) for value in range(256) if legal(cv, value)))


def test_direct_mode_reads_every_cv_sampled() -> None:
    """One seeded value each, and every value of one CV."""
    draw = Random(1)
    drawn = [(cv, cv, draw.randrange(256)) for cv in DIRECT]
    check_reading(DirectCv, (one for one in drawn if legal(*one[1:])))
    check_reading(DirectCv, ((105, 105, value) for value in range(256)))
    check_reading(DirectCv, [(31, 31, 200), (32, 32, 255)])


def test_paged_mode_reads_every_cv_sampled() -> None:
    """One seeded value each, the last four by page 256, sent as 0 (P7); many values of one CV."""
    draw = Random(2)
    drawn = [(cv, cv, draw.randrange(24)) for cv in DIRECT if cv != 17]
    check_reading(PagedCv, drawn)
    check_reading(PagedCv, [(17, 17, 200), (31, 31, 16), (32, 32, 5)])
    check_reading(PagedCv, ((105, 105, value) for value in range(0, 256, 15)))


def test_address_only_mode_reads_cv_1() -> None:
    """Every address that it can hold."""
    check_reading(lambda place: AddressOnly(), ((1, 1, value) for value in range(0, 128, 9)))


def test_register_mode_reads_every_register() -> None:
    """Registers 1 to 5, 7 and 8 of a locomotive: CV 1 to 4, 29, 7 and 8."""
    draw = Random(3)
    places = {1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8}
    check_reading(Register, ((place, cv, draw.randrange(128)) for place, cv in places.items()))


def test_an_accessory_decoders_registers_are_read_by_either_number() -> None:
    """What a decoder has in registers 1, 7 and 8 (S-9.2.3 §E), whatever its other CVs."""
    bench = Bench(Decoder())
    for cv, value in {1: 14, 7: 33, 8: 99, 513: 5, 519: 6, 520: 7}.items():
        bench.decoder.set_cv(cv, value)
    for cvs in ((1, 7, 8), (513, 519, 520)):
        job = [Block(cv, cv) for cv in cvs]
        session = read_cvs(job, Register.of_cv, decoder=DecoderKind.ACCESSORY)
        assert dict(carry_out(session, bench).values) == dict(zip(cvs, (14, 33, 99), strict=True))


@pytest.mark.parametrize("target", [DirectCv, PagedCv])
def test_what_is_written_is_read(target) -> None:
    """Seeded bytes to CVs without side effects."""
    draw = Random(4)
    bench = Bench(Decoder())
    for cv in (2, 3, 5, 21, 67, 94, 105, 600, 1000):
        value = draw.randrange(40)
        assert carry_out(write_byte(target(cv), value), bench) is True
        assert bench.decoder.cv(cv) == value
        assert carry_out(read_byte(target(cv)), bench) == value


@pytest.mark.parametrize(
    ("target", "seeds"), [(DirectCv, 60), (PagedCv, 8)], ids=["direct", "paged"]
)
def test_no_wrong_value_is_reported_whatever_is_lost(target, seeds: int) -> None:
    """A third of packets and acknowledgements lost: the right value, or an error that says so."""
    values = {True: 0, False: 0}
    for seed in range(seeds):
        decoder = Decoder()
        decoder.set_cv(105, seed * 37 % 64)
        bench = Bench(decoder, lost=(seed % 4) / 6, deaf=(seed % 3) / 4, seed=seed)
        try:
            found = carry_out(read_byte(target(105)), bench)
        except ConfirmationError:
            values[False] += 1
        else:
            assert found == decoder.cv(105)
            values[True] += 1
    assert values[True] > 0
    assert values[False] > 0


def test_a_decoder_without_direct_mode_is_found_out() -> None:
    """Bit 7 of CV 8, verified twice (S-9.2.3 §E)."""
    from dccwire.decoder import ServiceMode

    assert carry_out(find_direct_mode(), Bench(Decoder())) is True
    old = Decoder(Options(supports=frozenset({ServiceMode.PAGED, ServiceMode.REGISTER})))
    assert carry_out(find_direct_mode(), Bench(old)) is False


def test_a_write_on_the_main_takes_two_identical_packets() -> None:
    """S-9.2.1 §C, an idle after each (S-9.2 §C); no acknowledgement comes to wait for."""
    from dccwire import ShortAddress

    bench = Bench(Decoder())
    carry_out(write_byte_on_main(ShortAddress(3), 3, 17), bench)
    assert bench.decoder.cv(3) == 17
    sent = [str(outgoing.packet) for outgoing in bench.sent]
    write = "short 3: CvAccessLongForm operation=write cv=3 value=17"
    assert sent == [write, "idle: Idle", write, "idle: Idle"]


class Wire:
    """The whole wire: packets to edges with jitter, through the receiver, to the decoder.

    The receiver gives a packet once the next edge has come, so an acknowledgement is seen with the
    packet after: it begins at the end of the one before, and lasts 6 ms.
    """

    def __init__(self, decoder: Decoder, seed: int) -> None:
        self.decoder, self.seed = decoder, seed
        self.receiver = Receiver(resolution_ns=100)
        self.edges: list[int] = []
        self.pulses: list[Acknowledgement] = []

    def send(self, data: bytes, preamble: int) -> None:
        """The packet's edges, behind those sent before."""
        self.seed += 1
        start = self.edges[-1] if self.edges else 100_000
        sending = [Sending(data, preamble)]
        _, *edges = synthesize(
            sending, start_ns=start, jitter_ns=400, sampling_ns=100, seed=self.seed
        )
        self.edges += edges if self.edges else [start, *edges]
        for event in self.receiver.feed(edges if len(self.edges) > len(edges) + 1 else self.edges):
            if isinstance(event, PacketReceived):
                self.pulses += self.decoder.take(event)

    def __call__(self, outgoing: Outgoing) -> Answer:
        """Send, and look at the current since the answer before."""
        if outgoing.power_on:
            self.decoder.power_on()
        self.pulses.clear()
        self.send(bytes(outgoing.packet), outgoing.preamble)
        return Answer.ACKNOWLEDGED if self.pulses else Answer.SILENCE


@pytest.mark.parametrize(("cv", "value"), [(8, 151), (29, 38), (1, 3), (105, 0), (106, 255)])
def test_a_cv_is_read_through_the_whole_wire(cv: int, value: int) -> None:
    """Packets to edges with jitter and sampling, receiver, decoder, and its answer back."""
    decoder = Decoder()
    decoder.set_cv(cv, value)
    assert carry_out(read_byte(DirectCv(cv)), Wire(decoder, seed=cv)) == value


def test_a_programming_session_is_read_as_service_mode_throughout(run, tmp_path) -> None:
    """Direct reads of CV 8, 29 and 1, between packets of operations mode, in one recording."""
    wire = Wire(Decoder(), seed=9)
    before = [Packet.from_text("short 3: FunctionGroupOne functions=FL")] * 3
    for packet in before:
        wire.send(bytes(packet), 16)
    for cv in (8, 29, 1):
        assert carry_out(read_byte(DirectCv(cv)), wire) == wire.decoder.cv(cv)
    after = [Packet.from_text("idle: Idle"), Packet.from_text("short 3: HardReset")]
    for packet in after:
        wire.send(bytes(packet), 16)
    path = tmp_path / "session.vcd"
    write_vcd(path, wire.edges, timescale_ns=100)
    status, out, _ = run("packets", "--json", str(path))
    assert status == 0
    packets = [each["packet"] for each in map(json.loads, out.splitlines()) if each["packet"]]
    modes = [packet["mode"] for packet in packets]
    first = modes.index("service")
    last = len(modes) - 1 - modes[::-1].index("service")
    # Power-on packets and the resets before the first verify are operations packets still: a
    # decoder enters service mode with the first service mode packet after a reset (S-9.2.3 §C).
    assert {packet["bytes"] for packet in packets[3:first]} == {"00 00 00"}
    assert "programming-track" in packets[first]["address"]["kind"]
    assert set(modes[first : last + 1]) == {"service"}
    assert [packet["bytes"] for packet in packets[last + 1 :]] == ["FF 00 FF", "03 01 02"]
    assert [packet["mode"] for packet in packets[:3]] == ["operations"] * 3
