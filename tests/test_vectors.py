"""The published, derived, observed and remembered vectors, both ways, and their schemas."""

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import dccwire
from dccwire import (
    AccessoryAddress,
    Packet,
    PairNumbering,
    Provenance,
    SpeedAndDirection,
    SpeedStepControl128,
)
from dccwire.instructions.later import longer_form

ROOT = Path(__file__).parent.parent / "vectors"
FILES = {path.stem: json.loads(path.read_text("utf-8")) for path in sorted(ROOT.glob("*.json"))}
OTHERS = {"refused", "speed-steps", "pair-numbers"}
CASES = [
    pytest.param(case, id=f"{name} {case['mode']} {case['bytes']}")
    for name, file in FILES.items()
    if name not in OTHERS
    for case in file["cases"]
]


@pytest.mark.parametrize("name", FILES)
def test_file_has_the_shape_of_its_schema(name: str) -> None:
    """Every file validates, so that it can be read from any language."""
    schema = "packets" if name not in OTHERS else name
    rules = json.loads((ROOT / "schema" / f"{schema}.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator(rules).validate(FILES[name])


def _service_case(packet: str) -> dict[str, Any]:
    (case,) = (
        case
        for case in FILES["service-mode"]["cases"]
        if (case["mode"], case["bytes"]) == ("service", packet)
    )
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
    rules = json.loads((ROOT / "schema" / "packets.schema.json").read_text("utf-8"))
    file = {"schema": 1, "family": "service-mode", "cases": [_service_case(packet)]}
    validator = jsonschema.Draft202012Validator(rules)
    validator.validate(file)
    file["cases"][0].update(change)
    assert not validator.is_valid(file)
    file["cases"] = [_service_case(packet)]
    assert not validator.is_valid(file | {"family": "cv-access"}), "no other file has this mode"


def test_there_are_enough_vectors_of_each_provenance() -> None:
    """At least 300 derived ones, and every one cites a clause."""
    provenances = [case.values[0]["provenance"] for case in CASES]
    assert provenances.count(Provenance.DERIVED.value) >= 300
    assert set(provenances) <= {one.value for one in Provenance}
    assert all(case.values[0]["clause"] for case in CASES)


def test_every_type_has_a_vector() -> None:
    """No format goes without a check value."""
    seen = {one["type"] for case in CASES for one in case.values[0]["instructions"]}
    read = {name for case in CASES for name in case.values[0].get("readings", ())}
    for form in dccwire.formats.FORMATS:
        assert form.cls.__name__ in seen or form.reading in read, form


@pytest.mark.parametrize("case", CASES)
def test_packet_vector(case: dict[str, Any]) -> None:
    """Bytes, text and JSON all stand for the same packet, and each is written as it stands."""
    data = bytes.fromhex(case["bytes"])
    plain = {name: case[name] for name in ("mode", "address", "instructions", "bytes")}
    mode = dccwire.Mode(case["mode"])
    packet = dccwire.decode(data, mode=mode)
    assert packet.to_dict() == plain
    assert str(packet) == case["text"]
    for made in (Packet.from_text(case["text"]), Packet.from_dict(plain)):
        assert dccwire.encode(made) == data
        assert made.instructions == packet.instructions
    if "readings" in case:
        assert [one.name for one in dccwire.readings(packet)] == case["readings"]
    reasons = [one.reason.value for one in dccwire.inspect(data, mode=mode).findings]
    assert set(case.get("findings", ())) <= set(reasons)
    if case["provenance"] == Provenance.FROM_MEMORY and "Reserved" not in case["text"]:
        assert "from-memory" in reasons


@pytest.mark.parametrize("case", FILES["refused"]["cases"], ids=lambda case: case["bytes"])
def test_refused_vector(case: dict[str, Any]) -> None:
    """`decode` refuses it for this reason; `inspect` finds the same, or a later, longer form."""
    data = bytes.fromhex(case["bytes"])
    with pytest.raises(dccwire.DecodeError) as caught:
        dccwire.decode(data)
    assert caught.value.reason.value == case["reason"]
    told = "from-memory" if longer_form(data) else case["reason"]
    assert dccwire.inspect(data).findings[0].reason.value == told


def _step(case: dict[str, Any]) -> int:
    return case["step"] if isinstance(case["step"], int) else 0


@pytest.mark.parametrize("case", FILES["speed-steps"]["cases"])
def test_speed_step_vector(case: dict[str, Any]) -> None:
    """The codes of 14, 28 (the whole of NEM 671 table 1) and 128 steps, both ways."""
    steps, emergency = case["steps"], case["step"] == "emergency-stop"
    if steps == 128:
        one = SpeedStepControl128(True, case["speed"])
        assert one.step == _step(case)
        made = (
            SpeedStepControl128.emergency_stop(forward=True)
            if emergency
            else SpeedStepControl128.at(step=_step(case), forward=True)
        )
        assert made == one
        assert one.is_emergency_stop is emergency
        return
    run = SpeedAndDirection(True, case["c"], case["speed"])
    assert run.step(steps) == _step(case)
    assert run.is_emergency_stop is emergency
    assert run.is_stop is (_step(case) == 0)
    if isinstance(case["step"], int):
        headlight = None if steps == 28 else bool(case["c"])
        at = SpeedAndDirection.at(step=case["step"], steps=steps, forward=True, headlight=headlight)
        assert at == run
    else:
        stop = SpeedAndDirection.emergency_stop if emergency else SpeedAndDirection.stop
        assert stop(forward=True, c=case["c"]) == run


def test_the_28_step_table_is_whole() -> None:
    """All 32 codes of NEM 671 table 1 are among the vectors."""
    codes = {
        (case["c"], case["speed"]) for case in FILES["speed-steps"]["cases"] if case["steps"] == 28
    }
    assert len(codes) == 32


@pytest.mark.parametrize("case", FILES["pair-numbers"]["cases"])
def test_pair_number_vector(case: dict[str, Any]) -> None:
    """The numbers that operators use, both ways, in both numberings (V9)."""
    numbering = {
        "from-decoder-one": PairNumbering.FROM_DECODER_ONE,
        "from-decoder-zero": PairNumbering.FROM_DECODER_ZERO,
    }[case["numbering"]]
    number = case["number"]
    if case["address"]["kind"] == "accessory":
        address = AccessoryAddress(case["address"]["number"])
        found = dccwire.number_of_pair(address, case["pair"], numbering=numbering)
        assert found == number
        assert dccwire.pair_of_number(number, numbering=numbering) == (address, case["pair"])
    else:
        extended = dccwire.ExtendedAccessoryAddress(case["address"]["number"])
        assert dccwire.number_of_pair(extended, numbering=numbering) == number
        assert dccwire.extended_of_number(number, numbering=numbering) == extended
