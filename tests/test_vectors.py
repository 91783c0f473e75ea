"""The published, derived, observed and remembered vectors, both ways."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from bitstring import Bits

import dccwire
from dccwire import (
    AccessoryAddress,
    Packet,
    PairNumbering,
    Provenance,
    SpeedAndDirection,
    SpeedStepControl128,
    cv,
)
from dccwire.cv.values import VALUE_TYPES
from dccwire.formats import FORMATS, Format, Kept
from dccwire.framing import to_bits
from dccwire.instructions.later import longer_form
from dccwire.receiver import BitReceiver, PacketReceived
from refusals import refused
from strategies import GENERAL

ROOT = Path(__file__).parent.parent / "vectors"
FILES = {path.stem: json.loads(path.read_text("utf-8")) for path in sorted(ROOT.glob("*.json"))}
OTHERS = {
    *("cvs", "cvs-refused", "formats", "framing", "refused", "refused-values", "rules"),
    *("speed-steps", "pair-numbers"),
}
PACKETS = [case for name, file in FILES.items() if name not in OTHERS for case in file["cases"]]
CASES = [pytest.param(case, id=f"{case['mode']} {case['bytes']}") for case in PACKETS]
PRINTED_WHOLE = {
    "00 00 00": "S-9.2 §B, Reset",
    "FF 00 FF": "S-9.2 §B, Idle",
    "7D 01 7C": "S-9.2.3 §E, Page Preset",
    "7F 08 77": "S-9.2.3 §E, Decoder Factory Reset",
}
"""The packets whose bytes the standards print, all of them."""

SILENT = "S-9.2.1: the text is silent"
"""The clause of a finding about bytes that no clause is about."""


def test_there_are_enough_vectors_of_each_provenance() -> None:
    """At least 300 derived ones, and every one cites a clause."""
    provenances = [case["provenance"] for case in PACKETS]
    assert provenances.count(Provenance.DERIVED.value) >= 300
    assert set(provenances) <= {one.value for one in Provenance}
    assert all(case["clause"] for file in FILES.values() for case in file["cases"])


def test_files_and_their_list_agree() -> None:
    """Every file of vectors is named in the list beside them, and each names its family."""
    listed = [
        line.split("`")[1]
        for line in (ROOT / "README.md").read_text("utf-8").splitlines()
        if line.startswith("| `")
    ]
    assert listed == [f"{name}.json" for name in sorted(FILES)]
    assert {name: file["family"] for name, file in FILES.items()} == {name: name for name in FILES}


def packet_of(case: dict[str, Any]) -> Packet:
    return dccwire.decode(bytes.fromhex(case["bytes"]), mode=dccwire.Mode(case["mode"]))


def cited(case: dict[str, Any]) -> set[str]:
    """The parts of a vector's clause: whole clauses, what narrows them, the readings taken."""
    return set(re.split("; |, (?=[CEPVX][0-9])", case["clause"]))


def formats_of(packet: Packet) -> list[Format]:
    return [one.format for one in packet.instructions if not isinstance(one, Kept)]


@pytest.mark.parametrize("case", CASES)
def test_a_vector_cites_the_clauses_of_its_formats_and_findings(case: dict[str, Any]) -> None:
    """Each instruction's clause, or that of a named reading, stands whole among the parts."""
    packet = packet_of(case)
    named = {reading.clause for reading in dccwire.readings(packet)}
    for form in formats_of(packet):
        assert ({form.clause} | named) & cited(case), form
    for one in dccwire.inspect(bytes(packet), mode=packet.mode).findings:
        parts = set(re.split(r" and | \(", one.clause.removesuffix(")")))
        assert one.clause in cited(case) | {SILENT} or parts <= cited(case), one


@pytest.mark.parametrize("form", FORMATS, ids=lambda form: form.cls.__name__)
def test_every_format_has_a_vector_that_cites_it(form: Format) -> None:
    """A check value of the same clause and of a provenance that goes with the format's.

    What the standards print gives published or derived bytes, what a reading of them adds derived
    ones; from memory comes nothing else.
    """
    found = [
        case["provenance"]
        for case in PACKETS
        if form.clause in cited(case)
        and (
            form.reading in case["readings"]
            if form.reading
            else form in formats_of(packet_of(case))
        )
    ]
    assert found
    if form.provenance is Provenance.FROM_MEMORY:
        assert set(found) == {Provenance.FROM_MEMORY.value}
    else:
        assert {Provenance.PUBLISHED.value, Provenance.DERIVED.value} & set(found)
        assert form.provenance is (
            Provenance.DERIVED if form.cls is dccwire.RestrictedSpeedStep else Provenance.PUBLISHED
        )


