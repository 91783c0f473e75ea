"""The commands for single packets: decode, encode, inspect, explain."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeAlias

from bitstring import Bits

from dccwire.address import Mode
from dccwire.cli.printing import complain, say
from dccwire.drawing import explain
from dccwire.errors import DecodeError, Reason, RecordingError, ShapeError, TextError
from dccwire.framing import least_preamble, parse_bits
from dccwire.inspection import inspect
from dccwire.notation import types_in_words
from dccwire.packet import Packet, decode
from dccwire.plan import read_packet

__all__ = ["Commands", "add_command", "add_commands", "standard_input"]

Commands: TypeAlias = "argparse._SubParsersAction[Any]"
_BYTES = "bytes in hex, with or without blanks, or a packet's text; - reads lines"


def add_commands(commands: Commands) -> None:
    """Add the four commands."""
    one = add_command(commands, "decode", _decode, "say what bytes mean")
    one.add_argument("hex", nargs="+", metavar="HEX", help=_BYTES)
    _add_mode(one)
    one.add_argument("--json", action="store_true", help="one object a line")
    one = add_command(commands, "encode", _encode, "give the bytes of a packet's text or JSON")
    one.add_argument(
        "packets", nargs="*", metavar="TEXT_OR_JSON", help="as decode prints it; - reads lines"
    )
    one.add_argument("--types", action="store_true", help="list the instructions and their fields")
    one.add_argument(
        "--bits",
        action="store_true",
        help="bits instead, with a preamble of 14 ones, in service mode 20",
    )
    one = add_command(
        commands, "inspect", _inspect, "look at any bytes or bits and say what is odd"
    )
    one.add_argument("hex", nargs="+", metavar="HEX", help=_BYTES)
    one.add_argument("--bits", action="store_true", help="the input is bits, preamble included")
    _add_mode(one)
    one.add_argument("--json", action="store_true", help="one object a line")
    one = add_command(commands, "explain", _explain, "lay a packet out bit by bit")
    one.add_argument("hex", nargs="+", metavar="HEX", help=_BYTES)
    one.add_argument("--bits", action="store_true", help="the input is bits, preamble included")
    _add_mode(one)


def _add_mode(one: argparse.ArgumentParser) -> None:
    one.add_argument(
        "--service",
        action="store_const",
        dest="mode",
        const=Mode.SERVICE,
        default=Mode.OPERATIONS,
        help="read packets of a programming track",
    )


def add_command(
    commands: Commands, name: str, run: Callable[[argparse.Namespace], int], help_: str
) -> argparse.ArgumentParser:
    """Add a command that `run` carries out."""
    made: argparse.ArgumentParser = commands.add_parser(
        name, help=help_, description=help_, allow_abbrev=False
    )
    made.set_defaults(run=run)
    return made


def _lines(given: Sequence[str]) -> Iterator[str]:
    """The arguments, with `-` as the lines of standard input but for blank ones and comments."""
    for one in given:
        if one != "-":
            yield one.strip()
            continue
        for line in map(str.strip, standard_input().splitlines()):
            if line and not line.startswith("#"):
                yield line


def standard_input() -> str:
    """All of standard input.

    Raises:
        RecordingError: it is closed, or no UTF-8.
    """
    try:
        return sys.stdin.read()
    except (AttributeError, OSError, UnicodeDecodeError) as error:
        problem = f"cannot be read ({error})"
        raise RecordingError(Reason.FILE, "standard input", problem) from None


def _byte_strings(given: Sequence[str]) -> Iterator[bytes]:
    """Packets from arguments: one each if all are long enough, else all together are one."""
    lines = list(_lines(given))
    for line in lines:
        groups = re.split(r"[ _]+", line)
        eights = all(re.fullmatch("[01]{8}", group) for group in groups)
        if eights or re.fullmatch("[01]{13,}", "".join(groups)):
            problem = "0 and 1 in groups of eight, or so many of them, look like bits"
            hint = "'inspect --bits' and 'explain --bits' read bits, hex is read as '01 00 00 01'"
            raise TextError(Reason.HEX, line, 0, problem, hint)
    joined = "-" not in given and any(len(line.replace(" ", "")) < 6 for line in lines)
    for line in [" ".join(lines)] if joined else lines:
        yield read_packet(line)


def _inputs(given: argparse.Namespace) -> Iterator[bytes | Bits]:
    if not given.bits:
        yield from _byte_strings(given.hex)
    elif "-" in given.hex:
        yield from map(parse_bits, _lines(given.hex))
    else:
        yield parse_bits(" ".join(given.hex))


def _decode(given: argparse.Namespace) -> int:
    status = 0
    for data in list(_byte_strings(given.hex)):
        try:
            packet = decode(data, mode=given.mode)
        except DecodeError as error:
            complain(f"{data.hex(' ').upper()}: {error}; 'dccwire inspect' reads what it can")
            status = 1
            continue
        if given.json:
            say(json.dumps(packet.to_dict()))
            continue
        say(str(packet))
        for words in packet.in_words():
            say(f"# {words}")
    return status


def _encode(given: argparse.Namespace) -> int:
    if given.types:
        for line in types_in_words():
            say(line)
        return 0
    if not given.packets:
        raise TextError(Reason.TEXT, "", 0, "no packet", "--types lists what there is")
    for packet in list(map(_packet, _lines(given.packets))):
        data = bytes(packet)
        if given.bits:
            groups = [f"0 {byte:08b}" for byte in data]
            say(" ".join(("1" * least_preamble(packet.mode), *groups, "1")))
        else:
            say(data.hex(" ").upper())
    return 0


def _packet(line: str) -> Packet:
    if not line.startswith("{"):
        return Packet.from_text(line)
    try:
        plain = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise ShapeError("packet", f"JSON ({error})", line) from None
    return Packet.from_dict(plain)


def _inspect(given: argparse.Namespace) -> int:
    status = 0
    for data in list(_inputs(given)):
        found = inspect(data, mode=given.mode)
        status = max(status, int(not found.well))
        if given.json:
            say(json.dumps(found.to_dict()))
            continue
        known = found.packet or found.unverified
        say(f"{found.data.hex(' ').upper() or 'no bytes'}: {known or 'no packet'}")
        if found.preamble is not None:
            say(f"  after a preamble of {found.preamble} one{'s' * (found.preamble != 1)}")
        for words in known.in_words() if known else ():
            say(f"  # {words}")
        for one in found.findings:
            say(f"  {one.reason}: {one.message} ({one.clause}; bit {one.offset})")
        if not found.findings:
            say("  nothing to remark")
    return status


def _explain(given: argparse.Namespace) -> int:
    status = 0
    for number, data in enumerate(list(_inputs(given))):
        if number:
            say()
        explanation = explain(data, mode=given.mode)
        say(explanation.text())
        status = max(status, int(not explanation.inspection.well))
    return status
