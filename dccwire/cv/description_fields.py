"""The fields of a described CV: from the keys of their tables to the kinds that formats use.

Room: TOML values in, field kinds out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from keyword import iskeyword

from dccwire.cv.kinds import Scaled
from dccwire.cv.values import CvValue, number_of
from dccwire.errors import LayoutError, ShapeError
from dccwire.fields import Choice, FieldKind, Functions, Number
from dccwire.formats import Declared
from dccwire.layout import Layout
from dccwire.toml_tables import Reader, at, each, items_of, placed, read_table, whole_number, words

_TAKEN = frozenset({*dir(CvValue), *Declared.__annotations__, *CvValue.__annotations__, "type"})
"""Names that a value has for something else, and the key of the type in JSON."""


def kinds_of(plain: object, line: str, path: str) -> dict[str, FieldKind]:
    """The kind of each field; without `fields` the one letter of the line is the field `value`.

    Raises:
        ShapeError: a name that cannot be a field's, an unknown key, keys that do not go together,
            or what the bits of the field do not have room for.
    """
    letters = sorted({*line} - {*"01 "})
    if plain is None:
        if len(letters) != 1:
            hint = "as in fields.volume = 'V'; without it a layout has one letter"
            raise ShapeError(path, "a field for each letter", " ".join(letters), hint)
        plain = {"value": letters[0]}
    kinds = {}
    for name, value, where in items_of(plain, path, "fields"):
        if not re.fullmatch("[a-z][a-z0-9_]{0,39}", name) or iskeyword(name) or name in _TAKEN:
            hint = "a to z, 0 to 9 and _, a letter first, and no word that values use themselves"
            raise ShapeError(where, "a field's name", name, hint)
        kinds[name] = _kind(value, where, line)
    return kinds


def _kind(plain: object, path: str, line: str) -> FieldKind:
    table = {"letters": plain} if isinstance(plain, str) else plain
    read = read_table(table, path, _KEYS, needed=("letters",))
    letters, unit = read["letters"], read.get("unit", "")
    own = [key for key in ("choices", "functions", "formula") if key in read]
    if len(own) > 1 or (own and own != ["formula"] and {"unit", "range"} & {*read}):
        hint = "choices and functions stand alone; a unit may have a formula, and a range"
        raise ShapeError(path, "keys that go together", [*read], hint)
    width = _width(letters, line, at(path, "letters"))
    if "choices" in read:
        return _fitting(Choice(letters, read["choices"]), width, at(path, "choices"))
    if "functions" in read:
        if len(read["functions"]) != width:
            expected = f"a word for each of {width} bits, bit 0 first"
            raise ShapeError(at(path, "functions"), expected, [*read["functions"]])
        return Functions(letters, read["functions"])
    legal = read.get("range", ())
    if "formula" not in read:
        return _fitting(Number(letters, unit, legal), width, at(path, "range"))
    if not unit:
        hint = "the quantity is told from the number by it"
        raise ShapeError(path, "a unit beside the formula", [*read], hint)
    kind = placed(at(path, "formula"), Scaled.of, letters, unit, read["formula"], legal)
    return _fitting(kind, width, at(path, "range"))


def _width(letters: str, line: str, where: str) -> int:
    """How many bits the field has; that all letters have fields is checked with the whole line."""
    names = "".join(re.findall("[A-Za-z]", letters))
    others = sorted({*line} - {*"01 "} - {*names})
    try:
        layout = Layout(line, {"": letters, **{other: other for other in others}})
    except LayoutError:
        there = ", ".join(sorted({*line} - {*"01 "}))
        hint = f"it has {there}; each stands once, with a blank between two, as in 'H L'"
        raise ShapeError(where, f"letters of the layout {line!r}", letters, hint) from None
    if layout.fields[""].lowest:
        raise ShapeError(where, "letters without an offset", letters, "a formula has room for it")
    return layout.fields[""].width


def _fitting(kind: FieldKind, width: int, where: str) -> FieldKind:
    """The kind, unless a number of its table is more than the bits can hold."""
    most, given = (1 << width) - 1, max(kind.table or (0,))
    if given > most:
        raise ShapeError(where, f"0 to {most} in {width} bits", given)
    return kind


def _choices(value: object, path: str) -> dict[int, str]:
    found: dict[int, str] = {}
    for key, word, where in items_of(value, path, "choices"):
        number = placed(where, number_of, key, "number", "a whole number")
        if _word(word, where) != word.lower() or word in found.values() or number in found:
            raise ShapeError(where, "a word in lower case, and each once", word)
        if re.fullmatch("[0-9.+-]+", word):
            hint = f"a number is one of the field's, which has no {word!r} then"
            raise ShapeError(where, "a word that is no number", word, hint)
        found[number] = word
    if not found:
        raise ShapeError(path, "numbers and their words", value, "as in { 0 = 'off', 1 = 'on' }")
    return found


def _functions(value: object, path: str) -> tuple[str, ...]:
    names: tuple[str, ...] = each(_word)(value, path)
    if len({*names}) < len(names) or "none" in names:
        raise ShapeError(path, "each word once, and not 'none', which means no bit", value)
    return names


def _word(value: object, path: str) -> str:
    word = words(value, path)
    if not re.fullmatch("[A-Za-z0-9][A-Za-z0-9.+-]{0,29}", word):
        raise ShapeError(path, "a word of letters, digits, '-', '+' and '.'", word)
    return word


def _unit(value: object, path: str) -> str:
    unit = words(value, path)
    if not (re.fullmatch(r"[^\s\d=,;.+-][^\s=,;]{0,9}", unit) and unit.isprintable()):
        hint = "such as % or ms, up to ten characters, no digit first"
        raise ShapeError(path, "a unit without a blank", unit, hint)
    return unit


def _range(value: object, path: str) -> range:
    bounds = each(whole_number)(value, path)
    if len(bounds) != 2 or not 0 <= bounds[0] <= bounds[1] <= 65_535:
        raise ShapeError(path, "the lowest and the highest number, 65535 at most", value)
    return range(bounds[0], bounds[1] + 1)


_KEYS: Mapping[str, Reader] = {
    "letters": words,
    "unit": _unit,
    "choices": _choices,
    "functions": _functions,
    "formula": words,
    "range": _range,
}
"""What a field's table may have."""
