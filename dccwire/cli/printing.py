"""Lines to the terminal, on consoles that show less than Unicode too."""

import sys
from errno import EBADF
from typing import TextIO

LONGEST_LINE = 1000
"""Characters of a message on standard error; what is left out of a longer one is its middle."""

_PLAIN = str.maketrans({"§": "section ", "µ": "u", "×": "x", "±": "+-", "²": "2"})


def say(line: str = "", stream: TextIO | None = None) -> None:
    """Print a line; characters that the console cannot show are spelled in ASCII."""
    stream = stream or sys.stdout
    if stream is None:
        raise OSError(EBADF, "standard output is closed")
    encoding = stream.encoding or "ascii"
    try:
        line.encode(encoding)
    except UnicodeEncodeError:
        line = line.translate(_PLAIN).encode(encoding, "backslashreplace").decode(encoding)
    stream.write(line + "\n")


def flush() -> None:
    """Let what was printed be seen at once."""
    if sys.stdout is not None:
        sys.stdout.flush()


def complain(message: str) -> None:
    """One line on standard error, if there is one."""
    if sys.stderr is not None:
        words = " ".join(message.split())
        if len(words) > LONGEST_LINE:
            words = f"{words[: LONGEST_LINE // 2]} ... {words[-LONGEST_LINE // 2 :]}"
        say(f"dccwire: {words}", sys.stderr)
