"""A CV, and the mode by which a programmer gets at it (S-9.2.3 §E).

Room: the verify and write packets of a target, and in what its mode's sequence differs from others.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import ClassVar, NamedTuple, Self, TypeAlias

from dccwire import service_mode
from dccwire.address import PROGRAMMING_TRACK, Mode
from dccwire.counts import Counts, DirectCounts, RegisterCounts
from dccwire.cv.paging import page_of
from dccwire.cv.values import DecoderKind, check_cv, within
from dccwire.errors import FieldError, member
from dccwire.formats import PacketPart
from dccwire.instructions import CvOperation
from dccwire.packet import Packet
from dccwire.service_mode import REGISTER_CVS
from dccwire.wording import either

__all__ = ["REACHES", "AddressOnly", "DirectCv", "PagedCv", "Reach", "Register", "Target"]


class Procedure(NamedTuple):
    """In what the sequence of a mode differs from the others.

    `counts` it demands; `values` a CV can be compared with; `preset`: a page preset begins it;
    `resets_each`: resets stand before each verify group, not once before a run of them.
    """

    counts: type[Counts]
    values: range = range(256)
    preset: bool = False
    resets_each: bool = False


def service(instruction: PacketPart) -> Packet:
    """The packet of an instruction to whatever stands on the programming track."""
    return Packet(PROGRAMMING_TRACK, instruction, mode=Mode.SERVICE)


class _Target(ABC):
    """What targets of all modes have."""

    __slots__ = ()
    procedure: ClassVar[Procedure]

    def verify(self, value: int) -> Packet:
        """The packet that asks whether the CV holds a value, once its page is set."""
        return service(self._access(CvOperation.VERIFY, value))

    def write(self, value: int) -> Packet:
        """The packet that stores a value, once its page is set."""
        return service(self._access(CvOperation.WRITE, value))

    @abstractmethod
    def _access(self, operation: CvOperation, value: int) -> PacketPart: ...


@dataclass(frozen=True, slots=True)
class _AnyCv(_Target):
    """A CV, 1 to 1024, of a mode that reaches all."""

    cv: int

    def __post_init__(self) -> None:
        check_cv(self.cv)

    def __str__(self) -> str:
        return f"CV {self.cv}"


class DirectCv(_AnyCv):
    """A CV, 1 to 1024, by direct mode (P3): the one mode that verifies and writes single bits.

    >>> print(DirectCv(29).verify(38))
    service programming-track: DirectByteAccess operation=verify cv=29 value=38
    """

    __slots__ = ()
    procedure = Procedure(DirectCounts)

    def _access(self, operation: CvOperation, value: int) -> PacketPart:
        return service_mode.DirectByteAccess(operation, self.cv, value)

    def verify_bit(self, bit: int, value: int) -> Packet:
        """The packet that asks whether a bit, 0 to 7, is `value`, 0 or 1."""
        return service(service_mode.DirectBitManipulation(CvOperation.VERIFY, self.cv, bit, value))

    def write_bit(self, bit: int, value: int) -> Packet:
        """The packet that stores a bit, 0 to 7, as `value`, 0 or 1."""
        return service(service_mode.DirectBitManipulation(CvOperation.WRITE, self.cv, bit, value))


class PagedCv(_AnyCv):
    """A CV, 1 to 1024, by paged mode: a register page of four CVs, and a data register, 0 to 3.

    CV 1021 to 1024 are on page 256, which the page register's byte cannot hold: 0 is sent (P7).

    >>> PagedCv(29).page, str(PagedCv(29).verify(38))
    (8, 'service programming-track: RegisterAccess operation=verify register=1 value=38')
    """

    __slots__ = ()
    procedure = Procedure(Counts, resets_each=True)

    @property
    def page(self) -> int:
        """What the page register has to hold, 0 to 255."""
        return page_of(self.cv).page

    def _access(self, operation: CvOperation, value: int) -> PacketPart:
        return service_mode.DataRegisterAccess(operation, page_of(self.cv).register, value)


@dataclass(frozen=True, slots=True)
class Register(_Target):
    """A physical register, 1 to 8: CV 1 to 4, CV 29, the page register, CV 7 and CV 8 (P9).

    A write of 8 to register 8 is the factory reset (P11).

    >>> Register(5).cv, Register.of_cv(29)
    (29, Register(number=5))
    """

    number: int
    procedure = Procedure(RegisterCounts, preset=True)

    def __post_init__(self) -> None:
        within("register", self.number, 1, 8)

    @classmethod
    def of_cv(cls, cv: int, decoder: DecoderKind = DecoderKind.MULTI_FUNCTION) -> Self:
        """The register of a decoder's CV; a FieldError if it has none."""
        known = {own: number for number, own in REGISTER_CVS.items()}
        if member(DecoderKind, "decoder", decoder) is DecoderKind.ACCESSORY:
            known = service_mode.ACCESSORY_REGISTERS
        if cv not in known:
            raise FieldError("cv", f"{either(sorted(known))} in register mode", cv)
        return cls(known[cv])

    def __str__(self) -> str:
        return "the page register" if self.cv is None else f"CV {self.cv}"

    @property
    def cv(self) -> int | None:
        """The CV; None is the page register."""
        return REGISTER_CVS.get(self.number)

    def _access(self, operation: CvOperation, value: int) -> PacketPart:
        return service_mode.RegisterAccess(operation, self.number, value)


@dataclass(frozen=True, slots=True)
class AddressOnly(_Target):
    """CV 1 by address-only mode: 0 to 127 (P5); a write sets CV 19 and bit 5 of CV 29 to 0 too.

    >>> AddressOnly().write(128)
    Traceback (most recent call last):
    dccwire.errors.FieldError: value: 0 to 127 expected, 128 given
    """

    cv: ClassVar[int] = 1
    procedure = Procedure(Counts, values=range(128), preset=True)

    @classmethod
    def of_cv(cls, cv: int) -> Self:
        """The target, if the CV is 1; else a FieldError."""
        if cv != cls.cv:
            raise FieldError("cv", "1 in address-only mode", cv)
        return cls()

    def __str__(self) -> str:
        return f"CV {self.cv}"

    def _access(self, operation: CvOperation, value: int) -> PacketPart:
        return service_mode.AddressOnlyAccess(operation, value)


Target: TypeAlias = DirectCv | PagedCv | Register | AddressOnly

Reach: TypeAlias = Callable[[int], Target]
"""How a CV is got at: one of `REACHES`."""

REACHES: dict[str, Reach] = {
    "direct": DirectCv,
    "paged": PagedCv,
    "register": Register.of_cv,
    "address-only": AddressOnly.of_cv,
}


def reach_of(reach: Reach, decoder: DecoderKind) -> Reach:
    """The same, unless it is the registers: those of an accessory decoder have other CVs."""
    decoder = member(DecoderKind, "decoder", decoder)
    return partial(Register.of_cv, decoder=decoder) if reach == Register.of_cv else reach
