"""The JSON Schemas of the vectors, made from the registry; `python tests/vector_schemas.py` writes.

Bounds, names and choices come from the formats and the addresses; what shape a case has is here.
"""

import json
from pathlib import Path
from typing import Any

from dccwire.accessory import BasicAccessory, PairNumbering
from dccwire.address import (
    ADDRESS_KINDS,
    PROGRAMMING_TRACK,
    AccessoryAddress,
    Address,
    Mode,
    Partition,
)
from dccwire.assembly import LONGEST, SHORTEST
from dccwire.codebook import FORMATS
from dccwire.conformance import RULES, Verdict
from dccwire.cv.values import VALUE_TYPES, DecoderKind
from dccwire.errors import Reason
from dccwire.fields import Data, Number
from dccwire.formats import Format, Instruction, Kept, Provenance, Reserved, Undefined
from dccwire.framing import least_preamble
from dccwire.instructions import SpeedAndDirection, SpeedStepControl128
from strategies import GENERAL

VECTORS = Path(__file__).parent.parent / "vectors"
TRACK = frozenset({Partition.PROGRAMMING})

Schema = dict[str, Any]

BYTE = "[0-9A-F]{2}"
PROGRAMMING_BYTES = f"^7[0-9A-F]( {BYTE}){{2,3}}$"
INSTRUCTION_TEXT = "[A-Z][A-Za-z0-9]*( [a-z_]+=[A-Za-z0-9,-]+)*"
SENTENCE = {"type": "string", "pattern": "^\\S.*\\.$", "description": "One sentence."}
CITED = {
    "clause": {"type": "string", "minLength": 1},
    "provenance": {"enum": [one.value for one in Provenance]},
}


SENTENCE_PART = {"type": "string", "minLength": 1}


def whole(low: int, high: int) -> Schema:
    return Number().schema(low, high)


def record(**properties: Schema) -> Schema:
    """An object with these properties, all of them and no other."""
    return {
        "type": "object",
        "additionalProperties": False,
        "required": list(properties),
        "properties": properties,
    }


def one_of(names: list[str]) -> Schema:
    return {"oneOf": [{"$ref": f"#/$defs/{name}"} for name in names]}


def names_of(forms: list[Format]) -> list[str]:
    return [form.cls.__name__ for form in forms]


def address(kind: type[Address]) -> Schema:
    return record(kind={"const": kind.kind}, number=whole(kind.bound[0], kind.bound[-1]))


def field(cls: type[Instruction], name: str) -> Schema:
    bits = cls.format.layout.fields[name]
    return cls.kinds[name].schema(bits.lowest, bits.highest)


def instruction(cls: type[Instruction]) -> Schema:
    """The plain form of an instruction; of kept bytes, up to what fits beside an address."""
    if issubclass(cls, Kept):
        return record(type={"const": cls.__name__}, data=Data().schema(1, LONGEST - 2))
    fields = {name: field(cls, name) for name in cls.kinds}
    return record(type={"const": cls.__name__}, **fields)


def readings(mode: Mode, on_track: bool) -> Schema:
    """The names that readings have in a mode, on the programming track or elsewhere."""
    forms = [form for form in FORMATS if form.reading and form.stands_in(mode)]
    names = [form.reading for form in forms if (form.partitions == TRACK) is on_track]
    return {"items": {"enum": names}}


def case(mode: Mode, at: str, one: list[str], text: str, **more: Schema) -> Schema:
    """What a case of one shape adds to what all cases have."""
    inside: Schema = {"items": one_of(one)}
    if at != "address":
        inside |= {"minItems": 1, "maxItems": 1}
    return {
        "properties": {
            "mode": {"const": mode.value},
            "text": {"pattern": f"^{text}$"},
            "address": {"$ref": f"#/$defs/{at}"},
            "instructions": inside,
            **more,
        }
    }


def file_of(title: str, family: Schema, item: Schema) -> Schema:
    """A file of cases."""
    cases = {"type": "array", "minItems": 1, "uniqueItems": True, "items": item}
    about = {"type": "string"}
    whole_file = record(schema={"const": 1}, family=family, about=about, cases=cases)
    draft = "https://json-schema.org/draft/2020-12/schema"
    return {"$schema": draft, "title": title, **whole_file}


