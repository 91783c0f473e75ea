"""The packets that make a consist on the main, and those that end it.

A write on the main reaches every decoder at its address. Nobody answers there, so all is sent
twice, with an idle packet after each (S-9.2 §C: 5 ms between packets to one decoder); CV writes
need both (S-9.2.1 §C, CV access long form). All goes to the own addresses: CV access has no place
at a consist's. In order, so that no unit answers wrongly while others are not there yet: each out
of whatever consist it was in; each at speed 0, as a consist is made at a standstill (common
practice, no source); every mask; and last the consist address. Where that takes CV 19 and 20 (from
memory), a unit has another one between the two writes. Room: imports `units` and `programming`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from dccwire.address import LongAddress, ShortAddress
from dccwire.consists.units import LIT, Consist, Unit
from dccwire.cv import CvSet
from dccwire.errors import FieldError
from dccwire.formats import Instruction
from dccwire.instructions import ConsistControl, SpeedAndDirection
from dccwire.packet import Packet
from dccwire.programming.many_cvs import packets_on_main
from dccwire.programming.operations import course_on_main

__all__ = ["by_consist_control", "by_writes", "way_out"]

_Ending = Callable[[Unit], Iterable[Packet]]


def by_consist_control(consist: Consist) -> tuple[Packet, ...]:
    r"""Consist control to each unit, which sets CV 19; CV 21 and 22 are written before it.

    Raises:
        FieldError: the consist's address is none of 1 to 127.

    >>> from dccwire import ShortAddress
    >>> sent = by_consist_control(Consist(10, (Unit(ShortAddress(21), "lead"),)))
    >>> print(*sent[::4], sep="\n")
    short 21: ConsistControl reversed=no consist=0
    short 21: SpeedAndDirection forward=yes c=1 speed=0
    short 21: CvAccessLongForm operation=write cv=21 value=0
    short 21: CvAccessLongForm operation=write cv=22 value=0
    short 21: ConsistControl reversed=no consist=10
    """
    if consist.is_long or not consist.address:
        hint = "writes of CV 19 and 20 reach the higher ones (from memory)"
        raise FieldError("consist", "1 to 127", consist.address, hint)

    def last(unit: Unit, cvs: CvSet) -> Iterable[Packet]:
        yield _control(unit, consist.address)

    return tuple(_sent(_joined(consist, _control_out, last)))


def by_writes(consist: Consist) -> tuple[Packet, ...]:
    """The same by CV access long form alone, for decoders that do not know consist control.

    Raises:
        FieldError: the consist's address is 0.
    """
    if not consist.address:
        raise FieldError("consist", f"1 to {LongAddress.bound[-1]}", consist.address)

    def last(unit: Unit, cvs: CvSet) -> Iterable[Packet]:
        return _writes(unit, CvSet([(19, cvs[19])]))

    return tuple(_sent(_joined(consist, _write_out(consist), last)))


def way_out(consist: Consist) -> tuple[Packet, ...]:
    r"""Speed 0 to the consist, then address 0 to each unit; CV 21 and 22 stay, without effect.

    By consist control, or where the consist's address is above 127 by writes of CV 19 and 20.

    >>> from dccwire import ShortAddress
    >>> print(*way_out(Consist(10, (Unit(ShortAddress(21), "lead"),)))[::4], sep="\n")
    short 10: SpeedAndDirection forward=yes c=1 speed=0
    short 21: ConsistControl reversed=no consist=0
    """
    packets: list[Packet] = []
    if consist.packets_to is not None:
        packets.append(_stop(consist.packets_to, consist.units))
    out = _write_out(consist) if consist.is_long else _control_out
    for unit in consist.units:
        packets += out(unit)
    return tuple(_sent(packets))


def _joined(
    consist: Consist, out: _Ending, last: Callable[[Unit, CvSet], Iterable[Packet]]
) -> Iterator[Packet]:
    """Each packet of a consist in the making, once."""
    for unit in consist.units:
        yield from out(unit)
    for unit in consist.units:
        yield _stop(unit.address, [unit])
    for unit, cvs in zip(consist.units, consist.cvs, strict=True):
        yield from _writes(unit, cvs.without(19))
    for unit, cvs in zip(consist.units, consist.cvs, strict=True):
        yield from last(unit, cvs)


def _sent(packets: Iterable[Packet]) -> Iterator[Packet]:
    """Each twice, with an idle packet behind it, as a write on the main takes it."""
    for step in course_on_main(packets):
        yield from [step.packet] * step.count


def _writes(unit: Unit, cvs: CvSet) -> list[Packet]:
    return packets_on_main(CvSet(), cvs, unit.address)


def _control(unit: Unit, address: int) -> Packet:
    return Packet(unit.address, ConsistControl(unit.reversed and address > 0, address))


def _control_out(unit: Unit) -> list[Packet]:
    return [_control(unit, 0)]


def _write_out(consist: Consist) -> _Ending:
    """CV 19 = 0, and CV 20 = 0 where the consist's address needs it: 0 must stand in both."""
    cleared = CvSet([(19, 0), (20, 0)] if consist.is_long else [(19, 0)])
    return lambda unit: _writes(unit, cleared)


def _stop(address: ShortAddress | LongAddress, units: Iterable[Unit]) -> Packet:
    """Speed 0; the direction is let be (C6), but where a unit at 14 steps takes that bit for FL."""
    few = [unit for unit in units if unit.steps == 14]
    lit = any(unit.on & {*LIT} for unit in few)
    stop: Instruction = SpeedAndDirection.stop(forward=True, c=int(lit or not few))
    return Packet(address, stop)
