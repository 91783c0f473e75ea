"""The schemas of the vectors: made from the code, held against bounds that are typed in."""

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from dccwire.errors import FieldError, ShapeError
from dccwire.fields import Number
from dccwire.notation import address_from_plain, instruction_from_plain
from legal_values import ADDRESSES, FUNCTIONS, LEGAL
from strategies import GENERAL
from vector_schemas import FAMILIES, SCHEMAS, VECTORS, path_of, written

FILES = {path.stem: json.loads(path.read_text("utf-8")) for path in VECTORS.glob("*.json")}
NAMES = [form.cls.__name__ for form in GENERAL]


def of(name: str, schema: str = "packets") -> Draft202012Validator:
    """The validator of one definition."""
    rules = SCHEMAS[schema]
    return Draft202012Validator({"$ref": f"#/$defs/{name}", "$defs": rules["$defs"]})


def allowed(name: str, field: str, value: Any) -> bool:
    """Whether the table of legal values has a plain value; a yes is not a 1."""
    if field == "functions":
        return isinstance(value, list) and set(value) <= set(FUNCTIONS[name])
    values = LEGAL[name][field]
    if isinstance(values, range):
        return type(value) is int and value in values
    return any(value == one and type(value) is type(one) for one in values)


def tried(name: str, field: str) -> list[Any]:
    """Values at the bounds of a field, one beyond each, and of other types."""
    values = LEGAL[name][field]
    if field == "functions":
        return [[one] for one in (*FUNCTIONS[name], "F69")] + [FUNCTIONS[name], [], None, 1, "F1"]
    odd = [-1, 99_999, 1.5, "1", "none", True, None, []]
    whole = isinstance(values, range)
    numbers = values if whole else [one for one in values if type(one) is int]
    beside = [numbers[0] - 1, numbers[-1] + 1] if numbers else []
    return [*((values[0], values[-1]) if whole else values), *beside, *odd]


def variants(name: str) -> Iterator[tuple[dict[str, Any], bool]]:
    """Objects of a type, each with one field changed, and whether the standards allow them."""
    fields = [field for field in LEGAL[name] if field != "address"]
    lowest = {field: [] if field == "functions" else LEGAL[name][field][0] for field in fields}
    legal = {"type": name, **lowest}
    yield legal, True
    yield legal | {"odd": 1}, False
    for field in fields:
        for value in tried(name, field):
            yield legal | {field: value}, allowed(name, field, value)


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_files_hold_what_the_code_makes(name: str) -> None:
    """`python tests/vector_schemas.py` writes them."""
    assert path_of(name).read_text("utf-8") == written(SCHEMAS[name])
    Draft202012Validator.check_schema(SCHEMAS[name])


@pytest.mark.parametrize("name", FILES)
def test_file_has_the_shape_of_its_schema(name: str) -> None:
    """Every file validates, so that it can be read from any language."""
    validator = Draft202012Validator(SCHEMAS["packets" if name in FAMILIES else name])
    validator.validate(FILES[name])
    assert set(FILES) == {*FAMILIES, *SCHEMAS} - {"packets"}


@pytest.mark.parametrize("name", NAMES)
def test_fields_have_the_bounds_of_the_standards(name: str) -> None:
    """Each bound is allowed and one beyond refused, by the schema and by the library alike."""
    validator = of(name)
    for plain, legal in variants(name):
        assert validator.is_valid(plain) is legal, plain
        try:
            read = instruction_from_plain(plain, "instruction")
        except (FieldError, ShapeError):
            read = None
        assert (read is not None) is legal, plain


@pytest.mark.parametrize("kind", ADDRESSES)
def test_addresses_have_the_bounds_of_the_standards(kind: str) -> None:
    """The lowest and the highest number of each kind, and those beside them."""
    numbers = ADDRESSES[kind]
    validator = of(kind)
    for number in (numbers[0] - 1, numbers[0], numbers[-1], numbers[-1] + 1, 99_999, True, "1"):
        plain = {"kind": kind, "number": number}
        legal = type(number) is int and number in numbers
        assert validator.is_valid(plain) is legal, plain
        try:
            read = address_from_plain(plain, "address")
        except (FieldError, ShapeError):
            read = None
        assert (read is not None) is legal, plain


@pytest.mark.parametrize("name", ["Reserved", "Undefined"])
def test_kept_bytes_fit_beside_an_address_and_an_error_byte(name: str) -> None:
    """One byte to four of six (S-9.2.1, introduction)."""
    for count in range(7):
        assert of(name).is_valid({"type": name, "data": "0A" * count}) is (1 <= count <= 4)
    assert not of(name).is_valid({"type": name, "data": "0a"})


