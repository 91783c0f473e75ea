"""The commands for single packets: decode, encode, inspect, explain.

What each of them needs is imported when it runs: the command starts in a third of the time.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import chain, pairwise, repeat
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

from dccwire.address import Mode
from dccwire.cli.printing import complain, flush, say
from dccwire.errors import CallError, DecodeError, FieldError, Reason, RecordingError, TextError
from dccwire.notation import parse_hex, plain_from_json
from dccwire.packet import Packet, decode

if TYPE_CHECKING:
    from bitstring import Bits

Commands: TypeAlias = "argparse._SubParsersAction[Any]"
_T = TypeVar("_T")
STATUSES = "Exit status: 0 all well, 1 what was given is not well, 2 it or the call cannot be used."
_BYTES = "bytes in hex, with or without blanks, commas and 0x, or a packet's text; - reads lines"


def add_commands(commands: Commands) -> None:
    """Add the four commands."""
    add = add_command(commands, "encode", _encode, "give a packet's bytes").add_argument
    add("given", nargs="*", metavar="TEXT_OR_JSON", help="as decode prints it; - reads lines")
    add("--types", action="store_true", help="list all instructions, or those named")
    add("--bits", action="store_true", help="bits, after 14 ones, in service mode 20")
    for name, run, help_ in (
        ("decode", _decode, "say what bytes mean"),
        ("inspect", _inspect, "look at any bytes or bits and say what is odd"),
        ("explain", _explain, "lay a packet out bit by bit"),
    ):
        add = add_command(commands, name, run, help_).add_argument
        add("given", nargs="+", metavar="HEX", help=_BYTES)
        if run is not _decode:
            add("--bits", action="store_true", help="the input is bits, preamble included")
        if run is not _explain:
            add("--json", action="store_true", help="one object a line")
        else:
            add("--half-bits", action="store_true", help="each bit with its time, too")
            words = "what differs from another packet, instead"
            add("--against", nargs="+", metavar="HEX", help=words)
            add("--width", type=whole, metavar="N", help="columns, those of the terminal otherwise")
            add("--svg", metavar="FILE", help="draw the signal, too")
            add("--html", metavar="FILE", help="write a page with the same, too")
        add("--service", action="store_true", help="read packets of a programming track")


def add_command(
    commands: Commands, name: str, run: Callable[[argparse.Namespace], int], help_: str
) -> argparse.ArgumentParser:
    """Add a command that `run` carries out."""
    made: argparse.ArgumentParser = commands.add_parser(
        name, help=help_, description=help_, epilog=STATUSES, allow_abbrev=False
    )
    made.set_defaults(run=run, command=made)
    return made


def whole(text: str) -> int:
    """The whole number of an option."""
    if not re.fullmatch(r"-?\d{1,20}", text, re.ASCII):
        raise argparse.ArgumentTypeError(f"a whole number expected, {text!r} given")
    return int(text)


def _mode(given: argparse.Namespace) -> Mode:
    return Mode.SERVICE if given.service else Mode.OPERATIONS


def text_of(path: str) -> str:
    """The text of a file, or of standard input, without the mark that some editors put first.

    A `RecordingError` if it cannot be read.
    """
    try:
        return "".join(given_lines()) if path == "-" else Path(path).read_text("utf-8-sig")
    except OSError as error:
        raise RecordingError.of_system(path, error) from None
    except UnicodeDecodeError:
        raise RecordingError(Reason.FILE, path, "is no UTF-8 text", "", "save it as such") from None


def write_text(path: str, text: str) -> None:
    """Write a file; a `RecordingError` if it cannot be written."""
    try:
        Path(path).write_text(text, "utf-8")
    except OSError as error:
        raise RecordingError.of_system(path, error) from None


def given_lines() -> Iterator[str]:
    """The lines of standard input as they come."""
    try:
        for number, line in enumerate(sys.stdin):
            yield line if number else line.removeprefix("\ufeff")
    except (TypeError, OSError, UnicodeDecodeError) as error:
        problem = f"cannot be read ({error if sys.stdin else 'it is closed'})"
        raise RecordingError(Reason.FILE, "standard input", problem) from None


def answer(given: Sequence[str], read: Callable[[str], _T], tell: Callable[[_T], int]) -> int:
    """Read and tell each packet given; the status is the worst.

    Of arguments all are read before the first is told. Lines of standard input are told as they
    come, but for blank ones and comments, and one that cannot be read keeps none from the others.
    """
    if "-" not in given:
        texts = _texts(given)
        items = [read(text) for text in texts]
        return max(_told(text, tell, item) for text, item in zip(texts, items, strict=True))
    if len(given) > 1:
        raise FieldError("packets", "- alone, or no -", " ".join(given))
    worst = 0
    for number, line in enumerate(map(str.strip, given_lines()), 1):
        if line and not line.startswith("#"):
            try:
                worst = max(worst, _told(f"line {number}: {line}", tell, read(line)))
            except CallError as error:
                complain(f"line {number}: {error}")
                worst = 1
            flush()
    return worst


def _told(given: str, tell: Callable[[_T], int], item: _T) -> int:
    """The status of telling what was read; what `decode` refuses is no fault of the call."""
    try:
        return tell(item)
    except DecodeError as error:
        shown = given if len(given) <= 60 else f"{given[:57]}..."
        complain(f"{shown}: {error}; 'dccwire inspect' reads what it can")
        return 1


_WHOLE = re.compile(r"\{.*|.*:.*|((\b0[xX])?[0-9A-Fa-f][\s,]*){6,}", re.DOTALL)


def _texts(given: Sequence[str]) -> Sequence[str]:
    """A packet each, if each could be one; else all together are one that was not quoted."""
    quoted = any(": " in text for text in given)
    whole = quoted or all(map(_WHOLE.fullmatch, map(str.strip, given)))
    return [text.strip() for text in (given if whole else [" ".join(given)])]


def _read_bytes(text: str) -> bytes:
    """The bytes of hex digits or of a packet's text."""
    groups = re.split(r"[ _]+", text)
    eights = all(re.fullmatch("[01]{8}", group) for group in groups)
    if eights or re.fullmatch("[01]{13,}", "".join(groups)):
        problem = "0 and 1 in groups of eight, or so many of them, look like bits"
        hint = "'inspect --bits' and 'explain --bits' read bits, hex is read as '01 00 00 01'"
        raise TextError(Reason.HEX, text, 0, problem, hint)
    if re.fullmatch(r"[\s,xX0-9A-Fa-f]*", text):
        return parse_hex(text)  # loading what reads all the rest takes as long as `dccwire`
    from dccwire.plan import read_packet

    return read_packet(text)


