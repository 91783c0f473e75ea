"""The command for units that run as one: consist."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator

from dccwire import consists
from dccwire.cli.cvs import ON_MAIN, say_plan
from dccwire.cli.printing import say
from dccwire.cli.words import Commands, add_command, text_of
from dccwire.consists import Conflict, Consist
from dccwire.framing import SENT_PREAMBLE
from dccwire.packet import Packet
from dccwire.programming.session import Step
from dccwire.wording import counted, wrapped

WAYS: dict[str, Callable[[Consist], tuple[Packet, ...]]] = {
    "control": consists.by_consist_control,
    "writes": consists.by_writes,
    "out": consists.way_out,
}

CAUTIONS = (
    ON_MAIN,
    "Make and end a consist at a standstill, and try it on a closed loop or against a stop block.",
    "In a consist a unit does not obey a stop, nor an emergency stop, to its own address: stop the "
    "consist's, or all by a broadcast. An emergency stop sent is not one obeyed; no packet is a "
    "safety device.",
)


def add_commands(commands: Commands) -> None:
    """Add the command."""
    help_ = "say what makes units run as one, who obeys what, and what does not go together"
    one = add_command(commands, "consist", _consist, help_)
    one.epilog = " ".join(CAUTIONS)
    one.add_argument("file", metavar="FILE", help="TOML: consist, others, and a table [[unit]] for "
                     "each unit with address, position, reversed, steps, functions, obeys, on; - "
                     "is standard input")  # fmt: skip
    one.add_argument("--packets", choices=WAYS, help="a plan for compose instead: into the consist "
                     "by consist control or by CV writes alone, or out of it")  # fmt: skip
    one.add_argument("--json", action="store_true", help="one object a line")


def _consist(given: argparse.Namespace) -> int:
    consist = consists.consist_from_toml(text_of(given.file), given.file)
    found = consists.conflicts(consist)
    if given.packets:
        steps = [Step(packet, 1, SENT_PREAMBLE) for packet in WAYS[given.packets](consist)]
        say_plan(steps, [*CAUTIONS, *map(str, found)], given.json)
    else:
        for line in (_json if given.json else _text)(consist, found):
            say(line)
    return int(any(one.reason.blames for one in found))


def _json(consist: Consist, found: tuple[Conflict, ...]) -> Iterator[str]:
    """A line for each unit, then one for each conflict."""
    units = consists.obedience(consist).to_dict()["units"]
    for unit, plain, cvs in zip(consist.units, units, consist.cvs, strict=True):
        place = {"position": unit.position.value, "reversed": unit.reversed}
        yield json.dumps({**plain, **place, "cvs": {str(cv): cvs[cv] for cv in cvs}})
    for one in found:
        yield json.dumps({"conflict": one.to_dict()})


def _text(consist: Consist, found: tuple[Conflict, ...]) -> Iterator[str]:
    yield f"consist {consist.address}, {counted(len(consist.units), 'unit')}"
    for unit, cvs in zip(consist.units, consist.cvs, strict=True):
        told = ", ".join(f"CV {cv} = {value}" for cv, value in cvs.items())
        yield f"{unit.name:<13} {told}"
    yield f"\n{consists.obedience(consist).text()}\n"
    for one in found:
        yield from wrapped(str(one), 80, "- ")
    if not any(one.reason.blames for one in found):
        yield "all of this goes together"
