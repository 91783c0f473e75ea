"""Descriptions of decoders from TOML text: the keys, and what is refused.

Room: TOML to a `DecoderDescription`; what a field's keys mean stands in `description_fields`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache, partial
from itertools import cycle, islice
from typing import Any, NamedTuple

from dccwire.cv.catalogue import CvEntry, entry, is_left_to_makers
from dccwire.cv.cv_set import INDEXED, CvKey, CvSet, IndexedCv, plain_cv
from dccwire.cv.description import DecoderDescription
from dccwire.cv.description_fields import kinds_of
from dccwire.cv.paging import IndexPage
from dccwire.cv.values import (
    VALUE_TYPES,
    CvValue,
    DecoderKind,
    check_cv,
    check_value,
    cv_name,
    cv_value,
    number_of,
    within,
)
from dccwire.errors import ShapeError, member
from dccwire.fields import FieldKind
from dccwire.formats import Provenance
from dccwire.layout import Layout
from dccwire.toml_tables import (
    Reader,
    at,
    each,
    items_of,
    placed,
    read_document,
    read_table,
    whole_number,
    words,
)

__all__ = ["description_from_toml"]


def description_from_toml(text: str) -> DecoderDescription:
    '''The decoder that TOML text describes; `docs/own-cvs.md` has all keys.

    Each table `[[cv]]` is a CV, CVs whose bits make one value, or `rows` of such. CVs that the
    standard has a meaning for are refused, but for their default in the table `[defaults]`.

    Raises:
        ShapeError: no TOML, an unknown key, a value of another shape or beyond its bounds; the path
            names line and key.

    >>> horn = description_from_toml("""
    ... name = "quay decoder"
    ... [defaults]
    ... 29 = 6
    ... [[cv]]
    ... number = 257
    ... page = [16, 0]
    ... name = "horn"
    ... layout = "0RVVVVVV"
    ... fields.volume = { letters = "V", unit = "%", formula = "value x 2" }
    ... fields.reverb = "R"
    ... default = 50
    ... """).types["Horn"]
    >>> horn.from_cvs({IndexedCv(16, 0, 257): 114})
    Horn(volume=50, reverb=1)
    >>> description_from_toml('name = "quay decoder"' + chr(10) + 'desoder = "accessory"')
    Traceback (most recent call last):
    dccwire.errors.ShapeError: line 2, desoder: a known key expected, 'accessory' given; perhaps \
decoder
    '''
    return _read(text)


@lru_cache(maxsize=64)  # so that values that were pickled are of the types of those that were not
def _read(text: str) -> DecoderDescription:
    return read_document(text, partial(_described, text))


def _kind(value: object, path: str) -> DecoderKind:
    return member(DecoderKind, "decoder", words(value, path))


def _line(longest: int) -> Reader:
    """A reader of text that fits one line."""

    def read(value: object, path: str) -> str:
        text = words(value, path)
        if not (text.isprintable() and text == " ".join(text.split()) and 0 < len(text) <= longest):
            expected = f"1 to {longest} characters that can be printed, blanks one by one"
            raise ShapeError(path, expected, text)
        return text

    return read


_name = _line(60)


def _described(text: str, plain: object, path: str) -> DecoderDescription:
    keys: dict[str, Reader] = {
        "name": _name,
        "source": _name,
        "decoder": _kind,
        "defaults": lambda value, _: value,
        "cv": each(lambda value, _: value),
    }
    document = read_table(plain, path, keys, needed=("name",))
    kind = document.get("decoder", DecoderKind.MULTI_FUNCTION)
    made = _Making(document.get("source", document["name"]), kind, text)
    for place, table in enumerate(document.get("cv", ())):
        made.add(table, f"cv[{place}]")
    own = CvSet(made.defaults)
    for cv, value, where in _defaults(document.get("defaults", {})):
        if cv in made.formats:
            hint = f"{cv_name(cv)} is described below, where its default belongs"
            raise ShapeError(where, "a CV of the standard", value, hint)
        if cv in own:
            raise ShapeError(where, "a CV once", value, f"{cv_name(cv)} = {own[cv]} stands before")
        own = own | {cv: value}
    return DecoderDescription(
        document["name"], kind, made.types, made.formats, made.entries, own, text
    )


def _defaults(plain: object) -> Iterator[tuple[int, int, str]]:
    """CV and value of the standard's CVs."""
    for key, value, where in items_of(plain, "defaults", "defaults"):
        cv = placed(where, lambda key=key: check_cv(number_of(key, "cv", "1 to 1024")))
        yield cv, placed(where, check_value, cv, whole_number(value, where)), where


