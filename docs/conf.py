"""How Sphinx builds these pages; what the library knows is put in from its code."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from inspect import getdoc
from pathlib import Path
from typing import Any

from dccwire import __version__, cv, explain
from dccwire.address import Mode
from dccwire.conformance import rules_in_words
from dccwire.cv.values import VALUE_TYPES
from dccwire.drawing.colours import DARK, LIGHT, named
from dccwire.faults import plantings_in_words
from dccwire.fields import Functions
from dccwire.formats import FORMATS, Format

project = "dccwire"
author = copyright = "the dccwire contributors"
release = __version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
default_role = "code"
smartquotes = False  # what is in quotes is code
html_theme = "furo"
html_title = f"dccwire {release}"
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
html_static_path = ["_static"]
html_css_files = ["pages.css", "themes.css"]
myst_heading_anchors = 3
autodoc_member_order = "bysource"
autodoc_typehints = "description"
suppress_warnings = ["ref.python"]  # names that stand in two rooms


def table(rows: Iterable[Iterable[str]]) -> str:
    """A table in Markdown; the first row has the headings."""
    head, *body = (list(row) for row in rows)
    lines = [head, ["---"] * len(head), *body]
    return "\n".join(f"| {' | '.join(row)} |" for row in lines)


def formats_in_words() -> Iterator[str]:
    """Every format of packets: its layout, where it stands, and what its letters are."""
    for one in FORMATS:
        yield f"## {one.cls.__name__}\n"
        yield f"`{one.layout.line}`\n"
        yield f"{_first_line(one.cls)} {one.clause}; {one.provenance.value}{_narrower(one)}.\n"
        if rows := list(_fields(one.cls)):
            yield table([("letters", "bits", "field", "allowed"), *rows]) + "\n"


def _narrower(one: Format) -> str:
    parts = [f"; a reading of {one.reading}" * bool(one.reading)]
    parts += ["; in service mode alone" * (one.mode is Mode.SERVICE)]
    return "".join(parts)


def values_in_words() -> Iterator[str]:
    """Every format of CV values, in the same way."""
    for name, cls in VALUE_TYPES.items():
        numbers = f"CV {cls.cvs[0]}" + f" to {cls.cvs[-1]}" * (len(cls.cvs) > 1)
        yield f"### {name}\n"
        yield f"{numbers}, {cls.decoder.value} decoders: `{cls.layout.line}`\n"
        yield f"{_first_line(cls)} {cls.clause}; {cls.provenance.value}.\n"
        if rows := list(_fields(cls)):
            yield table([("letters", "bits", "field", "allowed"), *rows]) + "\n"


def _first_line(cls: type) -> str:
    return (getdoc(cls) or "").split("\n\n")[0].replace("\n", " ")


def _fields(cls: Any) -> Iterator[tuple[str, str, str, str]]:
    """The letters of a layout in the order in which they are sent, each field's bounds once."""
    told = set[str]()
    for part in cls.layout.parts:
        first, last, name = part[0], part[-1], part[0].field
        field, kind = cls.layout.fields[name], cls.kinds.get(name)
        places = f"{first.number}" if first == last else f"{first.number} to {last.number}"
        bounds = "" if kind is None or name in told else kind.allowed(field.lowest, field.highest)
        if isinstance(kind, Functions) and name not in told:  # as they are sent, the highest first
            bounds = f"in this order {' '.join(reversed(kind.names))}; those that are on"
        whole = cls.layout.whole_of(part)
        told.add(name)
        words = f"{name}{f' ({whole})' * bool(whole)}"
        yield f"`{first.letter * len(part)}`", f"byte {first.byte}, {places}", words, bounds


def cvs_in_words(kind: cv.DecoderKind) -> Iterator[tuple[str, ...]]:
    """Every CV that the standard has a word for, of a kind of decoder."""
    yield "CV", "name", "status", "what it holds"
    for one in cv.catalogue(kind):
        number = f"{one.first}" if one.first == one.last else f"{one.first} to {one.last}"
        yield number, one.name, one.status.value, one.content


def picture(given: str) -> str:
    """The signal of a packet, of bytes in hex."""
    return explain(bytes.fromhex(given)).svg()


FILLED: dict[str, Callable[[], str]] = {
    "rules": lambda: table(rules_in_words()),
    "faults": lambda: table(plantings_in_words()),
    "CVs": lambda: table(cvs_in_words(cv.DecoderKind.MULTI_FUNCTION)),
    "accessory CVs": lambda: table(cvs_in_words(cv.DecoderKind.ACCESSORY)),
}
"""Tables by their names: a page has `<!-- the table of NAME -->` where one belongs."""

LISTED: dict[str, Callable[[], Iterator[str]]] = {
    "formats": formats_in_words,
    "CV values": values_in_words,
}
"""Sections by their names: a page has `<!-- all NAME -->` where they belong."""


def fill_in(_app: object, _page: str, source: list[str]) -> None:
    """Put tables, sections and pictures where the pages have their names."""
    text = source[0]
    for name, made in FILLED.items():
        if f"<!-- the table of {name} -->" in text:
            text = text.replace(f"<!-- the table of {name} -->", made())
    for name, listed in LISTED.items():
        if f"<!-- all {name} -->" in text:
            text = text.replace(f"<!-- all {name} -->", "\n".join(listed()))
    source[0] = re.sub(
        "<!-- the signal of ([0-9A-F ]+) -->",
        lambda found: f'<div class="signal">\n{picture(found[1]).strip()}\n</div>',
        text,
    )


def setup(app: Any) -> None:
    """Called by Sphinx."""
    app.connect("source-read", fill_in)
    app.connect("build-finished", write_themes)


def write_themes(app: Any, error: Exception | None) -> None:
    """Pictures follow the setting of the page where the reader chose one, not the system's."""
    if error is None and app.builder.format == "html":
        rules = ((f'body[data-theme="{name}"] .dccwire', one) for name, one in _THEMES.items())
        text = "".join(f"{named(*rule)}\n" for rule in rules)
        Path(app.outdir, "_static", "themes.css").write_text(text, "utf-8")


_THEMES = {"light": LIGHT, "dark": DARK}
