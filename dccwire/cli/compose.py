"""The command that writes recordings of plans."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import TYPE_CHECKING

from dccwire.cli.reading import List, number
from dccwire.cli.words import Commands, add_command, text_of
from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.wording import wrapped

if TYPE_CHECKING:
    pass


def add_commands(commands: Commands) -> None:
    """Add the command."""
    add = add_command(commands, "compose", _compose, "write a recording of a plan").add_argument
    add("plan", metavar="PLAN", help="a packet a line, with options; - reads lines")
    add("file", metavar="FILE", help="what to write: .vcd or .csv")
    add("--jitter", type=number, default=0, metavar="US", help="of each edge, at most")
    add("--sampling", type=number, default=0.001, metavar="US", help="edges at multiples of this")
    add("--noise", type=number, default=0, metavar="PULSES", help="spurious pulses a second")
    add("--seed", type=int, default=0, metavar="N", help="of jitter, noise and faults")
    help_ = "plant a fault, in the middle or at packet 0, 1, ...; may be given again"
    add("--fault", action="append", default=[], metavar="NAME[@PLACE]", help=help_)
    add("--list-faults", action=List, of=_faults, help="list what can be planted instead")


def _faults() -> Iterator[str]:
    from dccwire.faults import plantings_in_words

    for name, *words in plantings_in_words():
        yield from wrapped("; ".join(filter(None, words)), 80, f"{name:<27}")


def _compose(given: argparse.Namespace) -> int:
    from dccwire.plan import read_plan
    from dccwire.recordings import write_csv, write_vcd
    from dccwire.synthesis import synthesize

    writers = {".vcd": write_vcd, ".csv": write_csv}
    write = writers.get(given.file[-4:].lower())
    if write is None:
        raise FieldError("file", "a name that ends in .vcd or .csv", given.file)
    sendings = read_plan(text_of(given.plan).splitlines(), given.plan)
    first = next(sendings, None)
    if first is None:
        raise RecordingError(Reason.FILE, given.plan, "has nothing to send", "", "a packet a line")
    jitter = round(given.jitter * 1e3)
    signal = {
        "start_ns": max(first.timing.zero, jitter),
        "jitter_ns": jitter,
        "sampling_ns": round(given.sampling * 1e3),
        "pulses_per_second": given.noise,
        "seed": given.seed,
    }
    sendings = chain([first], sendings)
    if given.fault:
        from dccwire.faults import plant

        edges: Iterable[int] = plant(sendings, *given.fault, **signal).edges
    else:  # which need not be held in memory
        edges = synthesize(sendings, **signal)
    write(given.file, edges)
    return 0
