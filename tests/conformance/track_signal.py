"""A track signal of its own making, and what a recorder sees of it.

Nothing of `dccwire` is used: the bits are S-9.2 §A, the durations S-9.1 §A, both written here by
hand, so that a mistake of the library is not repeated by what tests it. Times are ns, as floats
until a recorder has put them on its grid; lengths that are asked for are µs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import reduce
from operator import xor
from pathlib import Path
from random import Random

import numpy as np
from numpy.typing import NDArray

NONE = -1
"""The level while nothing drives the rails."""

Timing = Callable[[int], tuple[float, float]]
"""The halves of a bit of this value, µs."""


def checked(*data: int) -> bytes:
    """Bytes and their exclusive OR (S-9.2 §B, Byte Three)."""
    return bytes([*data, reduce(xor, data)])


IDLE = checked(0xFF, 0x00)


def steady(one: float = 58, last: float = 0, *, zero: float = 100) -> Timing:
    """Every bit alike; the last half of a 1 differs if given."""
    return lambda bit: (one, last or one) if bit else (zero, zero)


def within_limits(random: Random) -> Timing:
    """Any bit that S-9.1 §A, Table 1 allows; a clock that wanders by 1 in 10^5 is still within."""

    def halves(bit: int) -> tuple[float, float]:
        if bit:
            first = random.uniform(55.001, 60.999)
            return first, random.uniform(max(55.001, first - 2.999), min(60.999, first + 2.999))
        stretched = random.uniform(500, 9899) if random.random() < 0.003 else 0
        return random.uniform(95.001, 110), stretched or random.uniform(95.001, 110)

    return halves


@dataclass
class Signal:
    """Levels, the time at which each begins, and the end of the last one."""

    times: NDArray[np.float64]
    levels: NDArray[np.int8]
    end: float

    def plain(self) -> Signal:
        """Without levels of no length, and without a change that changes nothing."""
        lasting = np.append(self.times[1:], self.end) > self.times
        times, levels = self.times[lasting], self.levels[lasting]
        changes = np.append(True, levels[1:] != levels[:-1])
        return Signal(times[changes], levels[changes], self.end)

    def silent(self, windows: Iterable[tuple[float, float]]) -> Signal:
        """Nothing drives the rails in these windows, ns; what the station does goes on unseen."""
        times, levels = self.times, self.levels
        for start, stop in windows:
            first, after = np.searchsorted(times, [start, stop], "right")
            times = np.concatenate([times[:first], [start, stop], times[after:]])
            levels = np.concatenate(
                [levels[:first], [NONE, levels[after - 1]], levels[after:]], dtype=np.int8
            )
        return Signal(times[times < self.end], levels[times < self.end], self.end).plain()

    def one_wire(self) -> Signal:
        """As one input shows it: no signal looks like a rail at rest, level 0."""
        return Signal(self.times, np.maximum(self.levels, 0), self.end).plain()

    def asymmetric(self, delay_us: float) -> Signal:
        """A probe that shows every rising edge later (an opto-coupler does)."""
        late = (self.levels == 1) & (np.arange(self.levels.size) > 0)
        return Signal(self.times + 1000 * delay_us * late, self.levels, self.end)

    def pulsed(self, random: Random, share: float, width_us: float, *, where: str) -> Signal:
        """A short pulse at a share of the crossings (S-9.1 §B, distortion), or well after them.

        A crossing that rings happens three times; the true time is any of the three.
        """
        times: list[float] = []
        levels: list[int] = []
        width, old = 1000 * width_us, NONE
        for time, level in zip(self.times, map(int, self.levels), strict=True):
            first, pulse = time, []
            if NONE not in (old, level) and random.random() < share:
                there = random.uniform(500, width)
                if where == "crossing":
                    first -= random.choice([0, there, there + width])
                else:
                    there = random.uniform(12_000, 30_000)
                pulse = [first + there, first + there + width]
            times += [first, *pulse]
            levels += [level, 1 - level, level] if pulse else [level]
            old = level
        return Signal(np.array(times), np.array(levels, np.int8), self.end)

    def sampled(self, period_ns: float, phase: float = 0, unit_ns: float = 1) -> Signal:
        """What a recorder writes: an edge is seen at the next sample, its stamp in whole units."""
        index = np.ceil(np.append(self.times, self.end) / period_ns - phase)
        index[0] = 0
        stamps = np.rint(index * period_ns / unit_ns) * unit_ns
        return Signal(stamps[:-1], self.levels, float(stamps[-1])).plain()

    def edges(self) -> NDArray[np.int64]:
        """The times of the changes, ns; where the recording begins there is none."""
        assert NONE not in self.levels
        return np.rint(self.times[1:]).astype(np.int64)

    def write_vcd(self, path: Path, timescale: str = "1 ns") -> Path:
        """A value change dump; no signal is x."""
        number, name = timescale.split()
        unit = int(number) * {"ps": 1e-3, "ns": 1, "us": 1e3}[name]
        lines = [f"$timescale {timescale} $end\n$var wire 1 ! track $end\n$enddefinitions $end\n"]
        for time, level in zip(self.times, self.levels, strict=True):
            lines.append(f"#{round(time / unit)}\n{'01x'[level]}!\n")
        path.write_text("".join(lines) + f"#{round(self.end / unit)}\n")
        return path

    def write_csv(self, path: Path, form: str = "%.9f", kind: type = float) -> Path:
        """Transitions, in seconds of this form, after they went through a type of number."""
        rows = zip(self.times, self.levels, strict=True)
        lines = [f"{form % kind(time / 1e9)},{level}\n" for time, level in rows]
        path.write_text("Time [s],track\n" + "".join(lines))
        return path

    def write_samples(self, path: Path, period_ns: float) -> Path:
        """One byte a sample, the signal in bit 0."""
        counts = np.diff(np.rint(np.append(self.times, self.end) / period_ns).astype(np.int64))
        path.write_bytes(np.repeat(self.levels.astype(np.uint8), counts).tobytes())
        return path


@dataclass
class Track:
    """What a station sends, half-bit by half-bit: levels and their lengths, ns, up to `now`.

    `level` is that of the next half-bit; in `hidden` windows nothing drives the rails although bits
    are sent; at `place` the last packet's start bit began.
    """

    level: int = 1
    timing: Timing = field(default_factory=steady)
    spans: list[tuple[int, float]] = field(default_factory=list)
    hidden: list[tuple[float, float]] = field(default_factory=list)
    now: float = 0
    place: float = 0

    def _span(self, level: int, us: float) -> None:
        self.spans.append((level, 1000 * us))
        self.now += 1000 * us

    def halves(self, *us: float, repeat: int = 1) -> Track:
        """Half-bits of any length: another protocol, a pause, or what is no bit at all."""
        for length in us * repeat:
            self._span(self.level, length)
            self.level ^= 1
        return self

    def packet(
        self,
        data: bytes,
        *,
        preamble: int = 16,
        flip: int | None = None,
        lengths: dict[int, float] | None = None,
    ) -> Track:
        """Preamble, start bits, bytes, end bit (S-9.2 §A), the bytes right or wrong.

        `flip` inverts a bit: 0 is the packet start bit, -1 the end bit. `lengths` gives half-bits
        another length, µs: 0 is the first of the packet start bit.
        """
        framed = [int(bit) for byte in data for bit in f"0{byte:08b}"] + [1]
        if flip is not None:
            framed[flip] ^= 1
        lengths = lengths or {}
        for number, bit in enumerate([1] * preamble + framed, -preamble):
            if number == 0:
                self.place = self.now
            first, last = self.timing(bit)
            self.halves(lengths.get(2 * number, first), lengths.get(2 * number + 1, last))
        return self

    def cutout(self, start: float = 29, stop: float = 471, *, over: bool = False) -> Track:
        """Nothing drives the rails from start to stop, µs from here; the bits wait, or are hidden.

        From memory: it starts 26 to 32 µs after an end bit, and stops 454 to 488 µs after it.
        """
        if over:
            self.hidden.append((self.now + 1000 * start, self.now + 1000 * stop))
        else:
            self._span(self.level, start)
            self._span(NONE, stop - start)
        return self

    def signal(
        self, random: Random | None = None, *, jitter_us: float = 0, wander: float = 0
    ) -> Signal:
        """The signal; each edge up to `jitter_us` off, the clock by up to `wander` of itself."""
        levels, lengths = zip(*self.spans, strict=True)
        bounds = np.append(0.0, np.cumsum(lengths))
        if random:
            bounds[1:-1] += [random.uniform(-1000, 1000) * jitter_us for _ in lengths[1:]]
        turn = 2 * np.pi / 40e6
        bounds += wander / turn * np.sin(turn * bounds)
        whole = Signal(bounds[:-1], np.array(levels, np.int8), float(bounds[-1]))
        return whole.plain().silent(self.hidden)
