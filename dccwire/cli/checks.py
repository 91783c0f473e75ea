"""The command that judges recordings."""

from __future__ import annotations

import argparse
import json
import os
import signal
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

from dccwire.cli.printing import complain, say
from dccwire.cli.reading import List, add_reader, open_recordings, progress_of, seen_in
from dccwire.cli.words import Commands, write_text
from dccwire.errors import FieldError
from dccwire.wording import wrapped


def add_commands(commands: Commands) -> None:
    """Add the command."""
    add = add_reader(commands, "check", _check, "judge recordings by the rules")
    add("--json", action="store_true", help="a line a rule, the last the summary")
    add("--strict", action="store_true", help="any failed rule counts, not only shall")
    add("--certain", action="store_true", help="so does what is undecided or not judged")
    add("--session", action=_Once, metavar="FILE", help="what is known besides, and expected: TOML")
    add("--html", metavar="FILE", help="write the report as a page of HTML, too")
    add("--junit", metavar="FILE", help="write the report as JUnit XML, too")
    add("--all", action="store_true", help="tell of every rule in full")
    add("--rules", metavar="LIST", help="judge these alone, such as 1-5,14")
    add("--list", action=List, of=_rules, help="list the rules instead")
    add("--other-protocols", action="store_true", help="half-bits of no packet are expected")
    add("--processes", type=int, default=1, metavar="N", help="that read and judge a VCD")


class _Once(argparse.Action):
    """An option that may be given once: of two the last would be taken without a word."""

    def __call__(self, parser: argparse.ArgumentParser, given: Any, value: Any, *_: object) -> None:
        """The option was given."""
        if getattr(given, self.dest) is not None:
            parser.error(f"argument {self.option_strings[0]}: once expected, {value} given, too")
        setattr(given, self.dest, value)


def _rules() -> Iterator[str]:
    from dccwire.conformance import rules_in_words

    for number, *words in rules_in_words():
        yield from wrapped("; ".join(words), 80, f"{number:>4}  ")


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


def _check_targets(given: argparse.Namespace, read: list[str]) -> None:
    """Refuse to write over a recording, or two things into one file, or where none can be made."""
    taken = {os.path.realpath(one): "a recording that is read" for one in read}
    for option in ("html", "junit"):
        path = getattr(given, option)
        if path is None:
            continue
        place = os.path.realpath(path)
        if place in taken:
            raise FieldError(f"--{option}", "a file of its own", path, f"it is {taken[place]}")
        if not os.path.isdir(os.path.dirname(place)):
            raise FieldError(f"--{option}", "a file in a folder that is there", path)
        taken[place] = f"that of --{option}, too"


def _check(given: argparse.Namespace) -> int:
    recordings = open_recordings(given)
    from dccwire.conformance import (
        check,
        choose_rules,
        evidence_of,
        html_of,
        junit_of,
        read_session,
    )

    _check_targets(given, [one.path for one in recordings])
    session = None if given.session is None else read_session(given.session)
    rules = None if given.rules is None else choose_rules(given.rules)
    stops = _Stops()
    with progress_of(recordings) as show, stops:
        report = check(
            recordings,
            session=session,
            rules=rules,
            uncertainty_ns=given.uncertainty,
            other_protocols=given.other_protocols,
            progress=lambda: (show(), stops.asked)[1],
            processes=given.processes,
        )
    for line in (
        map(json.dumps, report.to_dicts()) if given.json else [report.text(every=given.all)]
    ):
        say(line)
    for recording in recordings:
        if recording.path in report.unread:
            complain(f"{recording.path}: no packet; {seen_in(recording)}")
    if given.html is not None:
        # Times are each recording's own: of several nothing is drawn.
        drawn = evidence_of(recordings[0], report) if len(recordings) == 1 else None
        write_text(given.html, html_of(report, drawn))
    if given.junit is not None:
        text = junit_of(report, strict=given.strict, certain=given.certain)
        write_text(given.junit, text)
    if report.stopped:
        return 130
    return 0 if report.well(strict=given.strict, certain=given.certain) else 1
