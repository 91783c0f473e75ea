"""Assertions on recordings for tests of firmware, and the fixture that reads one; for pytest.

`pip install 'dccwire[capture]'` is enough for pytest to know the fixture. What reads and judges is
loaded when a test asks for it. Room: fixtures and assertions; nothing is judged here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable
from typing import TYPE_CHECKING, Any, TypeAlias

import pytest

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dccwire.conformance import Expectation, ExpectationResult, Report, Session
    from dccwire.packet import Packet
    from dccwire.recordings import Recording

Signal: TypeAlias = "Recording | str | os.PathLike[str] | Iterable[int]"
"""A recording, a file's path, or edge times in ns from capture code of one's own."""

__all__ = ["assert_conforms", "assert_sent", "track_recording"]


@pytest.fixture
def track_recording() -> Callable[..., Recording]:
    """What reads a file, with the arguments of `dccwire.recordings.read`.

    A test may as well hand edge times in ns to the assertions, from capture code of its own.
    """
    from dccwire.recordings import read

    return read


def assert_conforms(
    signal: Signal,
    *,
    rules: Collection[int] | str | None = None,
    session: Session | str | os.PathLike[str] | None = None,
    strict: bool = False,
    certain: bool = False,
    **options: Any,
) -> Report:
    """Fail the test unless a signal keeps the rules; the message is the report in words.

    Args:
        signal: a recording, a file's path, or edge times in ns.
        rules: the numbers of the rules to judge by, or a text such as "1-5,14"; all if left out.
            Of those that are named one at least must be judged.
        session: what is known besides the recording, and expected, or the file that says it.
        strict: whether any failed rule counts, not only what the texts demand or define.
        certain: whether what is undecided, or was not judged, fails the test, too.
        options: those of `dccwire.conformance.check`, such as `resolution_ns`.

    Raises:
        DccwireError: as `dccwire.conformance.check`; edges that are no whole ns.
    """
    __tracebackhide__ = True
    from dccwire.conformance import Session, Verdict, choose_rules, read_session
    from dccwire.errors import DccwireError

    try:
        if isinstance(rules, str):
            rules = choose_rules(rules)
        if not isinstance(session, Session | None):
            session = read_session(session)
        report = _judged(signal, rules=rules, session=session, **options)
    except DccwireError as error:  # the test's own line is what helps
        raise error.with_traceback(None) from None
    nothing = report.verdict in (Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE)
    if not report.well(strict=strict, certain=certain) or (nothing and rules is not None):
        every = nothing and report.packets > 0  # what none of the rules passed for want of
        pytest.fail(report.text(every=every), pytrace=False)
    return report


def assert_sent(
    signal: Signal,
    packet: Packet | bytes | str,
    *,
    between: tuple[float, float] | None = None,
    times: int | None = None,
    **options: Any,
) -> ExpectationResult:
    """Fail the test unless a packet was sent; the message tells of the one that came nearest.

    Args:
        signal: as for `assert_conforms`.
        packet: a packet, its text, or its bytes, error byte included, in whichever mode.
        between: seconds from the recording's begin, of packet start bits; all of it if left out.
        times: how often exactly, where once or more is not meant; 0: never.
        options: those of `dccwire.conformance.check`.

    Raises:
        DccwireError: as `dccwire.conformance.check`; no such packet, or no such times.
    """
    __tracebackhide__ = True
    from dccwire.conformance import Session, Verdict
    from dccwire.errors import DccwireError

    try:
        asked = _expected(packet, between, times)
        report = _judged(signal, rules=(), session=Session(expectations=(asked,)), **options)
    except DccwireError as error:  # the test's own line is what helps
        raise error.with_traceback(None) from None
    (found,) = report.expectations
    if found.verdict is not Verdict.PASS:
        told = (found.seen, found.nearest and f"nearest {found.nearest}", found.note)
        pytest.fail("; ".join(filter(None, (f"expected {asked}", *told))), pytrace=False)
    return found


def _expected(
    packet: Packet | bytes | str, between: tuple[float, float] | None, times: int | None
) -> Expectation:
    from dccwire.conformance import Expectation
    from dccwire.errors import FieldError
    from dccwire.packet import Packet, decode

    if isinstance(packet, str):
        packet = Packet.from_text(packet)
    elif not isinstance(packet, Packet):
        packet = bytes(decode(packet))
    asked_for: tuple[object, ...] = between or ()
    for one in asked_for:
        if not isinstance(one, (int, float)) or not 0 <= one < 1e9:
            raise FieldError("between", "two times in seconds, 0 or more", between)
    begin, end = (0, None) if between is None else (round(one * 1e9) for one in between)
    least = 1 if times is None else times
    return Expectation(None, "", least, times, begin or 0, end, packet)


def _judged(signal: Signal, **options: Any) -> Report:
    from dccwire.conformance import check
    from dccwire.recordings import Recording

    if isinstance(signal, (str, os.PathLike, Recording)):
        return check(signal, **options)
    return check([_edges(signal)], **options)


def _edges(signal: Iterable[int]) -> NDArray[Any]:
    """Edge times of one's own, refused unless they are whole ns: numbers would be cut silently."""
    import numpy as np

    from dccwire.errors import FieldError

    if not isinstance(signal, Iterable):
        raise FieldError("edges", "a recording, a path or edge times in whole ns", signal)
    given = signal if isinstance(signal, np.ndarray) else [*signal]
    times = np.asarray(given) if len(given) else np.empty(0, np.int64)
    if times.ndim != 1 or times.dtype.kind not in "iu":
        shown = next((one for one in given if not isinstance(one, (int, np.integer))), given[0])
        raise FieldError("edges", "whole ns", shown, "seconds become them by round(time * 1e9)")
    return times