def beside(form: Format, packet: Packet) -> bool:
    """Whether kept bytes are a format's but for one fixed bit, an illegal value or their length."""
    one = packet.instructions[0] if packet.instructions else None
    if not isinstance(one, Kept) or not form.partitions & packet.address.partitions:
        return False
    body, size = bytes(packet)[:-1] if form.address else one.data, form.layout.size
    shared = min(len(body), size)
    word = int.from_bytes(body[:shared]) ^ form.layout.fixed >> 8 * (size - shared)
    wrong = (word & form.layout.fixed_mask >> 8 * (size - shared)).bit_count()
    return wrong == 0 or (wrong == 1 and len(body) >= size)


@pytest.mark.parametrize("form", GENERAL, ids=lambda form: form.cls.__name__)
def test_every_format_has_a_vector_beside_it_that_is_none(form: Format) -> None:
    """Bytes as near as can be that are kept, reserved or undefined."""
    modes = {one.value for one in dccwire.Mode if form.stands_in(one)}
    assert any(beside(form, packet_of(case)) for case in PACKETS if case["mode"] in modes)


@pytest.mark.parametrize("case", CASES)
def test_a_vector_claims_no_more_than_its_source(case: dict[str, Any]) -> None:
    """Published bytes are printed whole; observed and remembered ones say so in their clause."""
    packet = packet_of(case)
    memory = Provenance.FROM_MEMORY.value
    if case["provenance"] == Provenance.PUBLISHED.value:
        assert PRINTED_WHOLE[case["bytes"]] in cited(case)
    assert (case["provenance"] == Provenance.OBSERVED.value) is case["clause"].startswith(
        "observed"
    )
    if case["provenance"] == memory:
        assert any(part.startswith("from memory: ") for part in cited(case))
    if any(form.provenance is Provenance.FROM_MEMORY for form in formats_of(packet)):
        assert case["provenance"] == memory


def test_the_printed_packets_are_all_here() -> None:
    """Each of them is a published vector somewhere."""
    published = [case["bytes"] for case in PACKETS if case["provenance"] == "published"]
    assert set(published) == set(PRINTED_WHOLE)


@pytest.mark.parametrize("case", CASES)
def test_packet_vector(case: dict[str, Any]) -> None:
    """Bytes, text and JSON all stand for the same packet, and each is written as it stands."""
    data = bytes.fromhex(case["bytes"])
    plain = {name: case[name] for name in ("mode", "address", "instructions", "bytes")}
    packet = packet_of(case)
    assert packet.to_dict() == plain
    assert str(packet) == case["text"]
    for made in (Packet.from_text(case["text"]), Packet.from_dict(plain)):
        assert dccwire.encode(made) == data
        assert made.instructions == packet.instructions
    assert [one.name for one in dccwire.readings(packet)] == case["readings"]
    findings = dccwire.inspect(data, mode=packet.mode).findings
    assert [one.reason.value for one in findings] == case["findings"]


@pytest.mark.parametrize("case", FILES["refused"]["cases"], ids=lambda case: case["bytes"])
def test_refused_vector(case: dict[str, Any]) -> None:
    """`decode` refuses it for this reason; `inspect` finds the same, or a later, longer form."""
    data = bytes.fromhex(case["bytes"])
    error = {"length": dccwire.LengthError, "error-byte": dccwire.ErrorByteError}
    with refused(error[case["reason"]]):
        dccwire.decode(data)
    reason = "from-memory" if longer_form(data) else case["reason"]
    found = [one for one in dccwire.inspect(data).findings if one.reason.value == reason]
    assert [one.clause in cited(case) for one in found] == [True]


