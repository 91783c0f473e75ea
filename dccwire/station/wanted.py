"""What is wanted of a locomotive, and the packets that say so, one a slot.

Room: state in, packets out; when each is sent is not known here.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from dccwire.address import (
    BROADCAST,
    AccessoryAddress,
    Address,
    ExtendedAccessoryAddress,
)
from dccwire.errors import FieldError
from dccwire.instructions import (
    FunctionGroup,
    FunctionGroupOne,
    FunctionsF13F20,
    FunctionsF21F28,
    SpeedAndDirection,
    SpeedStepControl128,
    function_group,
)
from dccwire.instructions.speed_and_direction import STEPS
from dccwire.notation import own_address
from dccwire.packet import Packet
from dccwire.wording import either

TWICE, THRICE = 2, 3
"""How often a change is sent: F13 to F28 as often as any reading asks (S-9.2.1 §C; X38), others
twice by our choice, since a packet may be lost."""

_HIGH = FunctionsF13F20, FunctionsF21F28


@dataclass(slots=True, eq=False)
class Hearer:
    """Whoever hears an address; `kin` are other addresses that reach the same decoders."""

    address: Address
    # In the order in which they came: a set's hangs on where objects lie, and the packets with it.
    kin: dict[Hearer, None] = field(default_factory=dict)
    is_consist: bool = False
    is_accessory: bool = field(init=False)
    is_broadcast: bool = field(init=False)

    def __post_init__(self) -> None:
        self.is_accessory = isinstance(self.address, (AccessoryAddress, ExtendedAccessoryAddress))
        self.is_broadcast = self.address == BROADCAST or (
            isinstance(self.address, (AccessoryAddress, ExtendedAccessoryAddress))
            and self.address.broadcast
        )


@dataclass(slots=True, eq=False)
class Slot:
    """A packet to be sent `left` times yet before what is refreshed, `times` where it is a change.

    A newer packet takes the place of an older one. The `latest` that went out did so `sent` times.
    """

    hearer: Hearer
    packet: Packet
    left: int = 0
    times: int = TWICE
    is_write: bool = False
    latest: Packet | None = None
    sent: int = 0


@dataclass(slots=True, eq=False)
class Wanted:
    """A locomotive as it is wanted: its speed, and the functions of the groups that are in use."""

    hearer: Hearer
    steps: int
    step: int = 0
    forward: bool = True
    stopped: bool = False
    functions: dict[type[FunctionGroup], FunctionGroup] = field(default_factory=dict)
    speed: Slot = field(init=False)
    groups: dict[type[FunctionGroup], Slot] = field(default_factory=dict)

    def __post_init__(self) -> None:
        own_address(self.hearer.address)
        if self.steps not in STEPS:
            raise FieldError("steps", either(STEPS), self.steps)
        self.speed = Slot(self.hearer, self._speed())

    def drive(self, step: int, *, forward: bool) -> Slot:
        """Want a speed; the slot has its packet."""
        before = self.step, self.forward, self.stopped
        self.step, self.forward, self.stopped = step, forward, False
        try:
            self.speed.packet = self._speed()
        except FieldError:
            self.step, self.forward, self.stopped = before
            raise
        return self.speed

    def stop(self) -> Slot:
        """Want an emergency stop, until another speed is wanted."""
        self.step, self.stopped = 0, True
        self.speed.packet = self._speed()
        return self.speed

    def switch(self, name: str, *, on: bool) -> Slot:
        """Want a function on or off; FL of 14 steps is in the packet of speed (S-9.2 §B)."""
        kind = function_group(name)
        group = self.functions[kind] = self.functions.get(kind, kind.on()).switched(name, on)
        if self.steps == 14 and name in ("FL", "F0"):
            self.speed.packet = self._speed()
            return self.speed
        if self.steps == 14 and isinstance(group, FunctionGroupOne):
            group = group.switched("FL", False)
        packet = Packet(self.hearer.address, group)
        times = THRICE if kind in _HIGH else TWICE
        slot = self.groups.setdefault(kind, Slot(self.hearer, packet, times=times))
        slot.packet = packet
        return slot

    def _speed(self) -> Packet:
        headlight = "FL" in self.functions.get(FunctionGroupOne, ())
        return Packet(self.hearer.address, self._run(headlight=headlight))

    def _run(self, *, headlight: bool) -> SpeedAndDirection | SpeedStepControl128:
        forward = self.forward
        if self.steps == 128:
            if self.stopped:
                return SpeedStepControl128.emergency_stop(forward=forward)
            return SpeedStepControl128.at(step=self.step, forward=forward)
        light = headlight if self.steps == 14 else None
        if self.stopped:
            return SpeedAndDirection.emergency_stop(forward=forward, c=int(bool(light)))
        return SpeedAndDirection.at(
            step=self.step, steps=self.steps, forward=forward, headlight=light
        )
