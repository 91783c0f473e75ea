"""One small tree of exceptions, by blame first, and the stable reason codes.

`CallError` is the caller's fault (and a `ValueError`), `DecodeError` the sender's,
`ConfirmationError` the decoder's, `RecordingError` the file's, `MissingPartError` the
installation's. Every exception carries its data as attributes; the message is made from them and
fits one line. Room: imports `wording` alone.
"""

from enum import Enum, StrEnum
from typing import Self, TypeVar

from dccwire.wording import either

__all__ = [
    "CallError",
    "ConfirmationError",
    "DccwireError",
    "DecodeError",
    "ErrorByteError",
    "FieldError",
    "LayoutError",
    "LengthError",
    "MissingPartError",
    "PacketError",
    "Reason",
    "RecordingError",
    "ShapeError",
    "TextError",
]


class Reason(StrEnum):
    """Stable codes in exceptions, findings, receiver events, JSON and messages.

    >>> Reason("error-byte").meaning
    'the exclusive OR over all bytes of the packet is not 0'
    """

    meaning: str

    def __new__(cls, code: str, meaning: str) -> Self:
        """Make a code that also carries its one-line meaning."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.meaning = meaning
        return member

    # The caller's.
    FIELD = "field", "a field is given a value outside its bounds"
    LAYOUT = "layout", "a line of layout notation cannot be read, or two formats overlap"
    COMBINATION = "combination", "an address and an instruction cannot stand in one packet"
    HEX = "hex", "text that should be hexadecimal bytes is not"
    BITS = "bits", "text that should be bits 0 and 1 is not"
    TEXT = "text", "the one-line text of a packet cannot be read"
    SHAPE = "shape", "JSON does not have the shape of a packet"
    # The sender's: bytes and bits.
    LENGTH = "length", "a packet has 3 to 6 bytes, the error detection byte included"
    ERROR_BYTE = "error-byte", "the exclusive OR over all bytes of the packet is not 0"
    SHORT_PREAMBLE = "short-preamble", "too few ones before a packet start bit"
    FRAMING_BIT = "framing-bit", "a bit of the preamble, a start bit or the end bit is wrong"
    NO_END_BIT = "no-end-bit", "byte after byte and no packet end bit"
    HALF_BITS = "half-bits", "the two halves of a bit do not make a 0 or a 1"
    CUT_OFF = "cut-off", "the input ends, or has a gap, within a packet or the ones before it"
    STRAY_BITS = "stray-bits", "bits that belong to no packet"
    # The sender's: what a well-formed packet says.
    RESERVED = "reserved", "a code or an address that the standards reserve"
    NOT_AVAILABLE = "not-available", "a code that the standard says is not available for use"
    UNDEFINED = "undefined", "a code that the standards do not describe"
    FROM_MEMORY = "from-memory", "defined later than the 2012 editions (from memory)"
    NOT_TOGETHER = "not-together", "instructions that must not stand together in one packet"
    DISCOURAGED = "discouraged", "legal to hold, but the standard tells stations not to send it"
    CAUTION = "caution", "legal, and to be sent with caution"
    OPEN = "open", "the standards leave the meaning open"
    # The decoder's.
    UNCONFIRMED = "unconfirmed", "a decoder did not confirm what was read or asked of it"
    # The recording's.
    FILE = "file", "the file cannot be opened or holds nothing"
    FORMAT = "format", "the file is not of a format that can be read, or is damaged"
    SIGNAL = "signal", "no signal, or more than one, could be the track signal"
    TIME = "time", "time runs backwards, or is no time"
    RATE = "rate", "the sample rate is missing or not positive"
    RESOLUTION = "resolution", "the recording is too coarse to tell a one from a zero"
    # The installation's.
    MISSING_PART = "missing-part", "an optional part of the installation is not there"


_LONGEST = 60
"""Characters of a value that is quoted."""


def _shown(value: object) -> str:
    """A value's repr, cut short; `nothing` for None."""
    try:
        shown = "nothing" if value is None else repr(value)
        closed = isinstance(value, str) and len(shown) > _LONGEST
        return f"{shown[: _LONGEST - 4]}{shown[0]}..." if closed else _cut(shown, _LONGEST)
    except ValueError:  # an integer of more digits than Python writes
        return "a number of thousands of digits"
    except RecursionError:
        return "what is nested too deep to show"


