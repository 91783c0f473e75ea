"""The standards' bit notation, parsed: `"1110CCVV VVVVVVVV DDDDDDDD"`.

A character is one bit, first sent first: `0` and `1` are fixed, letters belong to fields. Masks
and shifts are worked out once, so that encoding and decoding are plain integer arithmetic; the list
of bits serves the bit-by-bit view. Room: imports `errors` alone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from dccwire.errors import FieldError, LayoutError

if TYPE_CHECKING:
    import construct

_PART = re.compile(r"(~?)([A-Za-z])")
_FORMULA = re.compile(r"(?P<parts>~?[A-Za-z](?: ~?[A-Za-z])*)(?: \+ (?P<offset>\d+))?")


@dataclass(frozen=True, slots=True)
class Bit:
    """One bit of a layout; `position` counts in transmission order from 0.

    `fixed` is 0 or 1, or None for a bit of a field; then `field`, `letter`, the power of two it
    stands for in the field (`weight`) and whether it is sent inverted are given.
    """

    position: int
    fixed: int | None
    field: str = ""
    letter: str = ""
    weight: int = 0
    inverted: bool = False

    @property
    def byte(self) -> int:
        """Number of the byte within the layout, from 0."""
        return self.position // 8

    @property
    def number(self) -> int:
        """Number of the bit within its byte: 7 is sent first."""
        return 7 - self.position % 8


class Run(NamedTuple):
    """Neighbouring bits of one field: `shift` in the word, `mask` at the right, lowest `weight`.

    `turn` is what turns them over: the mask if they are sent inverted, else 0.
    """

    shift: int
    mask: int
    weight: int
    turn: int


@dataclass(frozen=True, slots=True)
class BitField:
    """The bits of a layout that make one number, which is from `lowest` on what the bits say."""

    name: str
    runs: tuple[Run, ...]
    width: int
    lowest: int

    @property
    def highest(self) -> int:
        """The largest number that the bits can hold."""
        return self.lowest + (1 << self.width) - 1

    def take(self, word: int) -> int:
        """The field's number in a word that holds the whole layout."""
        number = 0
        for shift, mask, weight, turn in self.runs:
            number |= (word >> shift & mask ^ turn) << weight
        return number + self.lowest

    def put(self, number: int) -> int:
        """The bits of a number at their places in a word of zeros; FieldError: it does not fit."""
        if not self.lowest <= number <= self.highest:
            raise FieldError(self.name, f"{self.lowest} to {self.highest}", number)
        word = 0
        for shift, mask, weight, turn in self.runs:
            word |= (number - self.lowest >> weight & mask ^ turn) << shift
        return word


def bits_in_words(high: int, low: int) -> str:
    """`bit 3`, or `bits 7-4`."""
    return f"bit {low}" if low == high else f"bits {high}-{low}"


