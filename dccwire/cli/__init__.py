"""The command `dccwire`: what its parts are, and how it ends.

Exit status: 0 all well, 1 the input was read and is not well, 2 the input or the call cannot be
used; then one line on standard error says what, where, and what would help. Room: the only one that
prints; what is printed is made elsewhere.
"""

import argparse
import os
import re
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from importlib import import_module
from typing import NoReturn

from dccwire import __version__
from dccwire.cli.printing import complain, flush
from dccwire.errors import DccwireError, MissingPartError, RecordingError


class _Parser(argparse.ArgumentParser):
    """A parser that says what is wrong in one line."""

    def error(self, message: str) -> NoReturn:
        complain(f"{message}; see {self.prog} --help")
        sys.exit(2)


_HOMES = {
    "words": ("decode", "encode", "inspect", "explain"),
    "packets": ("packets",),
    "checks": ("check",),
    "compose": ("compose",),
    "drive": ("drive",),
    "durations": ("duration",),
    "cvs": ("cv",),
    "consists": ("consist",),
    "matching": ("match",),
    "practice": ("practice",),
}
"""Where the commands stand: each loads what it needs alone."""

_ARGUMENT = re.compile(r"\b(signal|rate|unit|bit|resolution)=")
"""An argument of `read` in a hint, which is an option of the same name here."""


def parser(command: str = "") -> argparse.ArgumentParser:
    """The arguments of a command, or of all if there is none of this name."""
    top = _Parser(
        prog="dccwire",
        allow_abbrev=False,
        description="DCC packets, both ways: bytes, bits and recordings of a track signal.",
        epilog="No packet is a safety device. A logic analyser's input is never wired straight to "
        "the rails: an input stage that isolates or clamps belongs between.",
    )
    top.add_argument("--version", action="version", version=f"dccwire {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    known = any(command in names for names in _HOMES.values())
    for home, names in _HOMES.items():
        if command in names or not known:
            import_module(f"dccwire.cli.{home}").add_commands(commands)
    return top


def _ended(number: int, _: object) -> NoReturn:
    sys.exit(128 + number)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; the exit status comes back.

    >>> main(["decode", "37", "74", "43"])
    short 55: SpeedAndDirection forward=yes c=1 speed=4
    # 28 steps: step 6; 14 steps: step 3, headlight on
    0
    """
    for name in ("SIGTERM", "SIGHUP"):
        # An exception, so that temporary files go; threads may not, and not all systems have both.
        with suppress(AttributeError, ValueError):
            if signal.getsignal(number := getattr(signal, name)) is signal.SIG_DFL:
                signal.signal(number, _ended)
    try:
        words = sys.argv[1:] if arguments is None else arguments
        given, unknown = parser(*words[:1]).parse_known_args(words)
        if unknown:
            given.command.error(f"unrecognized arguments: {' '.join(unknown)}")
        status: int = given.run(given)
        flush()
        return status
    except SystemExit as ended:
        return int(ended.code or 0)
    except ModuleNotFoundError as error:
        complain(str(MissingPartError(error.name or "numpy", "capture")))
        return 2
    except DccwireError as error:
        if isinstance(error, RecordingError):
            error.hint = _ARGUMENT.sub(r"--\1 ", error.hint)
        complain("; ".join((str(error), *getattr(error, "__notes__", ()))))
        return 2
    except BrokenPipeError:
        # The reader has seen enough; keep the interpreter from flushing into the closed pipe.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        complain(f"cannot be written ({error.strerror or error})")
        return 2
    except KeyboardInterrupt:
        complain("interrupted")
        return 130