def _layout_line(value: object, path: str) -> str:
    line = words(value, path)
    letters = {*line} - {*"01 "}
    return placed(path, Layout, line, {letter: letter for letter in letters}).line


def _default(value: object, path: str) -> tuple[int, ...]:
    if type(value) is int:
        return (value,)
    if not isinstance(value, list):
        raise ShapeError(path, "a number, or a list of one for each CV", value)
    numbers: tuple[int, ...] = each(whole_number)(value, path)
    return numbers


_TABLE: dict[str, Reader] = {
    "number": whole_number,
    "page": each(whole_number),
    "name": _name,
    "layout": _layout_line,
    "fields": lambda value, _: value,
    "rows": each(_name),
    "default": _default,
    "note": _line(240),
}


class _Table(NamedTuple):
    """What a table of CVs holds; `defaults` by CV, or None if it has none."""

    path: str
    name: str
    note: str | None
    layout: Layout
    kinds: Mapping[str, FieldKind]
    page: tuple[int, int] | None
    defaults: Mapping[CvKey, int] | None


class _Making:
    """What the tables of CVs have given so far."""

    def __init__(self, source: str, kind: DecoderKind, text: str) -> None:
        self.source, self.kind, self.text = source, kind, text
        self.types: dict[str, type[CvValue]] = {}
        self.formats: dict[CvKey, type[CvValue]] = {}
        self.entries: dict[CvKey, CvEntry] = {}
        self.defaults: dict[CvKey, int] = {}

    def add(self, plain: object, path: str) -> None:
        """The formats of a table, one a row."""
        read = read_table(plain, path, _TABLE, needed=("number", "name", "layout"))
        kinds = kinds_of(read.get("fields"), read["layout"], at(path, "fields"))
        formulas = {name: kind.formula for name, kind in kinds.items()}
        layout = placed(at(path, "layout"), Layout, read["layout"], formulas)
        rows, size = read.get("rows", ("",)), layout.size
        if not rows or len({*rows}) < len(rows):
            raise ShapeError(at(path, "rows"), "one row or more, each name once", [*rows])
        keys = self._keys(read, path, size * len(rows))
        given = _defaults_of(read, path, size, len(rows))
        values = None if given is None else dict(zip(keys, given, strict=True))
        name, note, page = read["name"], read.get("note"), read.get("page")
        table = _Table(path, name, note, layout, kinds, page, values)
        for place, row in enumerate(rows):
            own = keys[place * size : (place + 1) * size]
            self.formats |= dict.fromkeys(own, self._format(table, row, own))
            self.entries |= dict.fromkeys(own, self._entry(table, row, own))
        self.defaults |= values or {}

    def _format(self, table: _Table, row: str, keys: Sequence[CvKey]) -> type[CvValue]:
        """The class of a row, as a class statement under `cv_value` would make it."""
        where, values, name = at(table.path, "default"), table.defaults, _row_name(table, row)
        body: dict[str, Any] = {"__doc__": table.note or name, "__module__": __name__}
        body |= {"__reduce__": _reduced_to(self.text)}
        if values is not None:
            data = bytes(values[key] for key in keys)
            numbers = placed(where, table.layout.decode, data)
            body |= {field: table.kinds[field].from_number(one) for field, one in numbers.items()}
        named = at(table.path, "rows" if row else "name")
        plain = type(self._type_name(name, named), (CvValue,), body)
        plain.__annotations__ = dict.fromkeys(table.kinds, "Any")
        made: type[CvValue] = cv_value(
            keys,
            table.layout.line,
            self.source,
            fields=table.kinds,
            decoder=self.kind,
            provenance=Provenance.COMMON_PRACTICE,
            types=self.types,
        )(plain)
        if values is not None:
            placed(where, made.from_cvs, values)
        return made

    def _entry(self, table: _Table, row: str, keys: Sequence[CvKey]) -> CvEntry:
        content = [table.note] if table.note else []
        if table.defaults is not None:
            content.append(f"by default {', '.join(str(table.defaults[key]) for key in keys)}")
        first, last = plain_cv(keys[0]), plain_cv(keys[-1])
        status, name = entry(first, self.kind).status, _row_name(table, row)
        return CvEntry(first, last, name, status, "; ".join(content), page=table.page)

    def _keys(self, table: Mapping[str, Any], path: str, count: int) -> list[CvKey]:
        """The CVs of a table, which no other describes and the standard leaves to the maker."""
        where, page = at(path, "number"), table.get("page")
        if page is not None:
            if len(page) != 2:
                raise ShapeError(at(path, "page"), "CV 31 and CV 32", [*page])
            placed(at(path, "page"), IndexPage, *page)
        first, last = table["number"], table["number"] + count - 1
        try:
            return [self._key(number, page, where) for number in range(first, last + 1)]
        except ShapeError as error:
            run = f"its {count} CVs are {first} to {last}" if count > 1 else ""
            hint = "; ".join(filter(None, (error.hint, run)))
            raise ShapeError(where, error.expected, error.actual, hint) from None

    def _key(self, number: int, page: Sequence[int] | None, where: str) -> CvKey:
        placed(where, check_cv, number)
        if page is None and number in INDEXED:
            hint = "such as page = [16, 0], CV 31 and 32, without which they are of any page"
            raise ShapeError(where, "a page for CV 257 to 512", number, hint)
        key = number if page is None else placed(where, IndexedCv, *page, number)
        if not is_left_to_makers(number, self.kind):
            hint = f"CV {number} is the standard's {entry(number, self.kind).name}"
            raise ShapeError(where, "a CV that the standard leaves to the maker", number, hint)
        if key in self.formats:
            hint = f"{cv_name(key)} is of {self.formats[key].__name__} already"
            raise ShapeError(where, "a CV once", number, hint)
        return key

    def _type_name(self, name: str, where: str) -> str:
        """What text and JSON call the format: the words of its name, joined."""
        made = "".join(word[0].upper() + word[1:] for word in re.findall("[A-Za-z0-9]+", name))
        if not made[:1].isalpha():
            raise ShapeError(where, "a name that begins with a letter a to z", name)
        if made in VALUE_TYPES or made in self.types:
            whose = "the standard" if made in VALUE_TYPES else "this description"
            raise ShapeError(where, "a name of its own", name, f"{whose} has a {made}")
        return made


def _row_name(table: _Table, row: str) -> str:
    return f"{table.name} {row}".strip()


def _reduced_to(text: str) -> Callable[[CvValue], tuple[Any, ...]]:
    """How values are pickled: as the description's text, their type's name, their fields."""

    def reduced(value: CvValue) -> tuple[Any, ...]:
        fields = {name: getattr(value, name) for name in value.kinds}
        return _value_again, (text, type(value).__name__, fields)

    return reduced


def _value_again(text: str, name: str, fields: Mapping[str, Any]) -> CvValue:
    return description_from_toml(text).types[name](**fields)


def _defaults_of(
    table: Mapping[str, Any], path: str, size: int, rows: int
) -> tuple[int, ...] | None:
    """The defaults of all CVs of a table, if it has them."""
    if "default" not in table:
        return None
    given, where = table["default"], at(path, "default")
    if len(given) not in (size, size * rows):
        counts = f"{size}" if rows == 1 else f"{size}, the same for each row, or {size * rows}"
        raise ShapeError(where, f"a number for each CV: {counts}", [*given])
    for value in given:
        placed(where, within, "default", value, 0, 255)
    return tuple(islice(cycle(given), size * rows))
