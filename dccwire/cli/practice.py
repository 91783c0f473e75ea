"""The command that sets exercises."""

from __future__ import annotations

import argparse
import sys
from itertools import chain, repeat

from dccwire.cli.printing import flush, say
from dccwire.cli.words import Commands, add_command, given_lines, whole, write_text
from dccwire.wording import wrapped


def add_commands(commands: Commands) -> None:
    """Add the command."""
    words = "read packets and build them by hand, and be told what is wrong"
    add = add_command(commands, "practice", _practice, words).add_argument
    add("--seed", type=whole, default=1, metavar="N", help="another one sets other exercises")
    add("--ask", metavar="KIND", help="fields, bits, error-byte or frame alone")
    add("--count", type=whole, default=5, metavar="N", help="how many, up to 1000")
    add("--sheet", action="store_true", help="print a sheet instead of asking for answers")
    add("--solutions", action="store_true", help="print it with the solutions")
    add("--html", metavar="FILE", help="write a page with the solutions folded, instead")


def _practice(given: argparse.Namespace) -> int:
    from dccwire.exercises import exercises, tasks, worksheet_page

    asked = given.seed, given.count, given.ask
    if given.html is not None:
        write_text(given.html, worksheet_page(*asked))
        return 0
    if given.sheet or given.solutions:
        between = chain([""], repeat("\n"))
        for task in tasks(*asked, solutions=given.solutions):
            say(next(between) + task)
        return 0
    if getattr(sys.stdin, "isatty", bool)():
        _tell("an empty line goes on, the end of the input (Ctrl-D, on Windows Ctrl-Z) ends", "")
    right = answered = 0
    answers = given_lines()
    for number, one in enumerate(exercises(*asked), 1):
        _tell(one.question, f"{number}. ")
        flush()
        for answer in answers:
            if not answer.strip() or (mark := one.mark(answer)).readable:
                break
            _tell(f"{mark.told}: once more, or an empty line to go on", "   ")
            flush()
        else:
            break
        if answer.strip():
            answered, right = answered + 1, right + mark.right
            _tell(mark.told if mark.right else f"{mark.told}; the answer is {one.answer}", "   ")
    left = f", {given.count - answered} not answered" * (answered < given.count)
    say(f"{right} of {answered} right{left}; another --seed than {given.seed} sets others")
    return int(right < given.count)


def _tell(words: str, head: str) -> None:
    for line in wrapped(words, 80, head):
        say(line)
