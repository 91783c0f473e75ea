"""The declarations of a VCD file (IEEE 1364, value change dump): timescale and variables."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.units import UNITS_NS
from dccwire.wording import either

__all__ = ["TOKEN", "Header", "Variable", "read_header"]

#: A token: whatever lies between blanks and other control characters.
TOKEN = re.compile(rb"[^\x00-\x20]+")
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_RANGE = re.compile(r"(?<=\S)\s*\[(-?\d{1,9})(?::(-?\d{1,9}))?\]$")
_TIMESCALE = re.compile(r"(\d+)\s*(s|ms|us|ns|ps|fs)")
#: Kinds of variables that hold no level (IEEE 1364).
_NO_LEVEL = frozenset({b"real", b"realtime", b"shortreal", b"string", b"event"})
_FIRST_READ = 1 << 14
_MOST = 1 << 26
#: Names hold all scopes around them: without a bound a small file fills the memory.
_MOST_SCOPES = 100


@dataclass(frozen=True, slots=True)
class Variable:
    """One `$var`: `name` with its scopes and dots between, `identifier`, `width`, bit numbers."""

    name: str
    identifier: bytes
    width: int
    first_bit: int
    last_bit: int

    def position(self, bit: int) -> int | None:
        """Where bit number `bit` stands, 0 for the last character; None if there is none."""
        low, high = sorted((self.first_bit, self.last_bit))
        if not low <= bit <= high:
            return None
        return abs(bit - self.last_bit)


@dataclass(slots=True)
class Header:
    """What the declarations say, and where the body begins."""

    variables: list[Variable] = field(default_factory=list)  # those that hold levels
    tick_ns: Fraction | None = None  # the timescale; None when the file has none
    body: int = 0  # bytes before the body, and line ends
    lines: int = 0


def read_header(opened: Opened) -> Header:
    """Read the declarations up to the end of `$enddefinitions`."""
    size = _FIRST_READ
    while True:
        with opened.stream() as stream:
            text = stream.read(size)
        header = _parse(opened.shown, text)
        if header is not None:
            return header
        if len(text) < size or size >= _MOST:
            told = "the VCD header has no end ($enddefinitions $end)"
            raise refusal(opened.shown, told, "the file is cut off or damaged; export it again")
        size *= 16


def _parse(shown: str, text: bytes) -> Header | None:
    """The header, or None if `text` ends before it does."""
    header, scopes = Header(), list[str]()
    section: list[bytes] = []
    start = len(_BYTE_ORDER_MARK) if text.startswith(_BYTE_ORDER_MARK) else 0
    for match in TOKEN.finditer(text, start):
        token = match.group()
        if not section and not token.startswith(b"$"):
            line = text.count(b"\n", 0, match.start()) + 1
            told = f"{_text([token[:20]])!r} stands in the VCD header outside any $keyword"
            hint = "$enddefinitions $end must come before the first time; export it again"
            raise refusal(shown, told, hint, where=f"line {line}")
        if token != b"$end":
            section.append(token)
            continue
        match section:
            case [b"$enddefinitions"]:
                header.body, header.lines = match.end(), text.count(b"\n", 0, match.end())
                return header
            case [b"$scope", _, *name]:
                if len(scopes) == _MOST_SCOPES:
                    raise refusal(shown, f"more than {_MOST_SCOPES} scopes in one another")
                scopes.append(_text(name))
            case [b"$upscope"]:
                del scopes[-1:]
            case [b"$timescale", *words]:
                header.tick_ns = _timescale(shown, _text(words))
            case [b"$var", kind, *_] if kind not in _NO_LEVEL:
                header.variables.append(_variable(shown, scopes, section))
        section = []
    return None


def _text(words: list[bytes]) -> str:
    """Words with a blank between; what is not UTF-8 is read as Latin-1."""
    joined = b" ".join(words)
    try:
        return joined.decode("utf-8")
    except UnicodeDecodeError:
        return joined.decode("latin-1")


def _timescale(shown: str, text: str) -> Fraction:
    match = _TIMESCALE.fullmatch(text)
    if match is None or int(match[1]) == 0:
        told = f"the timescale {text[:40]!r} cannot be read"
        raise refusal(shown, told, f"a whole number and {either(UNITS_NS)} is expected, as in 1 ns")
    return int(match[1]) * UNITS_NS[match[2]]


def _variable(shown: str, scopes: list[str], section: list[bytes]) -> Variable:
    """The variable; `[7:0]` at the end of a name is its range, and no part of the name."""
    match section:
        case [_, _, width, identifier, *words] if words and width.isdigit() and len(width) < 7:
            bits, name = int(width), _text(words)
        case _:
            told = f"the declaration {_text(section)[:60]!r} cannot be read"
            raise refusal(shown, told, "export the recording again")
    first, last = bits - 1, 0
    found = _RANGE.search(name)
    if found:
        stem = name[: found.start()]
        if found[2] is None:
            name = f"{stem}[{found[1]}]"
        elif abs(int(found[1]) - int(found[2])) == bits - 1:
            first, last, name = int(found[1]), int(found[2]), stem
    return Variable(".".join([*scopes, name]), identifier, bits, first, last)
