"""The command that works out speed tables from measured speeds: match."""

from __future__ import annotations

import argparse
import json
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from dccwire.cli.printing import say
from dccwire.cli.reading import number
from dccwire.cli.words import Commands, add_command, text_of, write_text
from dccwire.errors import CallError, FieldError, Reason, RecordingError

if TYPE_CHECKING:
    from dccwire.matching import Matching, Measurements

_CAUTION = (
    "A locomotive under test runs on a closed loop, or towards a stop block; an emergency stop "
    "that was sent is not one obeyed, and no packet is a safety device. A write on the main "
    "reaches every decoder at the address."
)


def add_commands(commands: Commands) -> None:
    """Add the command."""
    words = "speed tables, CV 67 to 94, that make units run alike, from measured speeds"
    one = add_command(commands, "match", _match, words)
    one.epilog = _CAUTION
    add = one.add_argument
    add("file", metavar="FILE", help="measurements, TOML or .csv; - reads TOML, CSV with --scale")
    add("--scale", type=number, metavar="N", help="of CSV: the N of 1:N")
    add("--length-mm", type=number, metavar="MM", help="of CSV: the length that seconds are over")
    shapes = ("straight", "mean")
    add("--shape", choices=shapes, default="straight", help="of the common speed; mean: as it was")
    add("--json", action="store_true", help="one object a line")
    add("--packets", action="store_true", help="print a plan of the writes on the main instead")
    add("--svg", metavar="FILE", help="draw the speeds before and after, too")
    add("--csv", metavar="FOLDER", help="write a set of CVs for each unit, as cv --compare reads")


def _match(given: argparse.Namespace) -> int:
    from dccwire.matching import match

    text = text_of(given.file)
    try:
        matching = match(_measurements(text, given), given.shape)
    except CallError as error:
        raise RecordingError(Reason.FORMAT, given.file, str(error)) from None
    if given.svg is not None:
        write_text(given.svg, matching.svg())
    if given.csv is not None:
        _write_sets(matching, Path(given.csv))
    if given.packets:
        _print_packets(matching, given)
    else:
        say(json.dumps(matching.to_dict()) if given.json else matching.text())
    return 0


def _measurements(text: str, given: argparse.Namespace) -> Measurements:
    from dccwire.matching import from_csv, from_toml

    if given.file.lower().endswith(".csv") or (given.file == "-" and given.scale is not None):
        if given.scale is None:
            raise FieldError("--scale", "the N of 1:N beside CSV", None)
        return from_csv(text, scale=given.scale, length_mm=given.length_mm)
    for name in ("scale", "length_mm"):
        if (value := getattr(given, name)) is not None:
            raise FieldError(f"--{name.replace('_', '-')}", "a key of the TOML instead", value)
    return from_toml(text)


def _write_sets(matching: Matching, folder: Path) -> None:
    from dccwire.cv import DecoderKind, to_csv

    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise RecordingError.of_system(str(folder), error) from None
    for one in matching.units:
        text = to_csv(one.to_cvs(), decoder=DecoderKind.MULTI_FUNCTION)
        write_text(str(folder / f"{one.unit.name.replace(' ', '-')}.csv"), text)


def _print_packets(matching: Matching, given: argparse.Namespace) -> None:
    from dccwire.cli.cvs import ON_MAIN, say_plan
    from dccwire.programming.operations import course_on_main

    for one in matching.units:
        if 29 not in one.unit.cvs and not given.json:
            say(f"# {one.unit.name}: CV 29 is not known; its bit 4 must be 1, or no table counts")
    steps = [*course_on_main(chain.from_iterable(one.packets_on_main() for one in matching.units))]
    say_plan(steps[:-1], [ON_MAIN], given.json)  # nothing comes after the last idle