def _read_bytes_or_bits(given: argparse.Namespace) -> Callable[[str], bytes | Bits]:
    if not given.bits:
        return _read_bytes
    from dccwire.framing import parse_bits

    return parse_bits


def _odd_groups(text: str) -> Iterator[str]:
    """Which groups of bits are bytes with a digit less or more: they follow on a start bit."""
    for number, (before, group) in enumerate(pairwise(text.replace("_", " ").split()), 2):
        if before == "0" and len(group) in (7, 9):
            yield f"group {number}, {group}, has {len(group)} digits; a byte has 8"


def _tell_bytes_or_bits(
    given: argparse.Namespace, tell: Callable[[bytes | Bits], int], note: Callable[[str], None]
) -> int:
    """Read and tell each packet, and `note` beneath it which of its groups of bits are odd."""
    texts, read = given.given, _read_bytes_or_bits(given)
    if given.bits and "-" not in texts:
        texts = [" ".join(texts)]

    def tell_all(item: tuple[bytes | Bits, str]) -> int:
        status = tell(item[0])
        for words in _odd_groups(item[1]) if given.bits else ():
            note(words)
        return status

    return answer(texts, lambda text: (read(text), text), tell_all)


def _decode(given: argparse.Namespace) -> int:
    def tell(data: bytes) -> int:
        packet = decode(data, mode=_mode(given))
        words = "\n# ".join((str(packet), *packet.in_words()))
        say(json.dumps(packet.to_dict()) if given.json else words)
        return 0

    return answer(given.given, _read_bytes, tell)


def _encode(given: argparse.Namespace) -> int:
    if given.types:
        from dccwire.notation import types_in_words

        say("\n".join(types_in_words(given.given)))
        return 0
    if not given.given:
        raise TextError(Reason.TEXT, "", 0, "no packet", "--types lists what there is")

    def tell(packet: Packet) -> int:
        words = bytes(packet).hex(" ").upper()
        if given.bits:
            from dccwire.framing import least_preamble

            groups = [f"0 {byte:08b}" for byte in bytes(packet)]
            words = " ".join(("1" * least_preamble(packet.mode), *groups, "1"))
        say(words)
        return 0

    return answer(given.given, _packet, tell)


def _packet(line: str) -> Packet:
    if not line.startswith("{"):
        return Packet.from_text(line)
    return Packet.from_dict(plain_from_json(line, "packet"))


def _inspect(given: argparse.Namespace) -> int:
    from dccwire.inspection import inspect

    def tell(data: bytes | Bits) -> int:
        found = inspect(data, mode=_mode(given))
        say(json.dumps(found.to_dict()) if given.json else str(found))
        return int(not found.well)

    note = complain if given.json else lambda words: say(f"  ! {words}")
    return _tell_bytes_or_bits(given, tell, note)


def _explain(given: argparse.Namespace) -> int:
    from dccwire.drawing import difference, explain

    between, drawn, against = chain([""], repeat("\n")), list[str](), None
    width = get_terminal_size((80, 24)).columns if given.width is None else given.width
    for option, asked in (("--half-bits", given.half_bits), ("--svg", given.svg)):
        if given.against is not None and asked:
            raise FieldError(option, "no --against beside it", given.against)
    if given.against is not None:
        other = _read_bytes_or_bits(given)(" ".join(given.against))
        against = explain(other, mode=_mode(given))

    def tell(data: bytes | Bits) -> int:
        one = explain(data, mode=_mode(given))
        well, halves = one.inspection.well, given.half_bits
        lines: Callable[[int], str] = partial(one.text, half_bits=halves)
        page: Callable[[], str] = partial(one.html, half_bits=halves)
        if against is not None:
            both = difference(one, against)
            well, lines, page = well and against.inspection.well, both.text, both.html
        for path, made in ((given.svg, one.svg), (given.html, page)):
            if path in drawn:
                raise FieldError("packets", f"one for {path}", "more than one")
            if path is not None:
                write_text(path, made())
                drawn.append(path)
        say(next(between) + lines(width))
        return int(not well)

    return _tell_bytes_or_bits(given, tell, lambda words: say(f"! {words}"))
