"""What the tests of conformance share: signals as edge times, and results by their numbers."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance import Report, RuleResult, check
from dccwire.signal import Timing
from dccwire.synthesis import Sending

COARSE = Timing(one=58_000, zero=99_000)
"""Durations in whole µs: what is made of them may have been sampled each µs."""

SAMPLED_NS = 1000

SIGNAL = frozenset({*range(1, 6), *range(13, 20), 27, 28})
"""The rules on the signal and on single packets, which do not mind how often a packet is sent."""

PLAIN = bytes.fromhex("033F3C")
"""27 ones with a preamble of 14, and 15 zeros: 27 × 116 µs + 15 × 198 µs = 6102 µs in `COARSE`."""

PLAIN_US = 6102
START_US = 14 * 116
"""From the begin of `PLAIN` to its packet start bit."""


HOSTILE = [
    '<script>alert("x")</script>',
    "]]><failure/>&amp;&#0;",
    "'\"><img src=x onerror=y>",
    "\x00\x01\x1b[2J\x7f\x85\r\n\t",
    "\ud800 \udcff \ufffe \uffff",
    "\u202eexe.dcv",
    "very long " * 5000,
]
"""What names of files and signals may hold."""


def lengths_of(*data: bytes | str, preamble: int = 14) -> list[int]:
    """The half-bits of packets in `COARSE` timing, in ns."""
    raw = [bytes.fromhex(one) if isinstance(one, str) else one for one in data]
    sendings = [Sending(one, preamble=preamble, timing=COARSE) for one in raw]
    return [length for sending in sendings for length in sending.lengths()]


def edges_of(lengths: Iterable[int], start_ns: int = 0) -> NDArray[np.int64]:
    """The edges that bound half-bits."""
    return np.fromiter(accumulate(lengths, initial=start_ns), np.int64)


def check_signal(recording: object, **options: object) -> Report:
    """The report of those rules alone."""
    return check(recording, rules=SIGNAL, **options)  # type: ignore[arg-type] # as `check`


def judge(
    lengths: Iterable[int], uncertainty_ns: int = 0, rules: Collection[int] | None = SIGNAL
) -> Report:
    """The report on half-bits that were sampled each µs."""
    edges = edges_of(lengths)
    return check([edges], rules=rules, uncertainty_ns=uncertainty_ns, resolution_ns=SAMPLED_NS)


def result(report: Report, number: int) -> RuleResult:
    """A rule's result."""
    (found,) = (one for one in report.results if one.rule.number == number)
    return found


def failing(report: Report) -> dict[int, int]:
    """The rules that fail, and how often."""
    return {one.rule.number: one.failed for one in report.results if one.failed}