@pytest.mark.parametrize("case", FILES["framing"]["cases"], ids=lambda case: case["name"])
def test_framing_vector(case: dict[str, Any]) -> None:
    """A receiver takes these packets out of the bits; what a station sends is made again."""
    received = BitReceiver().feed(bits := Bits(bin=case["bits"]))
    packets = [one for one in received if isinstance(one, PacketReceived) and one.error_byte_right]
    found = [one.data.hex(" ").upper() for one in packets if len(one.data) in range(3, 7)]
    assert found == case["packets"]
    if case["preamble"] is not None:
        (packet,) = map(bytes.fromhex, case["packets"])
        assert to_bits(packet, case["preamble"]) == bits
        assert dccwire.inspect(bits, mode=dccwire.Mode(case["mode"])).well


@pytest.mark.parametrize("case", FILES["refused-values"]["cases"], ids=lambda case: case["text"])
def test_refused_values_vector(case: dict[str, Any]) -> None:
    """No packet can be built of it, for this reason."""
    with pytest.raises(dccwire.DccwireError) as caught:
        Packet.from_text(case["text"])
    assert caught.value.reason.value == case["reason"]
    with pytest.raises(dccwire.DccwireError) as caught:
        Packet.from_dict({name: case[name] for name in ("mode", "address", "instructions")})
    told = caught.value.reason.value
    assert told == case["reason"] or (case["reason"] == "text" and told in ("shape", "field"))


@pytest.mark.parametrize("case", FILES["cvs"]["cases"], ids=lambda case: case["name"])
def test_cv_vector(case: dict[str, Any]) -> None:
    """CVs to a value, its fields and its text, and back."""
    values = {int(number): value for number, value in case["cvs"].items()}
    cls = VALUE_TYPES[case["type"]]
    value = cls.from_cvs(values)
    plain = {"type": case["type"], **case["fields"]}
    assert (cv.value_to_plain(value), str(value)) == (plain, case["text"])
    assert cv.value_from_plain(plain).to_cvs() == values
    assert cv.value_from_text(case["text"]).to_cvs() == values
    assert cls.decoder.value == case["decoder"]


@pytest.mark.parametrize("case", FILES["cvs-refused"]["cases"], ids=lambda case: case["name"])
def test_refused_cv_vector(case: dict[str, Any]) -> None:
    """No value of that type."""
    values = {int(number): value for number, value in case["cvs"].items()}
    with pytest.raises(dccwire.errors.FieldError):
        VALUE_TYPES[case["type"]].from_cvs(values)


def test_every_type_of_cv_values_has_vectors() -> None:
    """With each of its fields at more than one value, unless it has but one."""
    for name, cls in VALUE_TYPES.items():
        cases = [case["fields"] for case in FILES["cvs"]["cases"] if case["type"] == name]
        assert cases, name
        for field in cls.kinds:
            assert len({json.dumps(case[field]) for case in cases}) > 1, (name, field)


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
    number, address = case["number"], AccessoryAddress(case["address"]["number"])
    assert case["address"]["kind"] == address.kind
    assert dccwire.number_of_pair(address, case["pair"], numbering=numbering) == number
    assert dccwire.pair_of_number(number, numbering=numbering) == (address, case["pair"])
    packet = dccwire.decode(bytes.fromhex(case["bytes"]))
    assert packet.address == address
    assert (packet.instructions[0].active, packet.instructions[0].pair) == (True, case["pair"])


@pytest.mark.parametrize("command", [[sys.executable, "-I", "read.py"], ["node", "read.js"]])
def test_the_readers_read_all_packets(command: list[str]) -> None:
    """In plain Python, and in JavaScript where it is on the machine."""
    if shutil.which(command[0]) is None:
        pytest.skip(f"{command[0]} is not on this machine, and not needed but for its own reader")
    run = subprocess.run(command, cwd=ROOT / "readers", capture_output=True, text=True)
    count = len(PACKETS) + len(FILES["refused"]["cases"])
    assert (run.returncode, run.stdout) == (
        0,
        f"{count} packets, 0 otherwise than they should be\n",
    )


def test_a_reader_finds_a_wrong_case(tmp_path: Path) -> None:
    """A byte changed in one file."""
    shutil.copytree(ROOT, tmp_path / "vectors")
    path = tmp_path / "vectors/function-groups.json"
    path.write_text(path.read_text("utf-8").replace('"03 90 93"', '"03 90 92"', 1), "utf-8")
    reader = [sys.executable, "-I", str(tmp_path / "vectors/readers/read.py")]
    run = subprocess.run(reader, capture_output=True, text=True)
    assert run.returncode == 1
    assert ", 1 otherwise" in run.stdout
