"""Means of halves where single ones are undecided: what is steady is known far better (M6).

They give no verdict, since a single half may be further out: they are told at the rule as what they
are. Room: sums in, remarks out.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from dccwire.conformance.measures import LimitMeasure
from dccwire.conformance.rules import Verdict


class Halves(NamedTuple):
    """Ones, or zeros: their measure, how many halves, how long they last in all, in ns.

    `bits` are those whose first halves are longer than the last ones by `longer` ns in all.
    """

    measure: LimitMeasure
    halves: int
    whole: int
    bits: int
    longer: int


def by_half(longer: int, bits: int, error: int) -> tuple[float, float]:
    """By how much first halves are longer than the last ones on average, and about how exactly.

    Each difference is off by the error, the mean of many by about its share by the root of their
    number (M6), unless the recorder's clock keeps step with the station's.

    >>> by_half(4_000, 400, 200)
    (10.0, 10.0)
    """
    return longer / bits, error / bits**0.5


def tell_halves(some: Halves, rows: float, difference_error: int) -> None:
    """Remark on the means of first and last halves, if single halves are undecided.

    Halves of one kind in a row are together as exact as one of them; there are so many `rows`, or
    fewer.
    """
    measure = some.measure
    if not some.bits or not some.halves or measure.verdict is not Verdict.UNDECIDED:
        return
    mean = some.whole / some.halves
    apart, about = by_half(some.longer, some.bits, difference_error)
    error = measure.error * min(rows / some.halves, 1)
    means = mean + apart / 2, mean - apart / 2
    first, last = (f"{one / 1e3:.2f}" for one in means)
    told = f"on average {first} us the first halves, {last} the last"
    told += f", {_about(error + about / 2)}"
    _remark(measure, told, means, error + difference_error / 2)


def tell_differences(ones: Halves, differences: LimitMeasure, by_polarity: float) -> None:
    """Remark on the mean difference of halves of ones, if single bits are undecided.

    That by polarity, without a sign, is what a probe of one rail adds, whichever half comes first
    (M7).
    """
    if not ones.bits or differences.verdict is not Verdict.UNDECIDED:
        return
    mean, about = by_half(ones.longer, ones.bits, differences.error)
    told = f"on average {mean / 1e3:+.2f} us by half, {by_polarity / 1e3:.2f} by polarity"
    told += f", {_about(about)}"
    _remark(differences, told, [abs(mean)], differences.error)


def _about(error: float) -> str:
    """How exactly a mean is known, in us, as long as readings are off by this and by that."""
    return f"about +- {error / 1e3:.2f} unless sampled in step with it"


def _remark(measure: LimitMeasure, told: str, means: Sequence[float], error: float) -> None:
    """Tell means, and what is certain of what is steady; once, however often it is asked for."""
    limit = measure.rule.limit
    if limit.least <= min(means) - error and max(means) + error <= limit.most:
        told += ": what is steady keeps the limit"
    elif min(means) + error <= limit.least or max(means) - error >= limit.most:
        told += ": what is steady breaks the limit"
    if told not in measure.remarks:
        measure.remarks.append(told)
