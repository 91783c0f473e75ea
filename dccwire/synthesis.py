"""Packets to a signal: chosen timing, jitter, sampling, seeded noise and planted faults.

The same arguments give the same signal, on every machine. Room: no files; the only random numbers
come from the seed.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import inf
from random import Random

from dccwire.errors import FieldError
from dccwire.framing import SENT_PREAMBLE, to_bits
from dccwire.signal import NOMINAL, Timing, durations

__all__ = ["Sending", "on_grid", "synthesize"]

#: More than a second of ones; the bits of a packet are held in memory.
_MOST_PREAMBLE = 10_000


@dataclass(frozen=True, slots=True)
class Sending:
    """Bytes as they go on the wire, right or wrong on purpose.

    Raises:
        FieldError: a number outside its bounds, or no byte.
    """

    data: bytes
    preamble: int = SENT_PREAMBLE
    timing: Timing = NOMINAL
    flip: int | None = None  # the bit to invert, counted from the packet start bit
    drop: int | None = None  # the half-bit to leave out, counted so as well
    pulse_ns: int = 0  # the length of a pulse in the packet's middle
    gap_ns: int = 0  # silence after the packet, in which the level stays
    # Half-bits of another length: which, counted so as well (the preamble's are below 0), and ns.
    other_halves: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        bits = 9 * len(self.data) + 1
        for name, least, most, places in (
            ("flip", 0, bits - 1, [self.flip]),
            ("drop", 0, 2 * bits - 1, [self.drop]),
            (
                "other_halves",
                -2 * self.preamble,
                2 * bits - 1,
                [place for place, _ in self.other_halves],
            ),
        ):
            for place in places:
                if place is not None and not least <= place <= most:
                    raise FieldError(name, f"{least} to {most}", place)
        for _, length in self.other_halves:
            if length < 1:
                raise FieldError("other_halves", "a positive number of nanoseconds", length)
        for name, length in (("pulse_ns", self.pulse_ns), ("gap_ns", self.gap_ns)):
            if length < 0:
                raise FieldError(name, "0 or more", length)
        if self.preamble > _MOST_PREAMBLE:
            raise FieldError("preamble", f"0 to {_MOST_PREAMBLE}", self.preamble)
        self.lengths()  # raises what else is out of bounds

    def lengths(self) -> list[int]:
        """The half-bits in ns, faults included.

        >>> sum(Sending(bytes.fromhex("FF00FF")).lengths())
        5796000
        """
        bits = list(to_bits(self.data, self.preamble).to_bools())
        if self.flip is not None:
            bits[self.preamble + self.flip] ^= True
        halves = list(durations(bits, self.timing))
        for place, length in self.other_halves:
            halves[2 * self.preamble + place] = length
        if self.drop is not None:
            del halves[2 * self.preamble + self.drop]
        if self.pulse_ns:
            middle = self.preamble * 2 + 9 * len(self.data)
            rest = halves[middle] - self.pulse_ns
            if rest < 2:
                raise FieldError("pulse_ns", f"0 to {halves[middle] - 2}", self.pulse_ns)
            halves[middle : middle + 1] = [rest // 2, self.pulse_ns, rest - rest // 2]
        halves[-1] += self.gap_ns
        return halves


def on_grid(time: int, period_ns: int) -> int:
    """When a recorder that samples so often sees an edge: late by less than one period (M1).

    >>> on_grid(58_001, 1000), on_grid(59_000, 1000)
    (59000, 59000)
    """
    return -(-time // period_ns) * period_ns


def synthesize(
    sendings: Iterable[Sending],
    *,
    start_ns: int = 0,
    jitter_ns: int = 0,
    sampling_ns: int = 1,
    pulses_per_second: float = 0,
    seed: int = 0,
) -> Iterator[int]:
    """The edge times of a signal, in ns.

    Args:
        sendings: what is sent, in order.
        start_ns: when the first half-bit begins.
        jitter_ns: each edge comes up to so much early or late, evenly spread.
        sampling_ns: edges are seen at multiples of this, late by less than one of them (M1).
        pulses_per_second: spurious pulses of 0.2 to 3 µs at random places.
        seed: of jitter and pulses.

    >>> from dccwire import Packet
    >>> idle = Sending(bytes(Packet.from_text("idle: Idle")))
    >>> times = list(synthesize([idle] * 2, jitter_ns=500, seed=7))
    >>> len(times), times == list(synthesize([idle] * 2, jitter_ns=500, seed=7))
    (169, True)
    """
    for name, value, least in (
        ("start_ns", start_ns, 0),
        ("jitter_ns", jitter_ns, 0),
        ("sampling_ns", sampling_ns, 1),
        ("pulses_per_second", pulses_per_second, 0),
    ):
        if not least <= value < inf:
            raise FieldError(name, f"{least} or more", value)
    random, pulses_per_ns = Random(seed), pulses_per_second / 1e9
    latest = 0

    def seen(time: int) -> int:
        nonlocal latest
        if jitter_ns:
            time += random.randint(-jitter_ns, jitter_ns)
        latest = max(latest, on_grid(time, sampling_ns))
        return latest

    def edges() -> Iterator[int]:
        time = start_ns
        yield seen(time)
        for length in (length for sending in sendings for length in sending.lengths()):
            if pulses_per_ns and random.random() < pulses_per_ns * length:
                pulse = random.randint(200, 3_000)
                at = time + random.randint(0, max(length - pulse, 0))
                yield seen(at)
                yield seen(at + pulse)
            time += length
            yield seen(time)

    return edges()
