"""Tables of TOML text, read key by key; an error names the line and the key that it is about.

Room: what any file of this form needs; which keys there are, and what they mean, is the caller's.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Any, TypeAlias, TypeVar

from dccwire.errors import FieldError, LayoutError, ShapeError, TextError

Reader: TypeAlias = Callable[[Any, str], Any]
"""Reads the value of a key, given the path of the key, such as `cv[2].layout`."""

_T = TypeVar("_T")


def read_document(text: str, reader: Callable[[dict[str, Any], str], _T]) -> _T:
    r"""What `reader` makes of the TOML text, given the document and an empty path.

    Raises:
        ShapeError: the text is no TOML, or what the reader refuses; its path opens with the line.

    >>> read_document("a = 1\n\nb = 'x'", lambda plain, path: whole_number(plain["b"], "b"))
    Traceback (most recent call last):
    dccwire.errors.ShapeError: line 3, b: a whole number expected, 'x' given
    """
    document = text.removeprefix("\ufeff").replace("\r\n", "\n")
    plain = _parsed(document)
    try:
        return reader(plain, "")
    except ShapeError as error:
        where = f"line {line_of(document, error.path)}, {error.path}"
        raise ShapeError(where, error.expected, error.actual, error.hint) from None


_WORDS = re.compile(r"\[\d{1,9}\]|[^.\[\]]+")


def _parsed(document: str) -> dict[str, Any]:
    try:
        return tomllib.loads(document)
    except (RecursionError, ValueError) as error:  # nested too deep, a number too long, no TOML
        lines = document.rstrip().split("\n")
        found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", str(error))
        line = int(found[1]) if found and found[1] else len(lines)
        problem = str(error)[: found.start()] if found else str(error)
        given = lines[min(line, len(lines)) - 1]
        raise ShapeError(f"line {line}", "TOML", given, problem) from None


def line_of(document: str, path: str) -> int:
    r"""The line on which the key of a path stands, or the nearest table around it; 1 for no path.

    >>> line_of("consist = 10\n[[unit]]\nsteps = 28\n[[unit]]\nsteps = 27\n", "unit[1].steps")
    5
    """
    # `tomllib` gives no lines. So the shortest beginning of the text that has the key is looked
    # for, by halving, as what a beginning has a longer one has too.
    keys = [int(word[1:-1]) if word[0] == "[" else word for word in _WORDS.findall(path)]
    plain = _parsed(document)
    while not _has(plain, keys):
        keys = keys[:-1]
    starts = list(_statements(document))
    place = bisect_left(starts, True, key=lambda start: _has(_parsed(document[:start]), keys))
    return document.count("\n", 0, starts[max(place - 1, 0)]) + 1


_TOKEN = re.compile(
    r'"""(?:\\.|(?!""").)*"{3,5}' + r"|'''.*?'{3,5}"  # text of several lines
    r'|"(?:\\.|[^"\\\n])*"' + r"|'[^'\n]*'|#[^\n]*|[\[\]{}\n]",
    re.DOTALL,
)
"""What has to be told apart to see where a line of TOML ends what it says, in a valid document."""


def _statements(document: str) -> Iterator[int]:
    """Where each line begins that is not within brackets or text; the end comes last."""
    depth = 0
    yield 0
    for token in _TOKEN.finditer(document):
        depth += (token[0] in "[{") - (token[0] in "]}")
        if token[0] == "\n" and not depth:
            yield token.end()
    yield len(document)


def _has(plain: Any, keys: list[int | str]) -> bool:
    for key in keys:
        if isinstance(key, int):
            if not isinstance(plain, list) or key >= len(plain):
                return False
        elif not isinstance(plain, dict) or key not in plain:
            return False
        plain = plain[key]
    return True


def at(path: str, key: str) -> str:
    """The path of a key in the table at a path."""
    return f"{path}{'.' * bool(path)}{key}"


def refuse_unknown(key: str, where: str, value: object, known: Collection[str]) -> None:
    """A ShapeError with the nearest known key, or all, unless the key is one of them."""
    if key not in known:
        raise ShapeError(where, "a known key", value, nearest(key, known))


def nearest(name: str, known: Collection[str]) -> str:
    """What may have been meant by a name that is not known, or all that are.

    >>> nearest("stesp", ["steps", "address"]), nearest("?", ["steps", "address"])
    ('perhaps steps', 'known are steps, address')
    """
    from difflib import get_close_matches

    near = get_close_matches(name[:40], known, n=1, cutoff=0.6)
    return f"perhaps {near[0]}" if near else f"known are {', '.join(known)}"


def items_of(plain: object, path: str, name: str) -> Iterator[tuple[str, Any, str]]:
    """Each key of a table, with its value and path; a ShapeError if it is none, with its name."""
    if not isinstance(plain, dict):
        raise ShapeError(path or name, "a table", plain)
    for key, value in plain.items():
        yield key, value, at(path, key)


def read_table(
    plain: object, path: str, keys: Mapping[str, Reader], needed: Collection[str] = ()
) -> dict[str, Any]:
    """The values of a table, by its keys: what the readers make of them.

    Raises:
        ShapeError: no table, an unknown key, a key that is needed and not there, or what a reader
            raises: its FieldError, too, becomes a ShapeError with the path.

    >>> read_table({"tall": 3}, "mast", {"height": whole_number})
    Traceback (most recent call last):
    dccwire.errors.ShapeError: mast.tall: a known key expected, 3 given; known are height
    """
    given = [*items_of(plain, path, "the document")]
    for key, value, where in given:  # before any value is judged
        refuse_unknown(key, where, value, keys)
    read = {key: placed(where, keys[key], value, where) for key, value, where in given}
    for key in needed:
        if key not in read:
            raise ShapeError(path or "the document", f"the key {key}", plain)
    return read


def placed(where: str, make: Callable[..., _T], *given: Any) -> _T:
    """What `make` makes of what is given; its errors become ShapeErrors at the path `where`."""
    try:
        return make(*given)
    except FieldError as error:
        own = where.rpartition(".")[2] == error.field
        bound = error.bound if own else f"{error.field}: {error.bound}"
        raise ShapeError(where, bound, error.value, error.hint) from None
    except LayoutError as error:
        raise ShapeError(where, "a layout line", error.line, error.problem) from None
    except TextError as error:
        told = "; ".join(filter(None, (error.problem, error.hint)))
        raise ShapeError(where, "words that can be read", error.text, told) from None


def truth(value: object, path: str) -> bool:
    """True or false, or a ShapeError with the path."""
    if not isinstance(value, bool):
        raise ShapeError(path, "true or false", value)
    return value


def whole_number(value: object, path: str) -> int:
    """An integer, or a ShapeError with the path."""
    if type(value) is not int:
        raise ShapeError(path, "a whole number", value)
    return value


def words(value: object, path: str) -> str:
    """A text, or a ShapeError with the path."""
    if not isinstance(value, str):
        raise ShapeError(path, "a text", value)
    return value


def each(reader: Reader) -> Reader:
    """A reader of lists, each value of which `reader` reads."""

    def read(value: object, path: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            hint = f"a table in it begins with [[{path}]]" if isinstance(value, dict) else ""
            raise ShapeError(path, "a list", value, hint)
        return tuple(reader(one, f"{path}[{place}]") for place, one in enumerate(value))

    return read
