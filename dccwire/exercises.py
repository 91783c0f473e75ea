"""Exercises: packets to read and to build by hand, each with its solution, and what is wrong.

The same seed gives the same exercise. What is asked, and where an answer is wrong, comes from the
packet's explanation. Room: a seed in, questions and marks out; nothing is printed here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from random import Random
from typing import Any

from dccwire.accessory import BasicAccessory
from dccwire.address import PROGRAMMING_TRACK, AccessoryAddress, LongAddress, Mode, ShortAddress
from dccwire.drawing import Explanation, explain
from dccwire.errors import CallError, FieldError, member
from dccwire.fields import Functions
from dccwire.framing import to_bits
from dccwire.instructions import (
    CvAccessLongForm,
    CvOperation,
    FunctionGroupOne,
    SpeedAndDirection,
    SpeedStepControl128,
)
from dccwire.packet import Packet
from dccwire.service_mode import DirectByteAccess
from dccwire.wording import counted, either, wrapped

__all__ = [
    "Ask",
    "Exercise",
    "Mark",
    "exercise",
    "exercises",
    "tasks",
    "worksheet",
    "worksheet_page",
]

MOST = 1000
"""Exercises of a sheet; another seed has others."""


class Ask(Enum):
    """What an exercise asks for."""

    FIELDS = "fields"
    """What a field of a packet says, given its bytes."""

    BITS = "bits"
    """The bits of an instruction, given in words."""

    ERROR_BYTE = "error-byte"
    """The error byte, given the bytes before it."""

    FRAME = "frame"
    """All bits of a packet from its packet start bit on, given its bytes."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Whether an answer is right, and if not, where it is wrong.

    `readable` is whether it could be one at all; what could not can be asked for again.
    """

    right: bool
    told: str
    readable: bool = True


@dataclass(frozen=True, slots=True)
class Exercise:
    """A question on a packet; `answer` is the solution, and `asked` the field, where one is asked.

    >>> one = exercise(3, Ask.ERROR_BYTE)
    >>> one.question, one.answer
    ('What is the error byte of the packet 4B 95?', 'DE')
    >>> print(one.mark("DC").told)
    bit 1 is 0, 1 is right: column 1 of 4B 95 has an odd number of ones
    """

    packet: Packet
    ask: Ask
    question: str
    answer: str
    asked: str = ""

    @property
    def explanation(self) -> Explanation:
        """The packet laid out, which is the long form of the solution."""
        return explain(bytes(self.packet), mode=self.packet.mode)

    def mark(self, given: str) -> Mark:
        """Compare an answer with the solution; blanks, underscores and case do not count.

        An error byte may be given in hex, with `0x` or without, or as its eight bits.
        """
        plain, solution = (re.sub(r"[\s_]", "", one).lower() for one in (given, self.answer))
        if self.ask is Ask.ERROR_BYTE:
            plain = f"{int(plain, 2):02x}" if re.fullmatch("[01]{8}", plain) else plain
            plain = plain.removeprefix("0x")
        if plain == solution:
            return Mark(True, "right")
        if self.ask is Ask.FIELDS:
            return self._mark_field(given.strip())
        if self.ask is Ask.ERROR_BYTE and re.fullmatch("[0-9a-f]{2}", plain):
            return Mark(False, "; ".join(self._columns(int(plain, 16) ^ int(solution, 16))))
        base = "two hex digits or eight bits" if self.ask is Ask.ERROR_BYTE else "0 and 1"
        if self.ask is Ask.ERROR_BYTE or not re.fullmatch("[01]+", plain):
            return _unreadable(base, given)
        if len(plain) != len(solution):
            told = f"{len(solution)} bits are expected, {len(plain)} given"
            told = "; ".join((told, *self._odd_groups(given)))
            return Mark(False, told, readable=False)
        wrong = [at for at, bit in enumerate(plain) if bit != solution[at]]
        return Mark(False, "; ".join(self._bit(at, plain[at]) for at in wrong))

    def _mark_field(self, given: str) -> Mark:
        one: Any = self.packet.instructions[0]
        kind = one.kinds[self.asked]
        listed = re.sub(r"[,\s]+", ",", given) if isinstance(kind, Functions) else given
        try:
            other = replace(one, **{self.asked: kind.from_text(self.asked, listed)})
        except CallError:
            field = one.layout.fields[self.asked]
            return _unreadable(kind.allowed(field.lowest, field.highest), given)
        right = other == one
        return Mark(right, "right" if right else "; ".join(self._field(given, bytes(other))))

    def _odd_groups(self, given: str) -> Iterator[str]:
        """Where blanks show as many groups as the solution has: those of another length."""
        groups, right = given.replace("_", " ").split(), self.answer.split()
        for number, (one, of) in enumerate(zip(groups, right, strict=False), 1):
            if len(groups) == len(right) > 1 and len(one) != len(of):
                yield f"group {number}, {one}, has {counted(len(one), 'digit')}, {len(of)} expected"

    def _field(self, given: str, other: bytes) -> Iterator[str]:
        """Where the field stands, what is there, and which bits would be others for the answer."""
        sent = b"".join(map(bytes, self.packet.instructions))
        head = len(bytes(self.packet)) - 1 - len(sent)
        for row in self.explanation.rows:
            if row.name == self.asked and row.letters:
                where = f"byte {row.byte}, bit {row.first}"
                where += f" to {row.last}" * (row.first != row.last)
                yield f"{where} ({row.letters}): {row.meaning}"
                differ = sent[row.byte - head] ^ other[row.byte - head]
                bits = [f"{bit}" for bit in range(row.first, row.last - 1, -1) if differ >> bit & 1]
                if bits and row.first > row.last:
                    wrong = f"bit {bits[0]} differs"
                    if len(bits) > 1:
                        wrong = f"bits {', '.join(bits)} differ"
                    yield f"{given} would be {other[row.byte - head]:08b}: {wrong}"

    def _columns(self, wrong: int) -> Iterator[str]:
        data = bytes(self.packet)
        for number in range(7, -1, -1):
            if wrong >> number & 1:
                right = data[-1] >> number & 1
                count = "an odd" if right else "an even"
                shown = data[:-1].hex(" ").upper()
                yield (
                    f"bit {number} is {1 - right}, {right} is right: column {number} of {shown} "
                    f"has {count} number of ones"
                )

    def _bit(self, at: int, given: str) -> str:
        """What a bit of the answer is, whose value is wrong."""
        if self.ask is Ask.FRAME:
            byte, place = divmod(at, 9)
            if place:
                what = f"bit {8 - place} of byte {byte}"
            else:
                ends = byte == len(bytes(self.packet))
                what = "the packet end bit" if ends else f"the start bit of byte {byte}"
            return f"place {at}, {what}, is {given}, {1 - int(given)} is right"
        head = len(bytes(self.packet)) - 1 - len(self.answer.split())
        byte, number = head + at // 8, 7 - at % 8
        names = self.packet.instructions[0].layout.fields
        rows = (row for row in self.explanation.rows if row.byte == byte and row.name in names)
        inside = (row for row in rows if row.letters and row.last <= number <= row.first)
        field = next((f"{row.letters}, {row.meaning}" for row in inside), "fixed")
        return f"byte {byte}, bit {number} ({field}) is {given}, {1 - int(given)} is right"


def _unreadable(expected: str, given: str) -> Mark:
    return Mark(False, f"{expected} expected, {given.strip()!r} given", readable=False)


def exercise(seed: int, ask: Ask | str | None = None, *, number: int = 0) -> Exercise:
    """An exercise of a seed, any whole number, the first or another; of any kind or the one given.

    Raises:
        FieldError: the seed is no whole number, or there is no such kind.

    >>> print(exercise(1, "fields").question)
    short 13: SpeedAndDirection is sent as 0D 59 54. What is speed?
    """
    if type(seed) is not int:
        raise FieldError("seed", "a whole number", seed)
    draw = Random(f"{seed} {number}")
    packet = _packet(draw)
    kind = draw.choice(list(Ask)) if ask is None else _ask(ask)
    sent = bytes(packet)
    shown, words = sent.hex(" ").upper(), str(packet)
    match kind:
        case Ask.ERROR_BYTE:
            before = sent[:-1].hex(" ").upper()
            return Exercise(
                packet, kind, f"What is the error byte of the packet {before}?", f"{sent[-1]:02X}"
            )
        case Ask.FRAME:
            bits = to_bits(sent, 0).bin
            groups = " ".join(
                f"{bits[at]} {bits[at + 1 : at + 9]}" for at in range(0, len(bits) - 1, 9)
            )
            question = f"Which bits follow on the preamble when {shown} is sent, to the end bit?"
            return Exercise(packet, kind, question, f"{groups} {bits[-1]}")
        case Ask.BITS:
            size = sum(len(bytes(one)) for one in packet.instructions)
            body = sent[-1 - size : -1]
            question = f"Which bits are the instruction of '{words}'?"
            if isinstance(packet.instructions[0], BasicAccessory):
                question = f"Which bits are the first two bytes of '{words}'?"
            return Exercise(packet, kind, question, " ".join(f"{one:08b}" for one in body))
        case _:
            (one,) = packet.instructions
            name = draw.choice([*one.kinds])
            title = words.split(" ")
            at = next(place for place, word in enumerate(title) if word == type(one).__name__)
            question = f"{' '.join(title[: at + 1])} is sent as {shown}. What is {name}?"
            return Exercise(packet, kind, question, one.kinds[name].text(getattr(one, name)), name)


def exercises(seed: int, count: int, ask: Ask | str | None = None) -> Iterator[Exercise]:
    """The first so many exercises of a seed, each drawn when it is asked for.

    Raises:
        FieldError: as `exercise`; or a count below 1 or above 1000.

    >>> [one.answer for one in exercises(3, 2, "error-byte")]
    ['DE', 'F2']
    """
    if type(count) is not int or not 1 <= count <= MOST:
        raise FieldError("count", f"1 to {MOST}", count)
    return (exercise(seed, ask, number=number) for number in range(count))


def worksheet(
    seed: int, count: int = 6, ask: Ask | str | None = None, *, solutions: bool = False
) -> str:
    """So many exercises from a seed on, numbered, as text of 80 columns; or with their solutions.

    Raises:
        FieldError: as `exercises`.

    >>> print(worksheet(3, 2, "error-byte", solutions=True))
    1. What is the error byte of the packet 4B 95?
       DE
    <BLANKLINE>
    2. What is the error byte of the packet D3 69 3F 77?
       F2
    """
    return "\n\n".join(tasks(seed, count, ask, solutions=solutions))


def tasks(
    seed: int, count: int, ask: Ask | str | None = None, *, solutions: bool = False
) -> Iterator[str]:
    """What a sheet has of each exercise, one after the other as they are drawn.

    Raises:
        FieldError: as `exercises`.

    >>> print(*tasks(3, 1, "error-byte", solutions=True))
    1. What is the error byte of the packet 4B 95?
       DE
    """
    for number, one in enumerate(exercises(seed, count, ask), 1):
        head = f"{number}. "
        below = [one.answer] if solutions else ["", "_" * 40]
        indented = ((" " * len(head) + line).rstrip() for line in below)
        yield "\n".join((*wrapped(one.question, 80, head), *indented))


def worksheet_page(seed: int, count: int = 6, ask: Ask | str | None = None) -> str:
    """The same as a page of HTML, the solutions with their explanations folded beneath each."""
    from dccwire.drawing.page import in_text, page, part_of

    body = list[str]()
    for number, one in enumerate(exercises(seed, count, ask), 1):
        body += [
            f"<h2>{number}. {in_text(one.question)}</h2>",
            "<details><summary>solution</summary>",
            f"<p><b>{in_text(one.answer)}</b></p>",
            part_of(one.explanation),
            "</details>",
        ]
    return page(f"exercises of seed {seed}", "\n".join(body) + "\n")


def _ask(ask: Ask | str) -> Ask:
    if isinstance(ask, str):
        known = {one.value: one for one in Ask}
        if ask not in known:
            raise FieldError("ask", either(known), ask)
        return known[ask]
    return member(Ask, "ask", ask)


def _packet(draw: Random) -> Packet:
    """A packet that is met every day."""
    short, forward = ShortAddress(draw.randint(1, 99)), draw.random() < 0.5
    long = LongAddress(draw.randint(128, 9999))
    match draw.randrange(6):
        case 0:
            speed = SpeedAndDirection.at(step=draw.randint(1, 28), steps=28, forward=forward)
            return Packet(short, speed)
        case 1:
            return Packet(long, SpeedStepControl128.at(step=draw.randint(1, 126), forward=forward))
        case 2:
            names = ("FL", "F1", "F2", "F3", "F4")
            return Packet(short, FunctionGroupOne.on(*draw.sample(names, draw.randint(1, 3))))
        case 3:
            switch = BasicAccessory(
                active=forward, pair=draw.randrange(4), output=draw.randrange(2)
            )
            return Packet(AccessoryAddress(draw.randint(1, 510)), switch)
        case 4:
            write = CvAccessLongForm(CvOperation.WRITE, draw.randint(1, 1024), draw.randrange(256))
            return Packet(long, write)
        case _:
            verify = DirectByteAccess(
                CvOperation.VERIFY, draw.randint(1, 1023), draw.randrange(256)
            )
            return Packet(PROGRAMMING_TRACK, verify, mode=Mode.SERVICE)
