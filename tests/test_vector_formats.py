"""The layouts as data: they are the code's, and enough to read every packet."""

import json
from typing import Any

import pytest

from dccwire.codebook import FORMATS, RESERVED
from vector_formats import PATH, written
from vector_schemas import FAMILIES, VECTORS

LAYOUTS = json.loads(PATH.read_text("utf-8"))["cases"]
CASES = [
    pytest.param(case, id=f"{case['mode']} {case['bytes']}")
    for family in FAMILIES
    for case in json.loads((VECTORS / f"{family}.json").read_text("utf-8"))["cases"]
]
HEADS = {"long": 2, "programming-track": 0, "accessory": 0, "extended-accessory": 0}
"""Bytes of an address that stand before the layout; of all other kinds one."""

KINDS = {"programming-track": "programming", "extended-accessory": "accessory"}
"""Kinds of address that `to` names otherwise, by the first byte."""


def test_the_file_holds_what_the_code_makes() -> None:
    """`python tests/vector_formats.py` writes it: every format, and what is reserved."""
    assert PATH.read_text("utf-8") == written()
    assert len(LAYOUTS) == len(FORMATS) + len(RESERVED)


# What stands below knows the file alone, as a reader in another language does.


NO_VALUE = object()


def number(bits: str, field: dict[str, Any]) -> int:
    """The number of a field's bits."""
    sent = (bits[place] != "01"[place in field["turned"]] for place in field["bits"])
    return field["added"] + sum(1 << at for at, one in enumerate(reversed(list(sent))) if one)


def value(bits: str, field: dict[str, Any]) -> Any:
    """The value of a field, or `NO_VALUE` if these bits have none; `null` is a value of some."""
    found = number(bits, field)
    if "functions" in field:
        return [name for at, name in enumerate(field["functions"]) if found >> at & 1]
    return dict(field["table"]).get(found, NO_VALUE) if "table" in field else found


def fits(layout: dict[str, Any], bits: str) -> bool:
    """Whether bits open with a layout and, where nothing may follow, are no more than it."""
    line = layout["layout"].replace(" ", "")
    more = len(bits) - len(line)
    return (
        (more == 0 if layout["ends"] else more >= 0)
        and all(one not in "01" or one == bit for one, bit in zip(line, bits, strict=False))
        and all(value(bits, field) is not NO_VALUE for field in layout["fields"].values())
    )


def read(data: bytes, kind: str, mode: str) -> list[dict[str, Any]]:
    """The instructions of a packet to a kind of address; what no format is ends it, with bytes."""
    found: list[dict[str, Any]] = []
    bits = "".join(f"{byte:08b}" for byte in data[HEADS.get(kind, 1) : -1])
    general = [one for one in LAYOUTS if one["reading"] is None and one["type"] != "Reserved"]
    while bits:
        some = [
            one
            for one in general
            if KINDS.get(kind, kind) in one["to"]
            and (one["address"] is None or one["address"]["kind"] == kind)
            and mode in one["modes"]
            and not (found and one["opens"])
            and fits(one, bits)
        ]
        if not some:
            return [*found, {"data": f"{int(bits, 2):0{len(bits) // 4}X}"}]
        best = max(some, key=lambda one: sum(map(one["layout"].count, "01")))
        values = {name: value(bits, field) for name, field in best["fields"].items()}
        found.append({"type": best["type"]} | values)
        bits = bits[len(best["layout"].replace(" ", "")) :]
    return found


@pytest.mark.parametrize("case", CASES)
def test_every_packet_is_read_by_the_file_alone(case: dict[str, Any]) -> None:
    """The instructions of each vector, field by field; what is kept, by its bytes."""
    kind = case["address"]["kind"]
    kept = [{"data": one["data"]} if "data" in one else one for one in case["instructions"]]
    assert read(bytes.fromhex(case["bytes"]), kind, case["mode"]) == kept
