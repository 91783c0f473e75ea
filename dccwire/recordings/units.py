"""Units of time, and whole numbers of ns."""

from __future__ import annotations

from fractions import Fraction
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

__all__ = ["END_OF_TIME", "UNITS_NS", "to_ns"]

Ticks = TypeVar("Ticks", int, NDArray[np.int64])

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


def to_ns(ticks: Ticks, tick_ns: Fraction) -> Ticks:
    """Whole ns, rounded to the nearest; a half goes up. Nothing may overflow.

    >>> to_ns(1499, Fraction(1, 1000)), to_ns(1500, Fraction(1, 1000))
    (1, 2)
    """
    if tick_ns == 1:
        return ticks
    return (ticks * tick_ns.numerator + tick_ns.denominator // 2) // tick_ns.denominator
