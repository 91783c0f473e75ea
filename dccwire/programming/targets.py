"""A CV, and the mode by which a programmer gets at it (S-9.2.3 §E).

Each target makes its verify and write packets and says in what the sequence of its mode differs:
`counts`, the type of the counts that the mode demands; `values`, what can be compared;
`resets_each`, whether resets stand before each verify group (S-9.2.3 §E, Paged) or before a run of
them; `preset`, whether a page preset begins the sequence; `page`, the register page to be set;
`long_recovery`, whether a write takes the longer recovery. Room: single packets, no
sequences.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, TypeAlias

from dccwire.address import PROGRAMMING_TRACK, Mode
from dccwire.cv.paging import page_of
from dccwire.cv.values import check_cv
from dccwire.errors import FieldError
from dccwire.formats import PacketPart
from dccwire.instructions import CvOperation
from dccwire.packet import Packet
from dccwire.programming.counts import Counts, DirectCounts, RegisterCounts
from dccwire.service_mode import (
    AddressOnlyAccess,
    DataRegisterAccess,
    DirectBitManipulation,
    DirectByteAccess,
    RegisterAccess,
)

__all__ = ["AddressOnly", "DirectCv", "PagedCv", "Register", "Target"]

BYTES = range(256)


def service(instruction: PacketPart) -> Packet:
    """The packet of an instruction to whatever stands on the programming track."""
    return Packet(PROGRAMMING_TRACK, instruction, mode=Mode.SERVICE)


@dataclass(frozen=True, slots=True)
class DirectCv:
    """A CV, 1 to 1024, by direct mode (P3): the one mode that verifies and writes single bits.

    >>> print(DirectCv(29).verify(38))
    service programming-track: DirectByteAccess operation=verify cv=29 value=38
    """

    cv: int
    counts: ClassVar[type[Counts]] = DirectCounts
    values: ClassVar[range] = BYTES
    resets_each: ClassVar[bool] = False
    preset: ClassVar[bool] = False
    page: ClassVar[None] = None
    long_recovery: ClassVar[bool] = False

    def __post_init__(self) -> None:
        check_cv(self.cv)

    def __str__(self) -> str:
        return f"CV {self.cv}"

    def verify(self, value: int) -> Packet:
        """The packet that asks whether the CV holds this value."""
        return service(DirectByteAccess(CvOperation.VERIFY, self.cv, value))

    def write(self, value: int) -> Packet:
        """The packet that stores a value, 0 to 255."""
        return service(DirectByteAccess(CvOperation.WRITE, self.cv, value))

    def verify_bit(self, bit: int, value: int) -> Packet:
        """The packet that asks whether a bit, 0 to 7, is `value`, 0 or 1."""
        return service(DirectBitManipulation(CvOperation.VERIFY, self.cv, bit, value))

    def write_bit(self, bit: int, value: int) -> Packet:
        """The packet that stores a bit, 0 to 7, as `value`, 0 or 1."""
        return service(DirectBitManipulation(CvOperation.WRITE, self.cv, bit, value))


@dataclass(frozen=True, slots=True)
class PagedCv:
    """A CV, 1 to 1024, by paged mode: a register page of four CVs, and a data register, 0 to 3.

    CV 1021 to 1024 are on page 256, which the page register's byte cannot hold: 0 is sent (P7).

    >>> PagedCv(29).page, str(PagedCv(29).verify(38))
    (8, 'service programming-track: RegisterAccess operation=verify register=1 value=38')
    """

    cv: int
    counts: ClassVar[type[Counts]] = Counts
    values: ClassVar[range] = BYTES
    resets_each: ClassVar[bool] = True
    preset: ClassVar[bool] = False
    long_recovery: ClassVar[bool] = False

    def __post_init__(self) -> None:
        check_cv(self.cv)

    def __str__(self) -> str:
        return f"CV {self.cv}"

    @property
    def page(self) -> int:
        """What the page register has to hold, 0 to 255."""
        return page_of(self.cv).page

    def verify(self, value: int) -> Packet:
        """The packet that asks whether the CV holds this value, once its page is set."""
        return self._access(CvOperation.VERIFY, value)

    def write(self, value: int) -> Packet:
        """The packet that stores a value, 0 to 255, once its page is set."""
        return self._access(CvOperation.WRITE, value)

    def _access(self, operation: CvOperation, value: int) -> Packet:
        return service(DataRegisterAccess(operation, page_of(self.cv).register, value))


REGISTERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8}
"""The CVs of a locomotive's registers (S-9.2.3 §E, Physical Register Addressing); 6 is the page."""


