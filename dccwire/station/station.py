"""The station: which packet goes out now, of what is wanted, waits or is due again.

In this order: what a start asks for, emergency stops, the second packet of a write, changes, and
what is refreshed; after three packets of changes comes one of the refresh, so that neither starves.
An idle packet stands where nothing may be sent. Two packets that one decoder hears never follow
directly on each other: a packet between them keeps them 5 ms apart (S-9.2 §C and footnote 11; the
shortest, with its preamble and the next one's, lasts more). Room: the order alone.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from itertools import chain, repeat, zip_longest

from dccwire.address import (
    BROADCAST,
    AccessoryAddress,
    Address,
    ExtendedAccessoryAddress,
    LongAddress,
    ShortAddress,
)
from dccwire.codebook import IDLE_PACKET, RESET_PACKET
from dccwire.counts import START_IDLES, START_RESETS, MainCounts
from dccwire.cv.catalogue import READ_ONLY
from dccwire.cv.values import check_cv, check_value
from dccwire.errors import FieldError
from dccwire.instructions import BroadcastStop, CvAccessLongForm, CvOperation
from dccwire.notation import address_text
from dccwire.packet import Packet, decode
from dccwire.station.wanted import THRICE, TWICE, Hearer, Slot, Wanted

__all__ = ["Station"]

IDLE, RESET = decode(IDLE_PACKET), decode(RESET_PACKET)

WRITES = MainCounts().writes

STOPS = 3
"""How often an emergency stop is sent at once (our choice)."""

IN_A_ROW = 3
"""Packets of changes before one of the refresh comes (our choice)."""


class Station:
    """Locomotives, accessories and writes as they are wanted; `next` says what to send.

    The packets are to be sent one directly after the other, each with a preamble of 14 ones or
    more: then each 30 ms bring one (S-9.2 §C). `new` says that no earlier state is known: it begins
    with resets and idles (S-9.2.4 §A), while what is wanted waits. The same calls give the same
    packets.

    >>> station = Station()
    >>> station.add(ShortAddress(3), steps=28)
    >>> [str(station.next()) for _ in range(31)][19:]  # doctest: +ELLIPSIS
    ['broadcast: DigitalDecoderReset', 'idle: Idle', ..., 'short 3: SpeedAndDirection ...']
    """

    def __init__(self, *, new: bool = True) -> None:
        begin = chain(repeat(RESET, START_RESETS), repeat(IDLE, START_IDLES))
        self._start = deque(begin if new else ())
        self._hearers: dict[Address, Hearer] = {}
        self._units: dict[Hearer, dict[Hearer, None]] = {}  # of each consist
        self._wanted: dict[Address, Wanted] = {}
        self._urgent: deque[Slot] = deque()
        self._changes: deque[Slot] = deque()
        # A write of which the first packet was sent: nothing else goes to its decoder before the
        # second (S-9.2.1 §C).
        self._open: Slot | None = None
        self._last: Hearer | None = None
        self._to_all = Hearer(BROADCAST)
        self._round: list[Slot] = []
        self._at = self._in_a_row = 0

    def add(self, address: ShortAddress | LongAddress, *, steps: int) -> None:
        """Refresh a locomotive from now on; it is wanted at a stop, forward.

        Raises:
            FieldError: an address of another kind or one that is there already, or other steps than
                14, 28 and 128.
        """
        if address in self._wanted:
            raise FieldError("address", "one that is not driven yet", address_text(address))
        wanted = Wanted(self._hearer(address), steps)
        self._wanted[address] = wanted
        self._change(wanted.speed)
        self._arrange()

    def remove(self, address: ShortAddress | LongAddress) -> None:
        """Refresh it no more. It keeps what it was told, a speed until its time-out: stop it first.

        What waits for it is not sent any more, but for emergency stops, writes, and F13 to F28 of
        which a packet was sent: without a refresh they need a second one (S-9.2.1 §C; X38).
        """
        gone = self._of(address)
        del self._wanted[address]
        high = (one for one in gone.groups.values() if one.times == THRICE)
        # Of the latest that was sent once a newer one, or the refresh, may have begun anew.
        begun = (one for one in high if one.left < THRICE or one.sent == 1)
        dropped = {gone.speed, *gone.groups.values()}.difference(begun)
        self._changes = deque(one for one in self._changes if one not in dropped)
        self._arrange()

    def couple(self, consist: ShortAddress, *units: ShortAddress | LongAddress) -> None:
        """Say which units obey a consist's address as well: packets to both are kept apart.

        Raises:
            FieldError: a consist whose address is not short, or to which a write waits (S-9.2.1 §C:
                none to a consist), a unit that has no address of its own, or one of another
                consist (CV 19 holds one address).
        """
        for address in (consist, *units):
            kinds = (ShortAddress,) if address is consist else (ShortAddress, LongAddress)
            if not isinstance(address, kinds):
                bound = f"a short {'or a long ' * (len(kinds) - 1)}address"
                raise FieldError("address", bound, address_text(address))
        shared = self._hearer(consist)
        writes = (one for one in (self._open, *self._changes) if one is not None and one.is_write)
        if any(one.hearer is shared for one in writes):
            raise FieldError("consist", "an address that no write waits for", address_text(consist))
        joined = [self._hearer(unit) for unit in units]
        for other, members in self._units.items():
            if other is not shared and not members.keys().isdisjoint(joined):
                both = next(unit for unit in units if self._hearer(unit) in members)
                hint = f"uncouple {address_text(other.address)} first: CV 19 holds one address"
                raise FieldError("unit", "one of no other consist", address_text(both), hint)
        shared.is_consist = True
        for unit in joined:
            self._units.setdefault(shared, {})[unit] = None
            shared.kin[unit] = unit.kin[shared] = None

    def uncouple(self, consist: ShortAddress) -> None:
        """Say that no unit obeys this address any more; as a unit's own it stays where it is.

        Raises:
            FieldError: no unit was coupled to it.
        """
        shared = self._hearer(consist)
        if not shared.is_consist:
            coupled = [
                address_text(one.address) for one in self._hearers.values() if one.is_consist
            ]
            hint = f"coupled: {', '.join(coupled) or 'none'}"
            raise FieldError("consist", "one that was coupled", address_text(consist), hint)
        shared.is_consist = False
        for unit in self._units.pop(shared, {}):
            if shared not in self._units.get(unit, {}):
                shared.kin.pop(unit, None)
                unit.kin.pop(shared, None)

    def drive(
        self, address: ShortAddress | LongAddress, *, step: int, forward: bool = True
    ) -> None:
        """Want a speed: a step, 0 to 14 or 28, or to 126 of 128; 0 is a stop.

        Raises:
            FieldError: the locomotive was not added, or has no such step.
        """
        self._change(self._of(address).drive(step, forward=forward))

    def switch(
        self, address: ShortAddress | LongAddress, function: str, *, on: bool = True
    ) -> None:
        """Want a function, FL or F1 to F28, on or off; errors as `drive`."""
        wanted = self._of(address)
        known = len(wanted.groups)
        self._change(wanted.switch(function, on=on))
        if len(wanted.groups) > known:
            self._arrange()

    def stop(self, address: ShortAddress | LongAddress | None = None) -> None:
        """Want an emergency stop, of one locomotive or of all: it goes out before all else.

        Of one whose units obey a consist, the consist is stopped too. One of all takes the place of
        those that wait. Until another speed is wanted, the refresh says the same.
        """
        # A speed that waits waits on, as a stop: one of all tells neither direction nor headlight.
        if address is None:
            for each in self._wanted.values():
                each.stop()
            stop = BroadcastStop(forward=True, ignore_direction=True, cut_power=True)
            slots = [Slot(self._to_all, Packet(BROADCAST, stop))]
            self._urgent.clear()
        else:
            one = self._of(address)
            kin = (self._wanted.get(each.address) for each in one.hearer.kin)
            stopped = [one, *(each for each in kin if each is not None)]
            slots = [Slot(each.hearer, each.stop().packet) for each in stopped]
        for slot in slots:
            slot.left = STOPS
            others = (each for each in self._urgent if each.hearer is not slot.hearer)
            self._urgent = deque((*others, slot))

    def operate(self, packet: Packet) -> None:
        """Send an accessory packet, twice (our choice); whoever switches an output off says so too.

        Raises:
            FieldError: a packet to others than accessory decoders.
        """
        if not isinstance(packet.address, (AccessoryAddress, ExtendedAccessoryAddress)):
            raise FieldError("packet", "one to an accessory", str(packet))
        self._changes.append(Slot(self._hearer(packet.address), packet, TWICE))

    def write(
        self, address: ShortAddress | LongAddress, *, cv: int, value: int, force: bool = False
    ) -> None:
        """Write a CV on the main, to every decoder at this address, by two packets (S-9.2.1 §C).

        CV 7 and 8 are read-only (S-9.2.2), and 8 in CV 8 resets every CV (P11, and common
        practice, no source): they are written with `force` alone.

        Raises:
            FieldError: no such CV or value, a read-only CV, or an address that a consist obeys.
        """
        hearer = self._hearer(address)
        if hearer.is_consist or not isinstance(address, (ShortAddress, LongAddress)):
            bound = "a decoder's own, short or long"
            raise FieldError("address", bound, address_text(address), "rule 44: no consist's")
        write = CvAccessLongForm(CvOperation.WRITE, check_cv(cv), check_value(cv, value))
        if cv in READ_ONLY and not force:
            raise FieldError("cv", "one that can be written", cv, "CV 7 and 8 are read-only")
        self._changes.append(Slot(hearer, Packet(address, write), WRITES, is_write=True))

    @property
    def waiting(self) -> int:
        """How many changes wait, those that were sent once included; 0: all was sent."""
        return len(self._changes) + len(self._urgent) + (self._open is not None)

    def next(self) -> Packet:
        """The packet to send now."""
        if self._start:
            return self._start.popleft()
        waits = self._urgent or self._open or self._changes
        slot = self._due() if waits else self._refreshed()
        if slot is None:
            self._last = None
            return IDLE
        self._last = slot.hearer
        slot.sent = slot.sent + 1 if slot.packet is slot.latest else 1
        slot.latest = slot.packet
        return slot.packet

    def _due(self) -> Slot | None:
        if self._urgent:
            return self._stop_now()
        held = self._open
        last = self._last
        if held is not None and (last is None or self._apart(held.hearer, last)):
            self._in_a_row += 1
            return self._sent(held)
        # Whoever waits for the packet before to be far enough is not overtaken by what its decoders
        # hear too: two units would keep their consist waiting, a broadcast would lose its place.
        passed: list[Hearer] = []
        if self._in_a_row >= IN_A_ROW and self._round:
            if (slot := self._refreshed(passed)) is not None:
                return slot
            passed.append(self._round[self._at].hearer)
        for slot in self._changes:
            if (slot.is_write and held) or not self._may_go(slot.hearer, passed):
                passed.append(slot.hearer)
            else:
                self._changes.remove(slot)
                self._in_a_row += 1
                return self._sent(slot)
        return self._refreshed(passed)

    def _stop_now(self) -> Slot | None:
        """An emergency stop, unless the packet before was to the same decoders."""
        last = self._last
        for slot in self._urgent:
            if last is None or self._apart(slot.hearer, last):
                self._urgent.remove(slot)
                slot.left -= 1
                if slot.left:
                    self._urgent.append(slot)
                held = self._open
                if held is not None and not self._apart(slot.hearer, held.hearer):
                    # It cancels the write (S-9.2.1 §C), which begins anew.
                    held.left, self._open = WRITES, None
                    self._changes.appendleft(held)
                return slot
        return None

    def _sent(self, slot: Slot) -> Slot:
        """Count a packet of a change; what is left of it waits behind the others."""
        slot.left -= 1
        if slot.is_write:
            self._open = slot if slot.left else None
        elif slot.left and slot.hearer.is_accessory:
            self._changes.insert(self._before_newer(slot.hearer), slot)
        elif slot.left:
            self._changes.append(slot)
        return slot

    def _before_newer(self, accessory: Hearer) -> int:
        """Where a packet waits for its second time: before what its decoder is told later.

        These are commands, on and off, where one to a locomotive says all that is wanted.
        """
        others = (one.hearer for one in self._changes)
        places = (place for place, one in enumerate(others) if not self._apart(accessory, one))
        return next(places, len(self._changes))

    def _refreshed(self, passed: Sequence[Hearer] = ()) -> Slot | None:
        """What is due again, if it may go."""
        if not self._round:
            return None
        slot = self._round[self._at]
        if not self._may_go(slot.hearer, passed):
            return None
        self._at = (self._at + 1) % len(self._round)
        self._in_a_row = 0
        return slot

    def _may_go(self, hearer: Hearer, passed: Sequence[Hearer]) -> bool:
        """Whether a packet keeps from the one before, and from others.

        Then from a write that is not done as well: it waits only where its decoder heard the one
        before, and a unit is in one consist.
        """
        last = self._last
        if last is not None and not self._apart(hearer, last):
            return False
        return not passed or all(self._apart(hearer, one) for one in passed)

    def _apart(self, one: Hearer, other: Hearer) -> bool:
        """Whether no decoder hears both."""
        if one is other or one in other.kin:
            return False
        if not (one.is_broadcast or other.is_broadcast):
            return True
        return one.is_accessory is not other.is_accessory

    def _change(self, slot: Slot) -> None:
        """Send a slot's packet before what is refreshed; a newer one takes an older one's place."""
        if not slot.left:
            self._changes.append(slot)
        slot.left = slot.times

    def _arrange(self) -> None:
        """The order of the refresh: all speeds, a group of functions of each, all speeds, ..."""
        every = list(self._wanted.values())
        speeds = [one.speed for one in every]
        columns = list(zip_longest(*(one.groups.values() for one in every))) or [()]
        rows = ([*speeds, *filter(None, column)] for column in columns)
        self._round = [slot for row in rows for slot in row]
        self._at = self._at % len(self._round) if self._round else 0

    def _hearer(self, address: Address) -> Hearer:
        return self._hearers.setdefault(address, Hearer(address))

    def _of(self, address: Address) -> Wanted:
        try:
            return self._wanted[address]
        except KeyError:
            bound = "a locomotive that was added"
            raise FieldError("address", bound, address_text(address)) from None
