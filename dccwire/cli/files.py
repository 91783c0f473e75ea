"""The commands check and compose, and what commands for recordings have in common."""

from __future__ import annotations

import argparse
import json
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import chain
from math import ceil, isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dccwire.cli.printing import complain, say
from dccwire.cli.words import Commands, add_command, text_of
from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.wording import wrapped

if TYPE_CHECKING:
    from dccwire.recordings import Recording


def add_commands(commands: Commands) -> None:
    """Add the two commands."""
    add = add_reader(commands, "check", _check, "judge a recording by the rules of the standard")
    add("--json", action="store_true", help="a line a rule, the last the summary")
    add("--strict", action="store_true", help="any failed rule counts, not only shall")
    add("--certain", action="store_true", help="what is undecided counts as not well")
    add("--session", action=_Once, metavar="FILE", help="what is known besides, and expected: TOML")
    add("--html", metavar="FILE", help="write the report as a page of HTML, too")
    add("--junit", metavar="FILE", help="write the report as JUnit XML, too")
    add("--all", action="store_true", help="tell of every rule in full")
    add("--rules", metavar="LIST", help="judge these alone, such as 1-5,14")
    add("--list", action=_ListRules, help="list the rules instead")
    add("--other-protocols", action="store_true", help="half-bits of no packet are expected")
    add = add_command(commands, "compose", _compose, "write a recording of a plan").add_argument
    add("plan", metavar="PLAN", help="a packet a line, with options; - reads lines")
    add("file", metavar="FILE", help="what to write: .vcd or .csv")
    add("--jitter", type=number, default=0, metavar="US", help="of each edge, at most")
    add("--sampling", type=number, default=0.001, metavar="US", help="edges at multiples of this")
    add("--noise", type=number, default=0, metavar="PULSES", help="spurious pulses a second")
    add("--seed", type=int, default=0, metavar="N", help="of jitter and noise")


class _Once(argparse.Action):
    """An option that may be given once: of two the last would be taken without a word."""

    def __call__(self, parser: argparse.ArgumentParser, given: Any, value: Any, *_: object) -> None:
        """The option was given."""
        if getattr(given, self.dest) is not None:
            parser.error(f"argument {self.option_strings[0]}: once expected, {value} given, too")
        setattr(given, self.dest, value)


class _ListRules(argparse.Action):
    """Prints the rules, a line each, and ends the command, as --help does."""

    def __init__(self, **options: Any) -> None:
        super().__init__(nargs=0, **options)

    def __call__(self, *_: object) -> None:
        """The option was given."""
        from dccwire.conformance import rules_in_words

        for number, *words in rules_in_words():
            for line in wrapped("; ".join(words), 80, f"{number:>4}  "):
                say(line)
        sys.exit(0)


def add_reader(
    commands: Commands,
    name: str,
    run: Callable[[argparse.Namespace], int],
    help_: str,
    *,
    many: bool = False,
) -> Callable[..., argparse.Action]:
    """Add a command that reads a recording, or many; what adds its other arguments comes back."""
    add = add_command(commands, name, run, help_).add_argument
    told = "VCD, FST, CSV, raw or .npy; - is standard input"
    add("file", metavar="FILE", nargs="+" if many else None, help=told)
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


def open_recording(given: argparse.Namespace, path: str, *, live: bool = False) -> Recording:
    """The recording of a path, by the options given; a live one is standard input's."""
    from dccwire.recordings import follow, read

    if given.uncertainty < 0:
        raise FieldError("uncertainty", "0 or more", given.uncertainty)
    given.uncertainty = ceil(given.uncertainty)
    options = {
        name: getattr(given, name) for name in ("signal", "rate", "unit", "bit", "resolution")
    }
    return follow(**options, tell=complain) if live else read(path, **options)


@contextmanager
def progress(recording: Recording, *, lines: bool = False) -> Iterator[Callable[[], None]]:
    """Show how far the recording is read, on a terminal where nothing else is being printed."""
    if not sys.stderr.isatty() or (sys.stdout.isatty() and lines):
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, redirect_stdout=False) as bar:
        task = bar.add_task(recording.path, total=1.0)
        yield lambda: bar.update(task, completed=recording.fraction)


def beginning_of(recording: Recording) -> str:
    """What stands at the begin instead of packets."""
    from dccwire.recordings.looks import head_of, look

    seen = look(head_of(chunk.edges for chunk in recording), recording.resolution_ns)
    return f"it begins with {seen}; another --signal, --bit, --rate or --unit?"


class _Stops:
    """While it is entered, Ctrl-C asks for the report so far; a second one ends the command."""

    def __init__(self) -> None:
        self.asked = False
        self._before: Any = signal.SIG_DFL

    def __enter__(self) -> None:
        self._before = signal.getsignal(signal.SIGINT)
        with suppress(ValueError):  # of threads other than the first
            signal.signal(signal.SIGINT, self._ask)

    def _ask(self, *_: object) -> None:
        self.asked = True
        signal.signal(signal.SIGINT, self._before)

    def __exit__(self, *_: object) -> None:
        with suppress(ValueError):
            signal.signal(signal.SIGINT, self._before)


def _check(given: argparse.Namespace) -> int:
    recording = open_recording(given, given.file)
    from dccwire.conformance import Verdict, check, choose_rules, html_of, junit_of, read_session

    session = None if given.session is None else read_session(given.session)
    rules = None if given.rules is None else choose_rules(given.rules)
    stops = _Stops()
    with progress(recording) as show, stops:
        report = check(
            recording,
            session=session,
            rules=rules,
            uncertainty_ns=given.uncertainty,
            other_protocols=given.other_protocols,
            progress=lambda: (show(), stops.asked)[1],
        )
    for line in (
        map(json.dumps, report.to_dicts()) if given.json else [report.text(every=given.all)]
    ):
        say(line)
    if not report.packets:
        complain(f"{given.file}: no packet; {beginning_of(recording)}")
    if given.html is not None:
        _write(given.html, html_of(report))
    if given.junit is not None:
        text = junit_of(report, strict=given.strict, certain=given.certain)
        _write(given.junit, text)
    failed = report.failed_strictly if given.strict else report.failed
    failed |= given.certain and report.verdict is Verdict.UNDECIDED
    if report.stopped:
        return 130
    return 1 if failed or not report.packets else 0


def _write(path: str, text: str) -> None:
    try:
        Path(path).write_text(text, "utf-8")
    except OSError as error:
        raise RecordingError(Reason.FILE, path, error.strerror or str(error)) from None


def _compose(given: argparse.Namespace) -> int:
    from dccwire.plan import read_plan
    from dccwire.recordings import write_csv, write_vcd
    from dccwire.synthesis import synthesize

    writers = {".vcd": write_vcd, ".csv": write_csv}
    write = writers.get(given.file[-4:].lower())
    if write is None:
        raise FieldError("file", "a name that ends in .vcd or .csv", given.file)
    sendings = read_plan(text_of(given.plan).splitlines())
    first = next(sendings, None)
    if first is None:
        raise RecordingError(Reason.FILE, given.plan, "has nothing to send", "", "a packet a line")
    start = max(first.timing.zero, round(given.jitter * 1e3))
    write(
        given.file,
        synthesize(
            chain([first], sendings),
            start_ns=start,
            jitter_ns=round(given.jitter * 1e3),
            sampling_ns=round(given.sampling * 1e3),
            pulses_per_second=given.noise,
            seed=given.seed,
        ),
    )
    return 0
