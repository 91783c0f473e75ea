"""A decoder's CVs: what may be written, what a write entails, resets, whom it listens to by them.

S-9.2.1 §A to C, S-9.2.2, S-9.2.3 §E. Room: imports `address`, `cv` and `options`.
"""

from __future__ import annotations

from typing import NamedTuple

from dccwire.address import BROADCAST, Address, LongAddress, Partition, ShortAddress
from dccwire.cv import ConsistAddress, CvKey, IndexedCv
from dccwire.cv.catalogue import is_left_to_makers
from dccwire.cv.changes import EXTENDED_BIT, FACTORY_RESET
from dccwire.cv.cv_set import INDEXED
from dccwire.cv.paging import FIRST_PAGE
from dccwire.decoder.options import Ignored, Options

LEGAL = {1: range(128), 17: Partition.LONG.value}
"""What CV 1 and CV 17 may hold (S-9.2.2); that other values are refused is our choice."""


class Role(NamedTuple):
    """What packets to an address mean to a decoder.

    `own`: every instruction counts, else those of a consist alone. `moves`: speed and direction
    count. `reversed`: direction is that of the consist, in which the unit stands reversed.
    """

    own: bool
    moves: bool
    reversed: bool
    broadcast: bool = False


class Storage:
    """The bytes of all CVs and of all index pages; what was given no value is 0.

    CV 17 can be read back as soon as it is written, but `extended`, the address in effect, follows
    with CV 18 (S-9.2.2, CV 17 and 18), or with the next power-on (our choice).
    """

    def __init__(self, options: Options) -> None:
        self.options = options
        self._fill()

    def _fill(self) -> None:
        """Factory values, those of CV 257 to 512 on their page."""
        self.resetting = False
        self.values: dict[CvKey, int] = dict(self.options.factory.items())
        for cv in INDEXED:
            if cv in self.values:
                self.put(cv, self.values.pop(cv))
        self.extended = self._pair()

    def _pair(self) -> int:
        return self.read(17) << 8 | self.read(18)

    def _key(self, cv: int) -> CvKey | None:
        """Where a CV is kept; None on an index page that is reserved (S-9.2.2, CV 31)."""
        if cv not in INDEXED:
            return cv
        high, low = self.read(31), self.read(32)
        return IndexedCv(high, low, cv) if high >= FIRST_PAGE else None

    def has(self, cv: int) -> bool:
        """Whether the decoder has the CV; it has none on reserved pages (our choice)."""
        key, options = self._key(cv), self.options
        if key is None or cv in options.absent:
            return False
        own = options.description
        if own is None or key in own.formats or key in options.factory:
            return True
        return not is_left_to_makers(cv, own.kind)

    def read(self, cv: int) -> int:
        """The byte of a CV; CV 8 reads 255 during a factory reset (S-9.2.3 §E)."""
        if cv == 8 and self.resetting:
            return 255
        key = self._key(cv)
        return 0 if key is None else self.values.get(key, 0)

    def with_bit(self, cv: int, bit: int, value: int) -> int:
        """The byte of a CV with one bit changed."""
        return self.read(cv) & ~(1 << bit) | value << bit

    def put(self, cv: int, value: int) -> None:
        """Store a byte whatever the rules for writing say; nowhere on a reserved page."""
        key = self._key(cv)
        if key is not None:
            self.values[key] = value
        if cv == 18:
            self.extended = self._pair()

    def write(self, cv: int, value: int) -> Ignored | None:
        """Write as a packet does; what keeps it from being stored comes back, else None.

        Bits of CV 29 that the decoder does not support cannot be set (S-9.2.2, CV 29); the others
        of the byte are stored all the same (our choice). CV 1 makes CV 19 and bit 5 of CV 29 0, too
        (S-9.2.3 §E; here for a write on the main too).
        """
        if not self.has(cv):
            return Ignored.ABSENT
        if cv == 8 and value == FACTORY_RESET and self.options.factory_reset_by_cv_8:
            return self.start_factory_reset()
        if cv != 15 and self.is_locked:
            return Ignored.LOCKED
        if cv in self.options.read_only:
            return Ignored.READ_ONLY
        if value not in LEGAL.get(cv, range(256)):
            return Ignored.OUT_OF_RANGE
        self.put(cv, value & self.options.configuration_bits if cv == 29 else value)
        if cv == 1:
            self.put(29, self.read(29) & ~EXTENDED_BIT)
            self.put(19, 0)
        return None

    @property
    def is_locked(self) -> bool:
        """Whether CV 15 and 16 differ; CV 16 is then protected too (our choice)."""
        return self.read(15) != self.read(16)

    def start_factory_reset(self) -> Ignored | None:
        """Begin a factory reset (S-9.2.3 §E): complete at the next power-on, however long it took.

        The standard lets it run over several power-on cycles; until it is complete the other CVs
        keep what they hold, and what is written is lost.
        """
        if self.is_locked:
            return Ignored.LOCKED
        self.resetting = True
        return None

    def hard_reset(self) -> None:
        """CV 19 to 0; CV 29, 31 and 32 as the factory left them (S-9.2.1 §C, Hard Reset)."""
        for cv in (29, 31, 32):
            self.put(cv, self.options.factory.get(cv, 0))
        self.put(19, 0)

    def power_on(self) -> None:
        """Complete a factory reset, and take up the extended address that CV 17 and 18 hold."""
        if self.resetting:
            self._fill()
        self.extended = self._pair()

    def own_address(self) -> ShortAddress | LongAddress | None:
        """CV 1, or the extended address if CV 29 bit 5 is set; None if they hold no address.

        CV 1 = 0 asks for another power source (S-9.2.2, CV 1): here the decoder is left with
        broadcast and consist packets.
        """
        if self.read(29) & EXTENDED_BIT:
            number = self.extended - (192 << 8)
            return LongAddress(number) if number in LongAddress.bound else None
        short = self.read(1)
        return ShortAddress(short) if short in ShortAddress.bound else None

    def consist(self) -> tuple[ShortAddress | None, bool]:
        """The consist address of CV 19, None for 0, and whether the unit runs reversed in it."""
        held = ConsistAddress.from_cvs({19: self.read(19)})
        return (ShortAddress(held.address), held.reversed) if held.address else (None, False)

    def roles(self) -> dict[Address, Role]:
        """The addresses that concern the decoder.

        In a consist speed and direction count at the consist address only, unless the own address
        is the same (S-9.2.1 §C, Consist Control). Then CV access counts there too, as at any own
        address: that a decoder does not take it at its consist's (S-9.2.1 §C, CV access long form)
        still keeps the other units of the consist from it; our choice, the text does not speak of
        the case. A broadcast moves a unit as its consist address would, so that a reversed unit
        does not work against the others (the standard is silent).
        """
        own, (consist, turned) = self.own_address(), self.consist()
        found: dict[Address, Role] = {BROADCAST: Role(True, True, turned, broadcast=True)}
        if consist is not None:
            found[consist] = Role(False, True, turned)
        if own is not None:
            found[own] = Role(True, consist in (None, own), turned)
        return found
