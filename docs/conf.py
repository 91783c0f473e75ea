"""How Sphinx builds these pages; what the library knows is put in from its code."""

from __future__ import annotations

from typing import Any

from dccwire import __version__
from dccwire.conformance import rules_in_words
from dccwire.faults import plantings_in_words

project = "dccwire"
author = "the dccwire contributors"
release = __version__
extensions = ["myst_parser"]
smartquotes = False  # what is in quotes is code


def table(rows: Any) -> str:
    """A table in Markdown; the first row has the headings."""
    head, *body = rows
    lines = [head, ["---"] * len(head), *body]
    return "\n".join(f"| {' | '.join(row)} |" for row in lines)


def fill_in(_app: object, _page: str, source: list[str]) -> None:
    """Put the tables where the pages have their names."""
    source[0] = source[0].replace("<!-- the table of rules -->", table(rules_in_words()))
    source[0] = source[0].replace("<!-- the table of faults -->", table(plantings_in_words()))


def setup(app: Any) -> None:
    """Called by Sphinx."""
    app.connect("source-read", fill_in)