def _cut(words: str, most: int = 100) -> str:
    return words if len(words) <= most else words[: most - 3] + "..."


def _expected(place: str, bound: str, value: object, hint: str) -> str:
    return _hinted(f"{place}: {bound} expected, {_shown(value)} given", hint)


def _hinted(problem: str, hint: str) -> str:
    return f"{problem}; {hint}" if hint else problem


def place_in(text: str, position: int) -> str:
    """A text, of a long one what stands around a position, and the position.

    >>> place_in("short 300:", 6)
    "'short 300:', position 6"
    """
    begin, room = 0, _LONGEST - 5
    if position >= room:  # the begin of the text would not show it
        begin = max(0, min(position - room // 2, len(text) - room))
    return f"{'...' if begin else ''}{_shown(text[begin:])}, position {position}"


class DccwireError(Exception):
    """Root of all exceptions of this library; `reason` holds the stable code."""

    reason: Reason


class CallError(DccwireError, ValueError):
    """The caller asked for something that cannot be."""


class FieldError(CallError):
    """A value outside the bounds of a field: `field`, `bound`, `value`, and perhaps a `hint`.

    >>> print(FieldError("headlight", "None", True, "at 28 steps C is a speed bit"))
    headlight: None expected, True given; at 28 steps C is a speed bit
    """

    reason = Reason.FIELD

    def __init__(self, field: str, bound: str, value: object, hint: str = "") -> None:
        super().__init__(field, bound, value, hint)
        self.field, self.bound, self.value, self.hint = field, bound, value, hint

    def __str__(self) -> str:
        return _expected(self.field, self.bound, self.value, self.hint)


class LayoutError(CallError):
    """A layout line that cannot be read: `line`, `problem`."""

    reason = Reason.LAYOUT

    def __init__(self, line: str, problem: str) -> None:
        super().__init__(line, problem)
        self.line, self.problem = line, problem

    def __str__(self) -> str:
        return f"layout {self.line!r}: {self.problem}"


class PacketError(CallError):
    """An address and instructions that make no packet: `problem`, `hint`."""

    reason = Reason.COMBINATION

    def __init__(self, problem: str, hint: str) -> None:
        super().__init__(problem, hint)
        self.problem, self.hint = problem, hint

    def __str__(self) -> str:
        return f"{_cut(self.problem)}; {self.hint}"


class TextError(CallError):
    """Text that cannot be read: `reason`, `text`, `position` (from 0), `problem`, `hint`.

    >>> print(TextError(Reason.HEX, "377", 2, "odd number of hex digits", "two digits a byte"))
    '377', position 2: odd number of hex digits; two digits a byte
    """

    def __init__(self, reason: Reason, text: str, position: int, problem: str, hint: str) -> None:
        super().__init__(reason, text, position, problem, hint)
        self.reason, self.text, self.position = reason, text, position
        self.problem, self.hint = problem, hint

    def __str__(self) -> str:
        return f"{place_in(self.text, self.position)}: {_cut(self.problem)}; {self.hint}"


class ShapeError(CallError):
    """JSON of the wrong shape: `path` of the field, `expected`, `actual`, perhaps a `hint`.

    >>> print(ShapeError("instructions[0].cv", "an integer", "29"))
    instructions[0].cv: an integer expected, '29' given
    """

    reason = Reason.SHAPE

    def __init__(self, path: str, expected: str, actual: object, hint: str = "") -> None:
        super().__init__(path, expected, actual, hint)
        self.path, self.expected, self.actual, self.hint = path, expected, actual, hint

    def __str__(self) -> str:
        return _expected(self.path, self.expected, self.actual, self.hint)


class DecodeError(DccwireError):
    """What arrived is no packet."""


class LengthError(DecodeError):
    """A packet of fewer than 3 or more than 6 bytes: `actual` (S-9.2.1, introduction)."""

    reason = Reason.LENGTH

    def __init__(self, actual: int) -> None:
        super().__init__(actual)
        self.actual = actual

    def __str__(self) -> str:
        return f"3 to 6 bytes expected, the error byte included, {self.actual} given"


class ErrorByteError(DecodeError):
    """A wrong error detection byte: `expected` and `actual` (S-9.2 §B, Byte Three).

    >>> print(ErrorByteError(0x43, 0x42))
    error byte: 43 expected, 42 given
    """

    reason = Reason.ERROR_BYTE

    def __init__(self, expected: int, actual: int) -> None:
        super().__init__(expected, actual)
        self.expected, self.actual = expected, actual

    def __str__(self) -> str:
        return f"error byte: {self.expected:02X} expected, {self.actual:02X} given"


class ConfirmationError(DccwireError):
    """A decoder on the programming track did not acknowledge what it should have.

    `place` is the CV, `read` the value read before, if any, `refused` what was asked last.

    >>> print(ConfirmationError("CV 29", 38, "verify of 38"))
    CV 29: verify of 38 not acknowledged; read as 38 before
    """

    reason = Reason.UNCONFIRMED

    def __init__(self, place: str, read: int | None, refused: str) -> None:
        super().__init__(place, read, refused)
        self.place, self.read, self.refused = place, read, refused

    def __str__(self) -> str:
        before = "" if self.read is None else f"; read as {self.read} before"
        return f"{self.place}: {self.refused} not acknowledged{before}"


class RecordingError(DccwireError):
    """A recording that cannot be used: `reason`, `path`, `problem`, `where`, `hint`.

    >>> print(RecordingError(Reason.TIME, "a.csv", "time runs backwards", "line 7", "sort rows"))
    a.csv, line 7: time runs backwards; sort rows
    """

    def __init__(
        self, reason: Reason, path: str, problem: str, where: str = "", hint: str = ""
    ) -> None:
        super().__init__(reason, path, problem, where, hint)
        self.reason, self.path, self.problem = reason, path, problem
        self.where, self.hint = where, hint

    @classmethod
    def of_system(cls, path: str, error: OSError) -> Self:
        """What the system has to say of a file or a folder, with what would help.

        >>> print(RecordingError.of_system("a.csv", FileNotFoundError(2, "No such file")))
        a.csv: No such file; check the path and the folder
        """
        helps = (help_ for kind, help_ in _HELPS.items() if isinstance(error, kind))
        return cls(Reason.FILE, path, error.strerror or str(error), "", next(helps, ""))

    def __str__(self) -> str:
        place = f"{self.path}, {self.where}" if self.where else self.path
        return _hinted(f"{place}: {self.problem}", self.hint)


_HELPS: dict[type[OSError], str] = {
    FileNotFoundError: "check the path and the folder",
    NotADirectoryError: "check the path and the folder",
    FileExistsError: "name a folder",
    IsADirectoryError: "name a file inside it",
    PermissionError: "check its permissions",
}


class MissingPartError(DccwireError, ImportError):
    """An optional package is not installed: `package`, `extra`.

    >>> print(MissingPartError("numpy", "capture"))
    numpy is not installed; pip install 'dccwire[capture]', in a clone '.[capture]', brings it
    """

    reason = Reason.MISSING_PART

    def __init__(self, package: str, extra: str) -> None:
        super().__init__(package, extra)
        self.package, self.extra = package, extra

    def __str__(self) -> str:
        ways = f"pip install 'dccwire[{self.extra}]', in a clone '.[{self.extra}]'"
        return f"{self.package} is not installed; {ways}, brings it"


def plain_bytes(data: object, bound: str = "bytes") -> bytes:
    """The bytes of what has a buffer, such as a `bytearray`; a `FieldError` for anything else."""
    try:
        return data if type(data) is bytes else bytes(memoryview(data))  # type: ignore[arg-type]
    except TypeError:
        hint = "bytes.fromhex reads hex digits" if isinstance(data, str) else ""
        raise FieldError("data", bound, data, hint) from None


_Member = TypeVar("_Member", bound=Enum)


def member(kind: type[_Member], field: str, value: object) -> _Member:
    """A member of an enumeration, given itself or its value; a `FieldError` if it is neither."""
    try:
        return kind(value)
    except ValueError:
        bound = either(repr(one.value) for one in kind)
        raise FieldError(field, bound, value) from None
