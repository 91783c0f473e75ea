"""What the commands that read recordings share: their arguments, opening, progress."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from math import ceil, isfinite
from typing import TYPE_CHECKING, Any

from dccwire.cli.printing import complain, say
from dccwire.cli.words import Commands, add_command
from dccwire.errors import FieldError

if TYPE_CHECKING:
    from dccwire.recordings import Recording


def add_reader(
    commands: Commands, name: str, run: Callable[[argparse.Namespace], int], help_: str
) -> Callable[..., argparse.Action]:
    """Add a command that reads recordings; what adds its other arguments comes back."""
    add = add_command(commands, name, run, help_).add_argument
    add("files", nargs="+", metavar="FILE", help="VCD, FST, CSV, raw, .npy; - is standard input")
    add("--signal", metavar="NAME", help="the signal or column to read")
    add("--rate", type=number, metavar="HZ", help="samples a second")
    add("--unit", metavar="UNIT", help="of times: s, ms, us, ns, ps or fs")
    add("--bit", metavar="N", help="the bit of each sample; lsb or msb: packed bits")
    add("--resolution", type=number, metavar="NS", help="how exact the times are")
    add("--uncertainty", type=number, default=0, metavar="NS", help="further error of durations")
    return add


def number(text: str) -> float:
    """The number of an option; `nan` and `inf` are none."""
    value = float(text)
    if not isfinite(value):
        raise ValueError(text)
    return value


def open_recordings(given: argparse.Namespace, *, live: bool = False) -> list[Recording]:
    """Open the files as the options say; if `live`, standard input while it is written."""
    from dccwire.recordings import follow, read

    if given.files.count("-") > 1:
        raise FieldError("file", "- once", " ".join(given.files))
    if given.uncertainty < 0:
        raise FieldError("uncertainty", "0 or more", given.uncertainty)
    given.uncertainty = ceil(given.uncertainty)
    options = {
        name: getattr(given, name) for name in ("signal", "rate", "unit", "bit", "resolution")
    }
    return [
        follow(**options, tell=complain) if live and path == "-" else read(path, **options)
        for path in given.files
    ]


@contextmanager
def progress_of(
    recordings: Iterable[Recording], *, lines: bool = False
) -> Iterator[Callable[[], None]]:
    """Show how far recordings are read, on a terminal where nothing else is being printed."""
    if not sys.stderr.isatty() or (sys.stdout.isatty() and lines):
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, redirect_stdout=False) as bar:
        tasks = [(bar.add_task(one.path, total=1.0), one) for one in recordings]

        def show() -> None:
            for task, one in tasks:
                bar.update(task, completed=one.fraction)

        yield show


def seen_in(recording: Recording) -> str:
    """What stands at the begin instead of packets."""
    from dccwire.recordings.looks import head_of, look

    seen = look(head_of(chunk.edges for chunk in recording), recording.resolution_ns)
    return f"it begins with {seen}; another --signal, --bit, --rate or --unit?"


class List(argparse.Action):
    """Prints rows of words and ends the command, as --help does."""

    def __init__(self, *, of: Callable[[], Iterable[str]], **options: Any) -> None:
        super().__init__(nargs=0, **options)
        self._of = of

    def __call__(self, *_: object) -> None:
        """The option was given."""
        for line in self._of():
            say(line)
        sys.exit(0)
