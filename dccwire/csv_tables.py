"""CSV text as spreadsheets write it: rows of cells, each told by its line.

Room: separators, quotes and lines; what the columns mean is the caller's.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from types import SimpleNamespace

from dccwire.errors import Reason, TextError


def csv_rows(text: str) -> Iterator[tuple[int, list[str]]]:
    r"""Each row's line and cells, the header first; blank lines, and those that open with #, not.

    Cells are apart by semicolons where the header has one, else by commas, and may stand in quotes
    (RFC 4180). A row of several lines is told by its last.

    Raises:
        TextError: quotes that do not close, or do so within a cell.

    >>> list(csv_rows('cv;value\n\n"29"; 38\n'))
    [(1, ['cv', 'value']), (3, ['29', '38'])]
    """
    lines = [
        (number, line)
        for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    separator = ";" if lines and ";" in lines[0][1] else ","
    told = (line for _, line in lines)
    rows = csv.reader(told, delimiter=separator, skipinitialspace=True, strict=True)
    try:
        for row in rows:
            yield lines[rows.line_num - 1][0], [cell.strip() for cell in row]
    except csv.Error as error:
        number, line = lines[rows.line_num - 1]
        hint = "quotes stand around a whole cell, and twice where one is meant"
        raise TextError(Reason.TEXT, line, 0, f"line {number}: {error}", hint) from None


def csv_text(rows: Iterable[Iterable[str]], separator: str = ",") -> str:
    r"""The text of rows of cells, in quotes where a cell needs them.

    >>> csv_text([["cv", "comment"], ["3", "slow, then fast"]])
    'cv,comment\n3,"slow, then fast"\n'
    """
    parts: list[str] = []
    into = SimpleNamespace(write=parts.append)
    csv.writer(into, delimiter=separator, lineterminator="\n").writerows(rows)
    return "".join(parts)