class Layout:
    """A format in the standards' notation, with its fields.

    Args:
        line: characters `0`, `1` and letters, eight to a byte, bytes apart by a blank.
        fields: name to formula: letters most significant first, `~` for bits sent turned
            over, and an optional offset: `"V + 1"`, `"~b a"`, `"H L"`.

    Raises:
        LayoutError: the line cannot be read, a letter has no field or two, or a field no letter.

    >>> layout = Layout("1110CCVV VVVVVVVV DDDDDDDD", {"cc": "C", "cv": "V + 1", "value": "D"})
    >>> layout.encode({"cc": 3, "cv": 29, "value": 38}).hex(" ")
    'ec 1c 26'
    """

    def __init__(self, line: str, fields: Mapping[str, str]) -> None:
        self.line = line
        groups = line.split(" ")
        if not all(re.fullmatch("[01A-Za-z]{8}", group) for group in groups):
            raise LayoutError(line, "groups of eight 0, 1 or letters expected, one blank between")
        self._characters = "".join(groups)
        self.size = len(groups)
        self.fixed = self._word("1")
        self.fixed_mask = self.fixed | self._word("0")
        self.fields = {name: self._field(name, formula) for name, formula in fields.items()}
        owners = [letter for formula in fields.values() for _, letter in _PART.findall(formula)]
        letters = set(self._characters) - {"0", "1"}
        if sorted(owners) != sorted(letters):
            raise LayoutError(line, f"letters {sorted(letters)}, but fields use {sorted(owners)}")

    def __repr__(self) -> str:
        return f"Layout({self.line!r})"

    def _word(self, character: str) -> int:
        return int("".join("1" if c == character else "0" for c in self._characters), 2)

    def _field(self, name: str, formula: str) -> BitField:
        match = _FORMULA.fullmatch(formula)
        if match is None:
            raise LayoutError(self.line, f"formula {formula!r} of field {name!r} cannot be read")
        runs: list[Run] = []
        weight = 0
        for tilde, letter in reversed(_PART.findall(match["parts"])):
            for found in reversed(list(re.finditer(f"{letter}+", self._characters))):
                shift = len(self._characters) - found.end()
                width = found.end() - found.start()
                mask = (1 << width) - 1
                runs.append(Run(shift, mask, weight, mask if tilde else 0))
                weight += width
        return BitField(name, tuple(reversed(runs)), weight, int(match["offset"] or 0))

    @cached_property
    def bits(self) -> tuple[Bit, ...]:
        """Every bit, in transmission order."""
        places: dict[int, Bit] = {}
        for field in self.fields.values():
            for run in field.runs:
                for place in range(run.mask.bit_length()):
                    at = 8 * self.size - 1 - run.shift - place
                    weight, letter = run.weight + place, self._characters[at]
                    places[at] = Bit(at, None, field.name, letter, weight, bool(run.turn))
        return tuple(
            places[at] if at in places else Bit(at, int(character))
            for at, character in enumerate(self._characters)
        )

    @cached_property
    def parts(self) -> tuple[tuple[Bit, ...], ...]:
        """The neighbouring bits of each field within each byte, in transmission order."""
        together = groupby(self.bits, lambda bit: (bit.byte, bit.field, bit.letter))
        return tuple(tuple(bits) for (_, field, _), bits in together if field)

    def whole_of(self, part: Sequence[Bit]) -> str:
        """`bits 8-6 of it, inverted`: what a part of a field is; empty if it is the whole field."""
        field, high, low = self.fields[part[0].field], part[0].weight, part[-1].weight
        if field.width == len(part):
            return ""
        whole = f"{field.name} - {field.lowest}" if field.lowest else "it"
        return f"{bits_in_words(high, low)} of {whole}{', inverted' if part[0].inverted else ''}"

    def matches(self, data: bytes) -> bool:
        """Whether the bytes have the layout's size and fixed bits."""
        return len(data) == self.size and int.from_bytes(data) & self.fixed_mask == self.fixed

    def decode(self, data: bytes) -> dict[str, int]:
        """The number of each field, from exactly the layout's bytes; LayoutError if another's."""
        if not self.matches(data):
            raise LayoutError(self.line, f"bytes {data.hex(' ').upper()} do not match")
        word = int.from_bytes(data)
        return {name: field.take(word) for name, field in self.fields.items()}

    def encode(self, numbers: Mapping[str, int]) -> bytes:
        """The bytes that hold a number for each field; FieldError if it does not fit."""
        word = self.fixed
        for name, field in self.fields.items():
            word |= field.put(numbers[name])
        return word.to_bytes(self.size)

    def construct(self) -> construct.Construct[Any, Any]:
        r"""The same format as a construct object: parses to and builds from the field numbers.

        >>> twin = Layout("1110CCVV VVVVVVVV", {"cc": "C", "cv": "V + 1"}).construct()
        >>> twin.build({"cc": 3, "cv": 29}).hex(" "), twin.parse(b"\xec\x1c").cv
        ('ec 1c', 29)
        """
        import construct as c

        def parsed(data: bytes, context: object) -> Any:
            if not self.matches(data):
                raise c.ConstError(f"{data.hex(' ').upper()} does not match {self.line}")
            return c.Container(self.decode(data))

        return c.ExprAdapter(c.Bytes(self.size), parsed, lambda one, context: self.encode(one))
