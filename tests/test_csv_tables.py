"""CSV as spreadsheets write it: quotes, lines, separators."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire.csv_tables import csv_rows, csv_text
from dccwire.errors import Reason, TextError
from refusals import refused


def test_a_cell_in_quotes_may_hold_what_else_ends_it() -> None:
    """RFC 4180: the separator, a quote twice, a line's end; the row is told by its last line."""
    text = 'a,b\n"x, y","say ""so"""\n\n# no row\n"two\nlines",2\n3,it is 5" long\n'
    assert list(csv_rows(text)) == [
        (1, ["a", "b"]),
        (2, ["x, y", 'say "so"']),
        (6, ["twolines", "2"]),
        (7, ["3", 'it is 5" long']),
    ]


@pytest.mark.parametrize(
    ("text", "line", "row"),
    [
        ('a;b\n1;"2\n3;4\n', 3, "3;4"),
        ('a;b\n1;"2" and 3\n', 2, '1;"2" and 3'),
        ('"a,b', 1, '"a,b'),
    ],
)
def test_quotes_that_do_not_end_a_cell_are_refused(text: str, line: int, row: str) -> None:
    """With the line that was read last."""
    with refused(TextError, Reason.TEXT, text=row, position=0) as caught:
        list(csv_rows(text))
    assert f"line {line}: " in str(caught.value)
    assert "quotes stand around a whole cell" in str(caught.value)


def test_no_text_has_no_rows() -> None:
    """Nor has a byte-order mark."""
    assert list(csv_rows("")) == list(csv_rows("\ufeff\n")) == []


_CELL = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Zl", "Zp", "Zs"]))


@given(st.lists(st.lists(_CELL.filter(bool), min_size=2), min_size=1), st.sampled_from(",;"))
def test_what_is_written_is_read(rows: list[list[str]], separator: str) -> None:
    """Whatever the cells hold; a first cell that opens with # would be no row."""
    rows = [["name", "value;" * (separator == ";") + "x"]] + [
        [row[0].replace("#", "_"), *row[1:]] for row in rows
    ]
    assert [cells for _, cells in csv_rows(csv_text(rows, separator))] == rows