def packets(families: list[str]) -> Schema:
    """The schema of all files of packets; only `service-mode` holds packets of that mode."""
    operations, service = Mode.OPERATIONS, Mode.SERVICE
    kinds = [kind for kind in ADDRESS_KINDS.values() if kind is not type(PROGRAMMING_TRACK)]
    numbered = [kind.kind for kind in kinds if len(kind.bound) > 1]
    text = f"(broadcast|idle|({'|'.join(numbered)}) [0-9]+)"
    text += f":( {INSTRUCTION_TEXT}(; {INSTRUCTION_TEXT})*)?"
    everywhere = names_of([form for form in GENERAL if form.stands_in(operations)])
    everywhere += [Reserved.__name__, Undefined.__name__]
    on_track = names_of([form for form in GENERAL if form.partitions == TRACK])
    readings_of_track = readings(service, on_track=True)
    none = {"maxItems": 0}
    track = PROGRAMMING_TRACK.kind
    shapes = {
        "operations": case(
            operations, "address", everywhere, text, readings=readings(operations, on_track=False)
        ),
        "programming": case(
            service,
            track,
            [*on_track, "kept-on-programming-track"],
            f"service {track}: {INSTRUCTION_TEXT}",
            bytes={"pattern": PROGRAMMING_BYTES},
            readings=readings_of_track,
        ),
        "query": case(
            service,
            "queried",
            ["AddressQuery"],
            "service short [0-9]+: AddressQuery",
            bytes={"pattern": f"^[0-6][0-9A-F] F9 {BYTE}$"},
            readings=none,
        ),
        "lock": case(
            service,
            "broadcast",
            ["DecoderLock"],
            "service broadcast: DecoderLock unlocked=[0-9]+",
            bytes={"pattern": f"^00 F9 [0-7][0-9A-F] {BYTE}$"},
            readings=none,
        ),
        "elsewhere": case(
            service,
            "address",
            everywhere,
            f"service {text}",
            bytes={"not": {"pattern": PROGRAMMING_BYTES}},
            readings=readings(service, on_track=False),
        ),
    }
    listed: Schema = {"type": "array", "items": {"type": "string"}}
    item = record(
        name=SENTENCE,
        bytes={
            "type": "string",
            "pattern": f"^{BYTE}( {BYTE}){{{SHORTEST - 1},{LONGEST - 1}}}$",
            "description": "Hex, one space between bytes, error detection byte included.",
        },
        text={"type": "string", "description": "The packet as one canonical line of text."},
        mode={"enum": [mode.value for mode in Mode]},
        address={"type": "object"},
        instructions={"type": "array", "maxItems": LONGEST - 2, "items": {"type": "object"}},
        **CITED,
        readings={
            **listed,
            "uniqueItems": True,
            "description": "Every named reading of the same bytes beside the general one.",
        },
        findings={
            **listed,
            "description": "The reason codes of what an inspection says, in the order of places.",
        },
    )
    item |= one_of([f"{name}-case" for name in shapes])
    file = file_of("Packets and what they mean", {"enum": families}, item)
    apart = {"properties": {"cases": {"items": {"properties": {"mode": {"const": "operations"}}}}}}
    file["if"] = {"properties": {"family": {"const": "service-mode"}}}
    file["else"] = apart
    file["$defs"] = {
        **{kind.kind: address(kind) for kind in ADDRESS_KINDS.values()},
        "queried": record(kind={"const": "short"}, number=whole(1, 111)),  # P12
        "address": one_of([kind.kind for kind in kinds]),
        **{form.cls.__name__: instruction(form.cls) for form in GENERAL},
        **{kept.__name__: instruction(kept) for kept in (Reserved, Undefined)},
        "kept-on-programming-track": record(
            type={"const": Undefined.__name__}, data={"type": "string", "pattern": "^7[0-9A-F]{5}$"}
        ),
        **{f"{name}-case": shape for name, shape in shapes.items()},
    }
    return file


