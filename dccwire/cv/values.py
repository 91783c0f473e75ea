"""What CVs hold as typed values, both ways; each is declared by one layout line, a byte a CV.

Bits that the standard reserves are fields of their own (`reserved`, 0 when building): a value read
from a decoder gives every bit back. Bits that the standard fixes (`0` and `1` in the line) are
refused when they differ; `dccwire.cv.describe` reads those too. Room: the machinery alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import Enum
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, Self, TypeVar, dataclass_transform

from dccwire.errors import FieldError, LayoutError
from dccwire.fields import FieldKind
from dccwire.formats import Declared, Fields, Provenance, declare
from dccwire.notation import declared_text
from dccwire.wording import counted

if TYPE_CHECKING:
    from dccwire.cv.cv_set import CvKey

__all__ = ["VALUE_TYPES", "CvValue", "DecoderKind"]


class DecoderKind(Enum):
    """Whose CVs are meant: the numbers 1 to 1024 have two tables (S-9.2.2, Tables 1 and 3)."""

    MULTI_FUNCTION = "multi-function"
    ACCESSORY = "accessory"


def within(field: str, value: object, lowest: int, highest: int) -> int:
    """A plain integer within its bounds, or a FieldError."""
    if type(value) is not int or not lowest <= value <= highest:
        raise FieldError(field, f"{lowest} to {highest}", value)
    return value


def check_cv(cv: object, field: str = "cv") -> int:
    """A CV number, 1 to 1024 (S-9.2.2); errors as `within`."""
    return within(field, cv, 1, 1024)


def cv_name(key: object) -> str:
    """What messages call a CV: `CV 29`, `index 16 0, CV 257`."""
    return f"CV {key}" if isinstance(key, int) else str(key)


def check_value(cv: object, value: object) -> int:
    """What a CV holds, one byte; errors as `within`, with a field such as `CV 29`."""
    return within(cv_name(cv), value, 0, 255)


def number_of(text: str, field: str, bound: str) -> int:
    """The number of decimal digits, of nine at most, or a FieldError with field and bound."""
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise FieldError(field, bound, text)
    return int(text)


class CvValue(Declared):
    """Base of all values: declared (`layout`, `kinds`, `clause`, `provenance`) for some `cvs`.

    `decoder` says whose CVs they are. CVs are numbers; one that a description puts on an index page
    is an `IndexedCv`.

    >>> from dccwire.cv.addresses import ConsistAddress
    >>> one = ConsistAddress.from_cvs({19: 201})
    >>> str(one), one.in_words(), one.to_cvs()
    ('ConsistAddress reversed=yes address=73', 'in consist 73, this unit reversed', {19: 201})
    """

    __slots__ = ()
    cvs: ClassVar[tuple[Any, ...]]
    decoder: ClassVar[DecoderKind]

    def __str__(self) -> str:
        return declared_text(self)

    def _repr_html_(self) -> str:
        from dccwire.drawing.cv_page import cv_part_of_value

        return cv_part_of_value(self)

    def to_cvs(self) -> dict[Any, int]:
        """CV to value, 0 to 255."""
        numbers = {name: kind.to_number(getattr(self, name)) for name, kind in self.kinds.items()}
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
                raise FieldError(cv_name(cv), "a value", None, f"{cls.__name__} needs it")
        data = bytes(check_value(cv, values[cv]) for cv in cls.cvs)
        for fault in cls.faults(values):
            raise fault
        numbers = cls.layout.decode(data)
        return cls(**{name: cls.kinds[name].from_number(n) for name, n in numbers.items()})

    @classmethod
    def faults(cls, values: Mapping[Any, int]) -> Iterator[FieldError]:
        """What `from_cvs` refuses, as far as the CVs given can tell."""
        for cv, at in zip(cls.cvs, range(0, 8 * len(cls.cvs), 8), strict=True):
            bits = cls.layout.bits[at : at + 8] if cv in values else ()
            for bit in bits:
                if bit.fixed not in (None, values[cv] >> bit.number & 1):
                    yield FieldError(cv_name(cv), f"bit {bit.number} = {bit.fixed}", values[cv])
        word, split = cls.word_of(values), cls.split_fields(values)
        for name, kind in cls.kinds.items():
            field = cls.layout.fields[name]
            try:
                if name not in split:
                    value = kind.from_number(field.take(word))
                    kind.check(name, value, field.lowest, field.highest)
            except FieldError as error:
                yield error

    @classmethod
    def word_of(cls, values: Mapping[Any, int]) -> int:
        """The CVs as one number, the first of them on top; those not given are 0."""
        return int.from_bytes(bytes(values.get(cv, 0) for cv in cls.cvs))

    @classmethod
    def split_fields(cls, values: Mapping[Any, int]) -> frozenset[str]:
        """The fields that have bits in a CV that is not given."""
        parts = cls.layout.parts
        return frozenset(p[0].field for p in parts if cls.cvs[p[0].byte] not in values)


VALUE_TYPES: dict[str, type[CvValue]] = {}
"""Every value class by its name, its type in text and JSON; filled as the files are imported."""

_V = TypeVar("_V", bound=type[CvValue])


def off(kind: FieldKind) -> Any:
    """A field's kind in place of its default, which is what zeros mean: false, none, 0."""
    return kind


@dataclass_transform(frozen_default=True)
def cv_value(
    cvs: Sequence[CvKey],
    line: str,
    clause: str,
    *,
    fields: Fields = MappingProxyType({}),
    decoder: DecoderKind = DecoderKind.MULTI_FUNCTION,
    provenance: Provenance = Provenance.PUBLISHED,
    types: dict[str, type[CvValue]] = VALUE_TYPES,
) -> Callable[[_V], _V]:
    """Declare a value: its CVs, the layout of their bits, its clause, the kinds of its fields.

    What neither `fields` nor the body (`off`) gives a kind is a number; its letter is its initial.
    The class is entered among `types`, those of the standard unless others are given.

    Raises:
        LayoutError: the line has not one byte a CV, or the class other fields than the kinds.

    >>> from dccwire.fields import Flag
    >>> @cv_value((1,), "0AAAAAAR", "S-9.2.2, CV 1")
    ... class Short(CvValue):
    ...     address: int
    ...     reversed: bool = off(Flag("R"))
    >>> Short(3).to_cvs(), VALUE_TYPES.pop("Short") is Short
    ({1: 6}, True)
    """

    def enter(cls: type[CvValue]) -> None:
        size = cls.layout.size
        if len(cvs) != size:
            raise LayoutError(line, f"{counted(size, 'byte')}, but {counted(len(cvs), 'CV')}")
        cls.cvs, cls.decoder = tuple(cvs), decoder
        if types.setdefault(cls.__name__, cls) is not cls:
            raise LayoutError(line, f"{cls.__name__} is declared twice")

    def decorate(plain: _V) -> _V:
        names = (*getattr(plain, "__dataclass_fields__", ()), *plain.__annotations__)
        kinds: dict[str, str | FieldKind] = {name: name[0].upper() for name in names}
        if not fields.keys() <= kinds.keys():
            raise LayoutError(line, f"the fields of {plain.__name__} differ from the kinds given")
        for name in names:
            if isinstance(kind := vars(plain).get(name), FieldKind):
                kinds[name] = kind
                setattr(plain, name, kind.from_number(0))
        return declare(line, clause, {**kinds, **fields}, provenance, enter=enter)(plain)

    return decorate
