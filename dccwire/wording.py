"""Words that several rooms need: counts with their noun, choices, lines of a given width.

Room: text in, text out; knows nothing of packets.
"""

from collections.abc import Iterable, Iterator


def counted(number: int, what: str) -> str:
    """A number and its noun."""
    return f"{number} {what}{'s' * (number != 1)}"


def either(values: Iterable[object]) -> str:
    """Choices in words."""
    words = [str(value) for value in values]
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def printable(words: str) -> str:
    r"""Text with control characters, lone surrogates and what turns its direction spelled out.

    Names of files and signals may hold them; a terminal would obey, XML and HTML cannot hold them.

    >>> printable("a\x1b[2J\udcff")
    'a\\x1b[2J\\udcff'
    """
    return "".join(
        one if one.isprintable() else one.encode("unicode_escape").decode() for one in words
    )


def no_toml(text: str, error: Exception) -> str:
    r"""Why text is no TOML, with the last line's number where the reason is at the end.

    >>> no_toml("scale = 87\nunit = [", ValueError("Invalid value (at end of document)"))
    'is no TOML: Invalid value (at line 2, the last)'
    """
    last = f"at line {text.rstrip().count(chr(10)) + 1}, the last"
    return f"is no TOML: {error}".replace("at end of document", last)


def wrapped(words: str, width: int, head: str = "") -> Iterator[str]:
    """Lines of at most `width` columns, the first opening with `head`, the others indented.

    >>> list(wrapped("a preamble of fourteen ones", 24, "- "))
    ['- a preamble of fourteen', '  ones']
    """
    import textwrap  # takes longer to import than all of the packet logic's tables do to make

    lines = textwrap.wrap(words, max(width - len(head), 12), break_on_hyphens=False) or [""]
    yield (head + lines[0]).rstrip()
    yield from (" " * len(head) + line for line in lines[1:])


KINDS = ("speed", "functions", "states", "control", "cv", "accessory", "other")
"""What the first instruction of a packet is about, in the words of commands and reports."""
