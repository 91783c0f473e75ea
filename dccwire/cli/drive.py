"""The command that drives: what a station is told, as the packets that it sends."""

from __future__ import annotations

import argparse
from itertools import groupby

from dccwire.cli.printing import say
from dccwire.cli.words import Commands, add_command, text_of
from dccwire.errors import Reason, RecordingError
from dccwire.wording import wrapped

CAUTION = (
    "A packet that is sent need not be obeyed, an emergency stop neither. A write on the main "
    "reaches every decoder at its address. No packet is a safety device."
)
_FORMS = """\
a wish a line, behind the milliseconds at which it comes:
  0    add long 1205 steps=128
  100  drive long 1205 step=40 forward=yes
  100  on long 1205 FL F2                900  off long 1205 F2
  400  operate accessory 31: BasicAccessory active=yes pair=0 output=1
  500  write long 1205 cv=3 value=12     800  stop long 1205, or stop alone
  600  couple short 9 long 1205 short 3  700  uncouple short 9
  950  remove long 1205                  1000 end
nothing stands behind the end; without one packets go on until nothing waits
"""


def add_commands(commands: Commands) -> None:
    """Add the command."""
    words = "print the packets that a station sends for what it is told, as a plan"
    one = add_command(commands, "drive", _drive, words)
    one.formatter_class = argparse.RawDescriptionHelpFormatter
    one.description = f"{words}\n\n{_FORMS}"
    one.epilog = "\n".join(wrapped(CAUTION, 80))
    one.add_argument("script", metavar="SCRIPT", help="what it is told and when; - reads lines")
    one.add_argument("--running", action="store_true", help="leave out the 20 resets and 10 idles "
                     "of a start where no earlier state is known (S-9.2.4)")  # fmt: skip


def _drive(given: argparse.Namespace) -> int:
    from dccwire.station import perform

    lines = text_of(given.script).splitlines()
    packets = list(perform(lines, new=not given.running, name=given.script))
    if not packets:
        hint = "a wish a line, as 'dccwire drive --help' lists them"
        raise RecordingError(Reason.FILE, given.script, "has nothing to send", "", hint)
    for line in wrapped(CAUTION, 78):
        say(f"# {line}")
    for text, same in groupby(map(str, packets)):
        count = sum(1 for _ in same)
        say(f"repeat={count} | {text}" if count > 1 else text)
    return 0
