"""Bits to half-bit durations: the timing limits as data, nominal and other timings (S-9.1 §A).

Times are integer nanoseconds. Polarity carries no information, so a signal is a list of durations,
one a half-bit, between two zero crossings. Room: no clock, no random numbers.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import accumulate

from bitstring import Bits

from dccwire.errors import FieldError
from dccwire.formats import Provenance
from dccwire.framing import each_bit

__all__ = ["LIMITS", "NOMINAL", "UNBOUNDED", "Limit", "Timing", "durations", "edges"]

UNBOUNDED = 1 << 62
"""More than any time or count that a limit is held against."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A printed limit, exact (E4), in `unit`: times are in ns and shown in µs.

    Where a limit is no number, `words` say it.

    >>> print(LIMITS["t1"], Limit("S-9.2 §A", least=14, unit="ones"), LIMITS["t1d"], sep="; ")
    55 to 61 us; at least 14 ones; at most 3 us
    """

    clause: str
    least: int = -UNBOUNDED
    most: int = UNBOUNDED
    unit: str = ""
    words: str = ""
    provenance: Provenance = Provenance.PUBLISHED

    def __str__(self) -> str:
        if self.words:
            return self.words
        low, high = (one // 1000 if self.unit == "us" else one for one in (self.least, self.most))
        if self.most == UNBOUNDED:
            return f"at least {low} {self.unit}"
        return f"{low} to {high} {self.unit}" if low > 0 else f"at most {high} {self.unit}"


LIMITS = {
    symbol: Limit(f"S-9.1 §A, Table 1 {symbol}", least, most, "us")
    for symbol, least, most in (
        ("t1", 55_000, 61_000),  # half of a 1 as transmitted
        ("t1d", -UNBOUNDED, 3_000),  # difference of the halves of a 1 as transmitted
        ("tr1", 52_000, 64_000),  # half of a 1 that a decoder must accept
        ("tr1d", -UNBOUNDED, 6_000),  # difference of the halves of a 1 that a decoder must accept
        ("t0", 95_000, 9_900_000),  # half of a 0 as transmitted
        ("t0total", -UNBOUNDED, 12_000_000),  # whole stretched 0 as transmitted
        ("tr0", 90_000, 10_000_000),  # half of a 0 that a decoder must accept
    )
}
"""The limits of Table 1 by their symbols."""


@dataclass(frozen=True, slots=True)
class Timing:
    """How long half-bits last, in ns: `one` and `zero` the first halves, `..._last` the last ones.

    A last half left out is as long as the first. The halves of a zero may differ: stretched zeros
    (common practice, no source) let a motor without a decoder run. A timing outside the limits can
    be made, to try what notices it.

    >>> Timing(one=58_000, zero=100_000).duration_ns(ones=1, zeros=1)
    316000
    """

    one: int = 58_000
    zero: int = 100_000
    one_last: int | None = None
    zero_last: int | None = None

    def __post_init__(self) -> None:
        for name in ("one", "zero", "one_last", "zero_last"):
            value = getattr(self, name)
            left_out = value is None and name.endswith("last")
            if not left_out and (type(value) is not int or value < 1):
                raise FieldError(name, "a positive number of nanoseconds", value)

    @property
    def halves(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """The two halves of a 0, and of a 1."""
        return (self.zero, self.zero_last or self.zero), (self.one, self.one_last or self.one)

    def duration_ns(self, ones: int, zeros: int) -> int:
        """The time that so many ones and zeros take."""
        zero, one = self.halves
        return ones * sum(one) + zeros * sum(zero)


NOMINAL = Timing()
"""58 µs and 100 µs: the nominal halves of S-9.1 §A, Table 1."""


def durations(bits: Bits | Iterable[bool | int], timing: Timing = NOMINAL) -> Iterator[int]:
    """The half-bit durations of bits, two a bit, in ns."""
    zero, one = timing.halves
    for bit in each_bit(bits):
        yield from one if bit else zero


def edges(lengths: Iterable[int], start_ns: int = 0) -> Iterator[int]:
    """The times of the zero crossings that bound these half-bits: one more than half-bits."""
    return accumulate(lengths, initial=start_ns)
