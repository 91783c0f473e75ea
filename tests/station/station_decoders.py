"""The fleet as simulated decoders, and what is wanted of each by the wishes alone."""

from __future__ import annotations

from typing import Any

from station_helpers import CONSIST, FLEET, MOST, UNITS, Run

from dccwire import LongAddress
from dccwire.decoder import Decoder, Options, Track

GROUPS = [
    {"FL", "F1", "F2", "F3", "F4"},
    {f"F{number}" for number in range(5, 9)},
    {f"F{number}" for number in range(9, 13)},
    {f"F{number}" for number in range(13, 21)},
    {f"F{number}" for number in range(21, 29)},
]
"""Functions that share a packet (S-9.2.1 §C)."""


def decoder(address: Any, *, coupled: bool) -> Decoder:
    """One at this address, with its steps, in the consist if it is one of its units."""
    number = address.number
    long = isinstance(address, LongAddress)
    factory = {
        1: 3 if long else number,
        17: 0xC0 + (number // 256 if long else 0),
        18: number % 256 if long else 0,
        19: CONSIST.number if coupled and address in UNITS else 0,
        29: (FLEET[address] != 14) << 1 | long << 5,
    }
    return Decoder(Options(factory=factory))


def fleet(*, coupled: bool) -> dict[Any, Decoder]:
    """One decoder for each address; the consist's own is no decoder when it is coupled."""
    return {
        address: decoder(address, coupled=coupled)
        for address in FLEET
        if address != CONSIST or not coupled
    }


def play(run: Run, decoders: dict[Any, Decoder]) -> None:
    """Let all of them hear what was sent."""
    track = Track(tuple(decoders.values()))
    for one in run.sent:
        track.take(one.data, one.start, one.end)


class Want:
    """What was wanted of an address since it was added last."""

    def __init__(self, steps: int) -> None:
        self.steps = steps
        self.step, self.forward, self.stopped = 0, True, False
        self.on: dict[str, bool] = {"FL": False} if steps == 14 else {}

    def switch(self, name: str, on: bool) -> None:
        """A function, and with it the others of its packet, off until they are switched."""
        name = "FL" if name == "F0" else name
        (group,) = (one for one in GROUPS if name in one)
        if self.steps != 14 or name != "FL":
            for other in group:
                self.on.setdefault(other, False)
        self.on[name] = on


def wanted(run: Run, *, coupled: bool) -> tuple[dict[Any, Want], dict[Any, dict[int, int]]]:
    """By address: what was wanted of those that are driven at the end, and CVs written."""
    found: dict[Any, Want] = {}
    written: dict[Any, dict[int, int]] = {address: {} for address in FLEET}
    for _, (kind, *words) in run.told:
        match kind, words:
            case "add", (address,):
                found[address] = Want(FLEET[address])
            case "remove", (address,):
                del found[address]
            case "drive", (address, step, forward):
                one = found[address]
                one.step, one.forward, one.stopped = min(step, MOST[one.steps]), forward, False
            case "switch", (address, name, on):
                found[address].switch(name, on)
            case "stop", stopped:
                kin = {CONSIST} if stopped and stopped[0] in UNITS else set[Any]()
                kin |= set(UNITS) if stopped == [CONSIST] else set()
                for address in {*stopped, *(kin if coupled else ())} if stopped else {*found}:
                    if address in found:
                        found[address].step, found[address].stopped = 0, True
            case "write", (address, cv, value):
                written[address][cv] = value
    return found, written