def refused() -> Schema:
    """The schema of what `decode` refuses."""
    reasons = {"enum": [Reason.LENGTH.value, Reason.ERROR_BYTE.value]}
    data = {"type": "string", "pattern": f"^({BYTE}( {BYTE})*)?$"}
    item = record(name=SENTENCE, bytes=data, reason=reasons, **CITED)
    return file_of("Bytes that are no packet", {"const": "refused"}, item)


def framing() -> Schema:
    """The schema of bits, and the packets that a receiver takes out of them."""
    one = {"type": "string", "pattern": f"^{BYTE}( {BYTE}){{{SHORTEST - 1},{LONGEST - 1}}}$"}
    item = record(
        name=SENTENCE,
        bits={"type": "string", "pattern": "^[01]+$"},
        mode={"enum": [mode.value for mode in Mode]},
        preamble={"type": ["integer", "null"], "minimum": least_preamble(Mode.OPERATIONS)},
        packets={"type": "array", "items": one},
        **CITED,
    )
    return file_of("Bits, and the packets in them", {"const": "framing"}, item)


def refused_values() -> Schema:
    """The schema of packets in words that cannot be built."""
    known = Reason.FIELD, Reason.COMBINATION, Reason.TEXT, Reason.LENGTH
    reasons = {"enum": [one.value for one in known]}
    text = {"type": "string", "pattern": "^\\S.*: \\S.*$"}
    plain: Schema = {
        "mode": {"enum": [one.value for one in Mode]},
        "address": record(kind={"enum": [*ADDRESS_KINDS]}, number={"type": "integer"}),
        "instructions": {"type": "array", "items": {"type": "object", "required": ["type"]}},
    }
    item = record(name=SENTENCE, text=text, **plain, reason=reasons, **CITED)
    return file_of("Packets that cannot be built", {"const": "refused-values"}, item)


_CVS: Schema = {
    "name": SENTENCE,
    "decoder": {"enum": [one.value for one in DecoderKind]},
    "cvs": {
        "type": "object",
        "minProperties": 1,
        "propertyNames": {"pattern": "^[1-9][0-9]{0,3}$"},
        "additionalProperties": Number().schema(0, 255),
    },
}
_TYPE: Schema = {"enum": sorted(VALUE_TYPES)}
_VALUE: Schema = {"type": _TYPE, "fields": {"type": "object"}, "text": SENTENCE_PART}


def cvs() -> Schema:
    """The schema of what CVs hold; the fields of each type are those that `dccwire cv` reads."""
    return file_of("What CVs hold", {"const": "cvs"}, record(**_CVS, **_VALUE, **CITED))


def cvs_refused() -> Schema:
    """The schema of CVs that hold no value of a type; a CV may be given more than a byte."""
    numbers = _CVS["cvs"] | {"additionalProperties": {"type": "integer"}}
    shape = record(**(_CVS | {"cvs": numbers}), type=_TYPE, why=SENTENCE_PART, **CITED)
    return file_of("CVs that hold no value", {"const": "cvs-refused"}, shape)


def rules() -> Schema:
    """The schema of recordings and the verdict of a rule on each."""
    pair = {"type": "array", "prefixItems": [whole(1, 10**10), whole(0, 10**5)], "items": False}
    item = record(
        name=SENTENCE,
        rule=whole(min(RULES), max(RULES)),
        verdict={"enum": [one.value for one in Verdict]},
        session={"type": "string"},
        resolution_ns=whole(1, 10**4),
        half_bits={"type": "array", "items": pair, "minItems": 1},
        **CITED,
    )
    return file_of("Recordings and the verdict of a rule", {"const": "rules"}, item)


def speed_steps() -> Schema:
    """The schema of speed codes and their steps; at 128 there is no C."""

    def rows(steps: int, highest: int, **code: Schema) -> Schema:
        step = {"oneOf": [whole(1, highest), {"enum": ["stop", "emergency-stop"]}]}
        return record(steps={"const": steps}, **code, step=step, **CITED)

    code = {name: field(SpeedAndDirection, name) for name in ("c", "speed")}
    of_128 = field(SpeedStepControl128, "speed")
    item = {"oneOf": [rows(14, 14, **code), rows(28, 28, **code), rows(128, 126, speed=of_128)]}
    return file_of("Speed codes and steps", {"const": "speed-steps"}, item)


