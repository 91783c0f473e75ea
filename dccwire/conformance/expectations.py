"""What was to be sent: packets such as these, so many of them, between two times.

Each gets a verdict with the packets that met it, or with the one that came nearest and the bits in
which it differs. Room: values and their text; `expecting` watches for them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from dccwire.address import Address
from dccwire.conformance.rules import Verdict
from dccwire.errors import FieldError, Reason, TextError
from dccwire.instructions.function_groups import FunctionGroup
from dccwire.notation import INSTRUCTION_TYPES, address_text, instruction_from_text
from dccwire.packet import Packet, decode


@dataclass(frozen=True, slots=True)
class Expectation:
    """At least, and at most, so many packets between two times.

    `to` is their address, any if None. `what` is an instruction's type, with some of its fields as
    its text has them, or a function such as `F2=on`; any instruction if it is empty. With `packet`
    it is that one alone; bytes are of either mode. Times are in ns from the recording's begin, of
    packet start bits.

    Raises:
        TextError: `what` names no instruction, none of its fields, or no value of such a field.
        LengthError, ErrorByteError: bytes that are no packet.
        FieldError: a bound below 0, or an end before its begin.

    >>> from dccwire import LongAddress
    >>> print(Expectation(LongAddress(1205), "F2=on", from_ns=2 * 10**9, until_ns=3 * 10**9))
    long 1205: F2=on, 1 or more, 2 to 3 s
    """

    to: Address | None = None
    what: str = ""
    at_least: int = 1
    at_most: int | None = None
    from_ns: int = 0
    until_ns: int | None = None
    packet: Packet | bytes | None = None

    def __post_init__(self) -> None:
        wanted_of(self.what)
        if isinstance(self.packet, bytes):
            decode(self.packet)
        if self.packet is not None and (self.what or self.to is not None):
            raise FieldError("packet", "no to and no what beside it", self.packet)
        for name, least in (("at_least", 0), ("from_ns", 0)):
            value = getattr(self, name)
            if type(value) is not int or value < least:
                raise FieldError(name, f"{least} or more", value)
        for name, least in (("at_most", self.at_least), ("until_ns", self.from_ns)):
            value = getattr(self, name)
            if value is not None and (type(value) is not int or value < least):
                hint = "with at_least = 0 for none" if (name, value) == ("at_most", 0) else ""
                raise FieldError(name, f"{least} or more", value, hint)

    def __str__(self) -> str:
        to = "any packet" if self.to is None else address_text(self.to)
        most = "or more" if self.at_most is None else f"to {self.at_most}"
        count = f"{self.at_least} {most}"
        if self.at_most == self.at_least:
            count = f"exactly {self.at_least}" if self.at_least else "none"
        end = "the end" if self.until_ns is None else f"{self.until_ns / 1e9:g} s"
        begin = f"{self.from_ns / 1e9:g}{'' if self.until_ns is not None else ' s'}"
        asked = f"{to}{': ' * bool(self.what)}{self.what}"
        if self.packet is not None:
            exactly = self.packet
            asked = exactly.hex(" ").upper() if isinstance(exactly, bytes) else str(exactly)
        return f"{asked}, {count}, {begin} to {end}"


@dataclass(frozen=True, slots=True)
class ExpectationResult:
    """What a recording shows of an expectation.

    `count` is how many packets met it, `times_ns` the start bits of the first of them; `nearest`
    tells of the packet that came nearest, if too few met it; `note` says why it is undecided.
    """

    expectation: Expectation
    verdict: Verdict
    count: int
    times_ns: tuple[int, ...] = ()
    nearest: str = ""
    note: str = ""

    @property
    def seen(self) -> str:
        """How many were seen, and when the first of them, in ms."""
        times = ", ".join(f"{time / 1e6:.3f}" for time in self.times_ns)
        more = ", ..." if self.count > len(self.times_ns) else ""
        return f"{self.count} seen{f', at {times} ms{more}' if times else ''}"

    def to_dict(self) -> dict[str, Any]:
        """The result as a line of JSON holds it."""
        return {
            "expectation": str(self.expectation),
            "at_least": self.expectation.at_least,
            "at_most": self.expectation.at_most,
            "from_ns": self.expectation.from_ns,
            "until_ns": self.expectation.until_ns,
            "verdict": self.verdict.value,
            "count": self.count,
            "times_ns": list(self.times_ns),
            "nearest": self.nearest,
            "note": self.note,
        }


@dataclass(frozen=True, slots=True)
class Wanted:
    """The type of an instruction, and the text of each of its fields that is asked for."""

    types: tuple[type[Any], ...]
    fields: dict[str, str]
    function: str = ""

    def differs(self, part: Any) -> bool | None:
        """Whether an instruction of the type differs; None: it is of another type."""
        if type(part) not in self.types:
            return None
        if self.function:
            return (self.function in part) is not (self.fields["state"] == "on")
        return any(
            part.kinds[name].text(getattr(part, name)) != text for name, text in self.fields.items()
        )

    def made_of(self, part: Any) -> Any:
        """The instruction as it was wanted, all else being as it is."""
        if isinstance(part, FunctionGroup) and self.function:
            return part.switched(self.function, self.fields["state"] == "on")
        values = {
            name: part.kinds[name].from_text(name, text) for name, text in self.fields.items()
        }
        return replace(part, **values)


@lru_cache(maxsize=256)
def wanted_of(what: str) -> Wanted | None:
    """What an expectation asks for, read from its text; None: any instruction."""
    name, *given = what.split() or [""]
    if not name:
        return None
    fields: dict[str, str] = {}
    if "=" in name and not given:
        function, state = name.split("=", 1)
        function = "FL" if function == "F0" else function
        groups = [one for one in INSTRUCTION_TYPES.values() if issubclass(one, FunctionGroup)]
        types = tuple(one for one in groups if function in one.names())
        if not types or state not in ("on", "off"):
            raise TextError(
                Reason.TEXT, what, 0, f"{name!r} is no function", "such as F2=on, FL=off"
            )
        return Wanted(types, {"state": state}, function)
    if name not in INSTRUCTION_TYPES:
        raise TextError(
            Reason.TEXT, what, 0, f"no instruction {name!r}", "'dccwire encode --types' lists all"
        )
    cls = INSTRUCTION_TYPES[name]
    for word in given:
        field, _, value = word.partition("=")
        if field not in cls.kinds:
            whole = instruction_from_text(what)  # those of a named way, all of them: a speed step
            fields = {key: kind.text(getattr(whole, key)) for key, kind in whole.kinds.items()}
            return Wanted((cls,), fields)
        kind, bits = cls.kinds[field], cls.layout.fields[field] if hasattr(cls, "layout") else None
        read = kind.from_text(field, value)
        kind.check(field, read, bits.lowest if bits else 0, bits.highest if bits else 0)
        fields[field] = kind.text(read)
    return Wanted((cls,), fields)