@pytest.mark.parametrize(
    ("file", "changes"),
    [
        ("formats", {"layout": "1110CC"}),
        ("formats", {"to": ["all"]}),
        ("formats", {"fields": {"cv": {"bits": [6]}}}),
        ("formats", {"address": {"kind": "short", "number": 3}}),
        ("speed-steps", {"steps": 14, "c": 2}),
        ("speed-steps", {"steps": 14, "speed": 16}),
        ("speed-steps", {"steps": 14, "step": 15}),
        ("speed-steps", {"steps": 14, "step": 0}),
        ("speed-steps", {"steps": 28, "speed": 16}),
        ("speed-steps", {"steps": 28, "step": 29}),
        ("speed-steps", {"steps": 128, "speed": 128}),
        ("speed-steps", {"steps": 128, "step": 127}),
        ("speed-steps", {"steps": 128, "c": 0}),
        ("speed-steps", {"steps": 28, "step": "halt"}),
        ("speed-steps", {"steps": 28, "provenance": "guessed"}),
        ("pair-numbers", {"number": 0}),
        ("pair-numbers", {"number": 2045}),
        ("pair-numbers", {"pair": 4}),
        ("pair-numbers", {"address": {"kind": "accessory", "number": 511}}),
        ("pair-numbers", {"numbering": "from-decoder-two"}),
        ("pair-numbers", {"bytes": "9F F8"}),
        ("refused", {"reason": "cut-off"}),
        ("refused", {"bytes": "3"}),
        ("refused", {"clause": ""}),
        ("refused-values", {"reason": "error-byte"}),
        ("refused-values", {"text": "FF 00 FF"}),
        ("accessory", {"findings": "reserved"}),
        ("accessory", {"bytes": "9F F8"}),
        ("accessory", {"bytes": "9F F8 00 00 00 00 67"}),
        ("accessory", {"name": "no full stop"}),
        ("accessory", {"readings": ["page preset"]}),
    ],
)
def test_the_schema_refuses_what_is_no_case(file: str, changes: dict[str, Any]) -> None:
    """A valid case with one property out of bounds."""
    validator = Draft202012Validator(SCHEMAS["packets" if file in FAMILIES else file])
    steps = changes.get("steps")
    case = next(one for one in FILES[file]["cases"] if one.get("steps") == steps)
    assert validator.is_valid(FILES[file] | {"cases": [case]})
    assert not validator.is_valid(FILES[file] | {"cases": [case | changes]})


@pytest.mark.parametrize("name", NAMES)
def test_a_case_gives_every_field(name: str) -> None:
    """The library may have a default; the vectors have none."""
    legal, _ = next(variants(name))
    for field in legal:
        left_out = {key: value for key, value in legal.items() if key != field}
        assert not of(name).is_valid(left_out), field


def test_no_function_is_listed_twice() -> None:
    """The one plain form of a mask names each function once."""
    twice = {"type": "FunctionGroupOne", "functions": ["F1", "F1"]}
    assert not of("FunctionGroupOne").is_valid(twice)


def test_a_set_with_gaps_is_listed() -> None:
    """Numbers that are no whole run stand one by one."""
    assert Number(legal=(1, 3)).schema(0, 7) == {"enum": [1, 3]}
    assert Number(legal=(1, 2)).schema(0, 7) == {"type": "integer", "minimum": 1, "maximum": 2}


def _service_case(packet: str) -> dict[str, Any]:
    cases = FILES["service-mode"]["cases"]
    (case,) = (one for one in cases if (one["mode"], one["bytes"]) == ("service", packet))
    return copy.deepcopy(case)


TRACK = {"kind": "programming-track", "number": 0}


@pytest.mark.parametrize(
    ("packet", "change"),
    [
        ("7D 01 7C", {"mode": "operations"}),
        ("7D 01 7C", {"address": {"kind": "short", "number": 125}}),
        ("7D 01 7C", {"instructions": [{"type": "HardReset"}]}),
        ("7D 01 7C", {"text": "programming-track: RegisterAccess"}),
        ("7D 01 7C", {"readings": ["reset"]}),
        ("7C 1C 26 46", {"bytes": "0C 1C 26 36"}),
        ("03 F9 FA", {"mode": "operations"}),
        ("03 F9 FA", {"address": {"kind": "short", "number": 112}}),
        ("00 F9 01 F8", {"instructions": [{"type": "DecoderLock", "unlocked": 0}]}),
        ("00 F9 01 F8", {"address": {"kind": "short", "number": 1}}),
        ("00 00 00", {"mode": "operations"}),
        ("00 00 00", {"text": "broadcast: DigitalDecoderReset"}),
        ("00 00 00", {"address": TRACK}),
        ("00 00 00", {"instructions": [{"type": "AddressQuery"}]}),
        ("00 00 00", {"readings": ["page preset"]}),
        ("7C EC 1C 26 AA", {"bytes": "7C EC 1C 26"}),
    ],
)
def test_the_schema_keeps_the_modes_apart(packet: str, change: dict[str, Any]) -> None:
    """What belongs to one mode is refused in the other, by the schema alone."""
    file = FILES["service-mode"] | {"cases": [_service_case(packet)]}
    validator = Draft202012Validator(SCHEMAS["packets"])
    validator.validate(file)
    file["cases"][0].update(change)
    assert not validator.is_valid(file)
    file["cases"] = [_service_case(packet)]
    assert not validator.is_valid(file | {"family": "cv-access"}), "no other file has this mode"