def pair_numbers() -> Schema:
    """The schema of the numbers that operators use; the broadcast's address has none."""
    bound = AccessoryAddress.bound
    numberings = [one.name.lower().replace("_", "-") for one in PairNumbering]
    item = record(
        numbering={"enum": numberings},
        number=whole(1, 4 * (len(bound) - 1)),
        address=record(kind={"const": AccessoryAddress.kind}, number=whole(bound[0], bound[-2])),
        pair=field(BasicAccessory, "pair"),
        bytes={"type": "string", "pattern": f"^{BYTE}( {BYTE}){{2}}$"},
        **CITED,
    )
    return file_of("Numbers of accessory output pairs", {"const": "pair-numbers"}, item)


def formats() -> Schema:
    """The schema of the layouts of all formats."""
    places: Schema = {
        "type": "array",
        "uniqueItems": True,
        "items": whole(0, 8 * (LONGEST - 1) - 1),
    }
    bits = {"bits": places | {"minItems": 1}, "turned": places, "added": whole(0, 1)}
    number: Schema = {"type": "integer", "minimum": 0}
    pair: Schema = {"type": "array", "prefixItems": [number, True], "items": False, "minItems": 2}
    numbers = {"lowest": number, "highest": number}
    table: Schema = {"type": "array", "minItems": 1, "items": pair}
    names: Schema = {"type": "array", "minItems": 1, "items": SENTENCE_PART}
    one = [record(**bits, **each) for each in (numbers, {"table": table}, {"functions": names})]
    kinds: Schema = {"enum": ["accessory", "extended-accessory"]}
    item = record(
        name=SENTENCE,
        type={"type": "string", "pattern": "^[A-Z][A-Za-z0-9]*$"},
        layout={"type": "string", "pattern": "^[01A-Za-z]{8}( [01A-Za-z]{8})*$"},
        modes={"type": "array", "items": {"enum": [mode.value for mode in Mode]}},
        to={"type": "array", "items": {"enum": [one.name.lower() for one in Partition]}},
        opens={"type": "boolean"},
        ends={"type": "boolean"},
        reading={"type": ["string", "null"]},
        address={
            "oneOf": [
                {"type": "null"},
                record(kind=kinds, number=number),
                record(kind=kinds, **bits, **numbers),
            ]
        },
        fields={"type": "object", "additionalProperties": {"oneOf": one}},
        **CITED,
    )
    return file_of("Formats and their layouts", {"const": "formats"}, item)


FAMILIES = [
    "decoder-control",
    "consist-control",
    "advanced-operations",
    "speed-and-direction",
    "function-groups",
    "feature-expansion",
    "cv-access",
    "several-instructions",
    "accessory",
    "idle-and-broadcast",
    "reserved-and-undefined",
    "later-from-memory",
    "service-mode",
]
"""The files of packets; each other file has a schema of its own."""

SCHEMAS = {
    "packets": packets(FAMILIES),
    "formats": formats(),
    "framing": framing(),
    "cvs": cvs(),
    "cvs-refused": cvs_refused(),
    "rules": rules(),
    "refused": refused(),
    "refused-values": refused_values(),
    "speed-steps": speed_steps(),
    "pair-numbers": pair_numbers(),
}


def written(schema: Schema) -> str:
    """The text of a schema's file: one line for each property and each definition."""
    lines = []
    for name, value in schema.items():
        if name in ("properties", "$defs"):
            inside = [f"    {json.dumps(key)}: {json.dumps(one)}" for key, one in value.items()]
            lines.append(f'  "{name}": {{\n' + ",\n".join(inside) + "\n  }")
        else:
            lines.append(f"  {json.dumps(name)}: {json.dumps(value)}")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def path_of(name: str) -> Path:
    return VECTORS / "schema" / f"{name}.schema.json"


if __name__ == "__main__":
    for name, schema in SCHEMAS.items():
        path_of(name).write_text(written(schema), "utf-8")
