"""What CVs hold as typed values, both ways; each format is one layout line.

`@cv_value` makes a frozen, slotted dataclass of a class with a layout of its CVs, one byte a CV.
Bits that the standard reserves are fields of their own (`reserved`, 0 when building): a value read
from a decoder gives every bit back. Bits that the standard fixes (`0` and `1` in the line) are
refused when they differ, by an error that names them; `dccwire.cv.describe` reads those too.
Room: the machinery; what stands in the CVs is in the files beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import fields as dataclass_fields
from enum import Enum
from typing import Any, ClassVar, Self, TypeVar, dataclass_transform

from dccwire.cv.kinds import field_number, field_value
from dccwire.errors import FieldError, LayoutError
from dccwire.fields import FieldKind, Number
from dccwire.formats import Provenance
from dccwire.layout import Layout

__all__ = [
    "CV_VALUES",
    "CvValue",
    "DecoderKind",
    "check_byte",
    "check_cv",
    "check_value",
    "cv_value",
    "number_of",
]


class DecoderKind(Enum):
    """Whose CVs are meant: the numbers 1 to 1024 have two tables (S-9.2.2, Tables 1 and 3).

    >>> [kind.value for kind in DecoderKind]
    ['multi-function', 'accessory']
    """

    MULTI_FUNCTION = "multi-function"
    ACCESSORY = "accessory"


def check_cv(cv: object, field: str = "cv") -> int:
    """A CV number, 1 to 1024 (S-9.2.2).

    Raises:
        FieldError: it is none.
    """
    if type(cv) is not int or not 1 <= cv <= 1024:
        raise FieldError(field, "1 to 1024", cv)
    return cv


def check_value(cv: object, value: object) -> int:
    """What a CV holds, one byte.

    Raises:
        FieldError: it is none; the field is `CV 29`.
    """
    return check_byte(f"CV {cv}", value)


def check_byte(field: str, value: object) -> int:
    """A number that a byte can hold.

    Raises:
        FieldError: it is none.
    """
    if type(value) is not int or not 0 <= value <= 255:
        raise FieldError(field, "0 to 255", value)
    return value


def number_of(text: str, field: str, bound: str) -> int:
    """The number of decimal digits; of nine at most, more than any CV or value has.

    Raises:
        FieldError: something else, with the field and the bound given.
    """
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise FieldError(field, bound, text)
    return int(text)


class CvValue:
    """Base of all values: `cvs`, `layout`, `clause`, `kinds` (field name to kind), `decoder`.

    `provenance` says where the format comes from.

    >>> from dccwire.cv.addresses import ConsistAddress
    >>> ConsistAddress.cvs, ConsistAddress.layout.line, ConsistAddress.decoder.value
    ((19,), 'RAAAAAAA', 'multi-function')
    >>> one = ConsistAddress.from_cvs({19: 201})
    >>> str(one), one.in_words(), one.to_cvs()
    ('ConsistAddress reversed=yes address=73', 'in consist 73, this unit reversed', {19: 201})
    """

    __slots__ = ()
    cvs: ClassVar[tuple[int, ...]]
    layout: ClassVar[Layout]
    clause: ClassVar[str]
    kinds: ClassVar[Mapping[str, FieldKind]]
    decoder: ClassVar[DecoderKind]
    provenance: ClassVar[Provenance]

    def __post_init__(self) -> None:
        for name, kind in self.kinds.items():
            bits = self.layout.fields[name]
            kind.check(name, getattr(self, name), bits.lowest, bits.highest)

    def __str__(self) -> str:
        fields = [f"{name}={kind.text(getattr(self, name))}" for name, kind in self.kinds.items()]
        return " ".join([type(self).__name__, *fields])

    def to_cvs(self) -> dict[int, int]:
        """CV number to value, 0 to 255."""
        numbers = {
            name: field_number(kind, getattr(self, name)) for name, kind in self.kinds.items()
        }
        return dict(zip(self.cvs, self.layout.encode(numbers), strict=True))

    @classmethod
    def from_cvs(cls, values: Mapping[Any, int]) -> Self:
        """The value that CVs hold; others may be in the mapping.

        Raises:
            FieldError: a CV is missing, a bit that the standard fixes differs, or a field is
                outside its bounds.
        """
        for cv in cls.cvs:
            if cv not in values:
                raise FieldError(f"CV {cv}", f"a value, for {cls.__name__},", None)
        data = bytes(check_value(cv, values[cv]) for cv in cls.cvs)
        for place, cv in enumerate(cls.cvs):
            if bound := cls.wrong_bits(place, data[place]):
                raise FieldError(f"CV {cv}", bound, data[place])
        numbers = cls.layout.decode(data)
        return cls(**{name: field_value(cls.kinds[name], n) for name, n in numbers.items()})

    @classmethod
    def wrong_bits(cls, place: int, value: int) -> str:
        """The fixed bits that differ in the value of the CV at this place, as they should be."""
        bits = cls.layout.bits[8 * place : 8 * place + 8]
        wrong = (b for b in bits if b.fixed is not None and value >> b.number & 1 != b.fixed)
        return " and ".join(f"bit {one.number} = {one.fixed}" for one in wrong)

    def in_words(self) -> str:
        """What the whole means beside its fields; empty if nothing is to be added."""
        return ""


CV_VALUES: list[type[CvValue]] = []
"""Every declared value, in the order of the files."""

_T = TypeVar("_T", bound=type[CvValue])


@dataclass_transform(frozen_default=True)
def cv_value(
    cvs: Sequence[int],
    line: str,
    clause: str,
    *,
    fields: Mapping[str, str | FieldKind],
    decoder: DecoderKind = DecoderKind.MULTI_FUNCTION,
    provenance: Provenance = Provenance.PUBLISHED,
) -> Callable[[_T], _T]:
    """Declare a value: its CVs, the layout of their bits, its clause, the kind of each field.

    A string as a kind is a `Number` with that formula.

    Raises:
        LayoutError: the line has not one byte a CV, or the class other fields than the kinds.

    >>> @cv_value((1,), "0AAAAAAA", "S-9.2.2, CV 1", fields={"address": "A"})
    ... class Short(CvValue):
    ...     address: int
    >>> Short(3).to_cvs(), CV_VALUES.pop() is Short
    ({1: 3}, True)
    >>> Short.from_cvs({1: 131})
    Traceback (most recent call last):
    dccwire.errors.FieldError: CV 1: bit 7 = 0 expected, 131 given
    """
    kinds = {name: Number(kind) if isinstance(kind, str) else kind for name, kind in fields.items()}
    layout = Layout(line, {name: kind.formula for name, kind in kinds.items()})

    def decorate(plain: _T) -> _T:
        cls = dataclass(frozen=True, slots=True)(plain)
        if len(cvs) != layout.size:
            raise LayoutError(line, f"{layout.size} bytes, but {len(cvs)} CVs")
        if [one.name for one in dataclass_fields(cls)] != list(kinds):  # type: ignore[arg-type] # is one
            raise LayoutError(line, f"the fields of {cls.__name__} differ from the kinds given")
        cls.cvs, cls.layout, cls.clause = tuple(cvs), layout, clause
        cls.kinds, cls.decoder, cls.provenance = kinds, decoder, provenance
        CV_VALUES.append(cls)
        return cls  # type: ignore[return-value] # the same class, with slots

    return decorate
