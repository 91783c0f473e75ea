"""What is known of a session besides its recording; what is not said is None, and not known.

Room: values and how they are read from TOML; nothing is judged here.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from enum import StrEnum

from dccwire.address import (
    AccessoryAddress,
    Address,
    ExtendedAccessoryAddress,
    LongAddress,
    ShortAddress,
)
from dccwire.conformance.expectations import Expectation
from dccwire.documents import Keys, made, read_address, read_document, read_some, read_table
from dccwire.errors import FieldError, Reason, RecordingError, ShapeError
from dccwire.instructions.speed_and_direction import STEPS
from dccwire.notation import address_text
from dccwire.packet import Packet
from dccwire.toml_tables import each, truth, whole_number, words
from dccwire.wording import either

ROUNDED_NS = 100_000_000
"""A power-on that is told may be so long behind the packets that follow it: a tenth of a second, as
a person reads it off (common practice, no source)."""


class Access(StrEnum):
    """A mode by which a programmer gets at CVs (S-9.2.3 §E)."""

    DIRECT = "direct"
    ADDRESS_ONLY = "address-only"
    REGISTER = "register"
    PAGED = "paged"


@dataclass(frozen=True, slots=True)
class Locomotive:
    """A multi-function decoder in use: its address, its speed steps, the consist that it runs in.

    `steps` are 14, 28 or 128, and `consist` a short address, 0 for none; None is not known.

    Raises:
        FieldError: an address of another kind, other steps, a consist outside of 0 to 127.

    >>> Locomotive(ShortAddress(3), steps=28).steps
    28
    """

    address: ShortAddress | LongAddress
    steps: int | None = None
    consist: int | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.address, (ShortAddress, LongAddress)):
            raise FieldError("address", "a short or a long address", address_text(self.address))
        if self.steps is not None and self.steps not in STEPS:
            raise FieldError("steps", either(map(str, STEPS)), self.steps)
        if self.consist != 0 and self.consist is not None:
            ShortAddress(self.consist)


@dataclass(frozen=True, slots=True)
class Session:
    """What the rules ask for that no recording shows.

    `programming_track`: whether service mode is meant to be sent; `consists`: the short addresses
    that consists use; `every_30_ms`: whether the station is set so that a packet comes every 30 ms
    (S-9.2 §C); `power_on_ns`: when power came on; `new`: whether there was no earlier state then
    (S-9.2.4 §A); `factory`: whether decoders are tested there; `access`: the one mode by which
    packets of three bytes get at CVs in service mode; `expectations`: what was to be sent;
    `locomotives` and `accessories`: which addresses are in use, none if that is not known;
    `clock_is_right`: whether the recording's sample rate and unit are known to be right, so that
    times which are all off by one factor are the station's.
    """

    programming_track: bool | None = None
    consists: frozenset[int] | None = None
    every_30_ms: bool | None = None
    power_on_ns: tuple[int, ...] | None = None
    new: bool | None = None
    factory: bool | None = None
    access: Access | None = None
    expectations: tuple[Expectation, ...] = ()
    locomotives: tuple[Locomotive, ...] = ()
    accessories: tuple[AccessoryAddress | ExtendedAccessoryAddress, ...] = ()
    clock_is_right: bool = False

    def __post_init__(self) -> None:
        """Refuse two descriptions of one address."""
        for name in ("locomotives", "accessories"):
            met: set[Address] = set()
            for one in getattr(self, name):
                address = one.address if isinstance(one, Locomotive) else one
                if address in met:
                    raise FieldError(name, "an address once", address_text(address))
                met.add(address)

    @property
    def consists_in_use(self) -> frozenset[int] | None:
        """The short addresses that consists use, those of locomotives too; None: not known."""
        named = {one.consist for one in self.locomotives if one.consist}
        return self.consists if not named else frozenset(named | (self.consists or set()))

    @property
    def in_use(self) -> frozenset[Address]:
        """All addresses that are in use; none if the session says of none."""
        used = {*(one.address for one in self.locomotives), *self.accessories}
        consists = map(ShortAddress, self.consists_in_use or ())
        return frozenset({*used, *consists} if used else ())

    @classmethod
    def from_dict(cls, plain: object) -> Session:
        """The session of a TOML document, as `tomllib` reads it.

        Raises:
            ShapeError: an unknown key, with the nearest known, or a value of another shape.
            TextError, FieldError: as for `Expectation` and addresses.

        >>> Session.from_dict({"consists": [7], "power_on_s": [0.5]}).power_on_ns
        (500000000,)
        """
        return cls(**read_table(plain, "", _KEYS, "session"))


def read_session(path: str | os.PathLike[str]) -> Session:
    """The session that a TOML file describes.

    Raises:
        RecordingError: the file cannot be read, or is no TOML; else as `Session.from_dict`, with
            the line in a note.
    """
    try:
        with open(path, "rb") as file:
            text = file.read().decode("utf-8-sig")
    except OSError as error:
        raise RecordingError(Reason.FILE, str(path), error.strerror or str(error)) from None
    except UnicodeDecodeError as error:
        raise RecordingError(Reason.FORMAT, str(path), f"is no TOML: {error}") from None
    return read_document(text, str(path), Session.from_dict)


def _access(value: object, path: str) -> Access:
    known = {one.value: one for one in Access}
    if not isinstance(value, str) or value not in known:
        raise ShapeError(path, either(known), value)
    return known[value]


def _ns(value: object, path: str) -> int:
    if type(value) not in (int, float) or not 0 <= value < 1e9:  # type: ignore[operator]
        raise ShapeError(path, "seconds, 0 or more", value)
    return round(value * 1e9)  # type: ignore[operator]


_EXPECTED: Keys = {
    "to": ("to", read_address),
    "what": ("what", words),
    "packet": ("packet", lambda value, path: Packet.from_text(words(value, path))),
    "at_least": ("at_least", whole_number),
    "at_most": ("at_most", whole_number),
    "from_s": ("from_ns", _ns),
    "until_s": ("until_ns", _ns),
}


def _expectation(value: object, path: str) -> Expectation:
    if value == {}:
        raise ShapeError(path, either(_EXPECTED), value)
    fields = read_table(value, path, _EXPECTED)
    if "until_ns" in fields and fields["until_ns"] < fields.get("from_ns", 0):
        raise ShapeError(f"{path}.until_s", "from_s or later", fields["until_ns"] / 1e9)
    return made(Expectation, fields, path, _EXPECTED)


_LOCOMOTIVE: Keys = {
    "address": ("address", read_address),
    "steps": ("steps", whole_number),
    "consist": ("consist", whole_number),
}


def _locomotive(value: object, path: str) -> Locomotive:
    fields = read_table(value, path, _LOCOMOTIVE, needed=("address",))
    return made(Locomotive, fields, path, _LOCOMOTIVE)


def _accessory(value: object, path: str) -> Address:
    address = read_address(value, path)
    if not isinstance(address, (AccessoryAddress, ExtendedAccessoryAddress)):
        raise FieldError("accessory", "the address of an accessory decoder", address_text(address))
    return address


_KEYS: Keys = {
    "programming_track": ("programming_track", truth),
    "consists": (
        "consists",
        lambda value, path: frozenset(
            ShortAddress(whole_number(one, path)).number for one in each(whole_number)(value, path)
        ),
    ),
    "every_30_ms": ("every_30_ms", truth),
    "power_on_s": ("power_on_ns", each(_ns)),
    "new": ("new", truth),
    "factory": ("factory", truth),
    "access": ("access", _access),
    "locomotive": ("locomotives", each(_locomotive)),
    "accessories": ("accessories", each(_accessory)),
    "clock_is_right": ("clock_is_right", truth),
    "expect": ("expectations", read_some(_expectation)),
}