@dataclass(frozen=True, slots=True)
class Register:
    """A physical register, 1 to 8: CV 1 to 4, CV 29, the page register, CV 7 and CV 8 (P9).

    >>> Register(5).cv, Register.of_cv(29)
    (29, Register(number=5))
    """

    number: int
    counts: ClassVar[type[Counts]] = RegisterCounts
    values: ClassVar[range] = BYTES
    resets_each: ClassVar[bool] = False
    preset: ClassVar[bool] = True
    page: ClassVar[None] = None

    def __post_init__(self) -> None:
        if type(self.number) is not int or self.number not in range(1, 9):
            raise FieldError("register", "1 to 8", self.number)

    @classmethod
    def of_cv(cls, cv: int) -> Register:
        """The register of a locomotive's CV.

        Raises:
            FieldError: a CV that has none.
        """
        for number, own in REGISTERS.items():
            if own == cv:
                return cls(number)
        raise FieldError("cv", "1 to 4, 7, 8 or 29 in register mode", cv)

    def __str__(self) -> str:
        return "the page register" if self.cv is None else f"CV {self.cv}"

    @property
    def cv(self) -> int | None:
        """The CV; None is the page register."""
        return REGISTERS.get(self.number)

    @property
    def long_recovery(self) -> bool:
        """Whether a write takes ten packets to recover from: register 1."""
        return self.number == 1

    def verify(self, value: int) -> Packet:
        """The packet that asks whether the register holds this value."""
        return service(RegisterAccess(CvOperation.VERIFY, self.number, value))

    def write(self, value: int) -> Packet:
        """The packet that stores a value, 0 to 255; 8 in register 8 is the factory reset (P11)."""
        return service(RegisterAccess(CvOperation.WRITE, self.number, value))


@dataclass(frozen=True, slots=True)
class AddressOnly:
    """CV 1 by address-only mode: values 0 to 127 (P5).

    >>> AddressOnly().write(128)
    Traceback (most recent call last):
    dccwire.errors.FieldError: value: 0 to 127 expected, 128 given
    """

    cv: ClassVar[int] = 1
    counts: ClassVar[type[Counts]] = Counts
    values: ClassVar[range] = range(128)
    resets_each: ClassVar[bool] = False
    preset: ClassVar[bool] = True
    page: ClassVar[None] = None
    long_recovery: ClassVar[bool] = True

    @classmethod
    def of_cv(cls, cv: int) -> AddressOnly:
        """The target, if the CV is 1.

        Raises:
            FieldError: another CV.
        """
        if cv != cls.cv:
            raise FieldError("cv", "1 in address-only mode", cv)
        return cls()

    def __str__(self) -> str:
        return "CV 1"

    def verify(self, value: int) -> Packet:
        """The packet that asks whether CV 1 holds this value."""
        return service(AddressOnlyAccess(CvOperation.VERIFY, value))

    def write(self, value: int) -> Packet:
        """The packet that stores a value in CV 1; it clears bit 5 of CV 29 and CV 19 as well."""
        return service(AddressOnlyAccess(CvOperation.WRITE, value))


Target: TypeAlias = DirectCv | PagedCv | Register | AddressOnly
