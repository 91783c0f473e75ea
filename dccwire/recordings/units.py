"""Units of time, and whole numbers of ns."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

__all__ = ["END_OF_TIME", "UNITS_NS", "scale", "to_ns"]

#: How many ns a unit has: those of VCD timescales (IEEE 1364).
UNITS_NS = {
    "s": Fraction(10**9),
    "ms": Fraction(10**6),
    "us": Fraction(1000),
    "ns": Fraction(1),
    "ps": Fraction(1, 1000),
    "fs": Fraction(1, 10**6),
}
#: Times are below this many ns, 292 years.
END_OF_TIME = 1 << 63


def to_ns(ticks: int, tick_ns: Fraction) -> int:
    """Whole ns, rounded to the nearest; a half goes up.

    >>> to_ns(1499, Fraction(1, 1000)), to_ns(1500, Fraction(1, 1000))
    (1, 2)
    """
    return (ticks * tick_ns.numerator + tick_ns.denominator // 2) // tick_ns.denominator


def scale(ticks: NDArray[np.int64], tick_ns: Fraction) -> NDArray[np.int64]:
    """`to_ns` of an array, in place; the caller sees to it that nothing overflows."""
    if tick_ns != 1:
        ticks *= tick_ns.numerator
        ticks += tick_ns.denominator // 2
        ticks //= tick_ns.denominator
    return ticks
