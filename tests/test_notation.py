"""Text and JSON of packets, both ways, and what cannot be read."""

import json
import re
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dccwire
from dccwire import FieldError, Packet, Reason, ShapeError, TextError
from dccwire.fields import FieldKind
from dccwire.notation import (
    INSTRUCTION_TYPES,
    address_from_plain,
    address_from_text,
    address_text,
    own_address,
    plain_from_json,
    types_in_words,
)
from refusals import refused
from strategies import bodies, packets, with_error_byte


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        (dccwire.IDLE, "'idle' given"),
        (dccwire.AccessoryAddress(3), "'accessory 3' given"),
        ("short 3", "'short 3' given"),
        (None, "nothing given"),
    ],
)
def test_an_address_that_is_no_decoder_s_own_is_told_in_words(given: object, shown: str) -> None:
    """Whatever else is given as it is."""
    with refused(FieldError, field="address", match=f"a short or a long address expected, {shown}"):
        own_address(given)


@given(st.one_of(packets(), bodies.map(with_error_byte).map(dccwire.decode)))
@settings(max_examples=1000)
def test_text_and_json_give_the_packet_back(packet: Packet) -> None:
    """Through real JSON text, for built packets and for any bytes."""
    through_text = Packet.from_text(str(packet))
    through_json = Packet.from_dict(json.loads(json.dumps(packet.to_dict())))
    for made in (through_text, through_json):
        assert made == packet
        assert made.address == packet.address
        assert made.instructions == packet.instructions


@pytest.mark.parametrize(
    ("text", "same"),
    [
        (
            "short 55: SpeedAndDirection step=6 steps=28 forward=yes",
            "short 55: SpeedAndDirection forward=yes c=1 speed=4",
        ),
        (
            "short 55: SpeedAndDirection headlight=yes forward=no steps=14 step=3",
            "short 55: SpeedAndDirection forward=no c=1 speed=4",
        ),
        (
            "long 3000: SpeedStepControl128 step=0 forward=yes",
            "long 3000: SpeedStepControl128 forward=yes speed=0",
        ),
        (
            "short 3: RestrictedSpeedStep step=12 steps=14 enabled=no",
            "short 3: RestrictedSpeedStep enabled=no c=0 speed=13",
        ),
        ("  broadcast 0 :HardReset ;  ", None),
        (
            "short 3:FunctionGroupOne functions=FL,F1;FunctionGroupTwoF5F8 functions=none",
            "short 3: FunctionGroupOne functions=F1,FL; FunctionGroupTwoF5F8 functions=none",
        ),
        ("broadcast: SystemTime time=1500", "broadcast: SystemTime time=1500ms"),
        ("idle 255: Idle", "idle: Idle"),
        ("long 3:", "long 3:"),
    ],
)
def test_text_is_read_as_people_write_it(text: str, same: str | None) -> None:
    """Blanks, order of fields, named steps and units are free; what is written is canonical."""
    if same is None:
        with refused(TextError, Reason.TEXT):
            Packet.from_text(text)
    else:
        assert str(Packet.from_text(text)) == same


@pytest.mark.parametrize(
    ("text", "position", "words"),
    [
        ("short 3 HardReset", 7, "no colon"),
        ("service programming-track RegisterAccess", 25, "no colon"),
        ("idle Idle", 4, "no colon"),
        ("  short", 7, "no colon"),
        ("HardReset", 0, "no colon"),
        ("", 0, "no colon"),
        ("shirt 3: HardReset", 0, "no address kind 'shirt'"),
        (": HardReset", 0, "no address kind ''"),
        ("short: HardReset", 5, "one number expected"),
        ("short x: HardReset", 5, "one number expected"),
        ("short 3 4: HardReset", 5, "one number expected"),
        ("short ²: HardReset", 5, "one number expected"),
        ("short 3: HardRest", 8, "near it: HardReset"),
        ("short 3: 1234567", 8, "'dccwire encode --types' lists all"),
        ("short 3: HardReset;", 19, "no instruction ''"),
        ("short 3: HardReset now", 19, "FIELD=VALUE expected"),
        ("short 3: FactoryTest d=1 d=0", 25, "given twice"),
        ("short 3: FactoryTest", 20, "field 'd' is missing"),
        ("short 3: FactoryTest d=1 e=1", 25, "unknown field 'e'"),
        ("short 3: FactoryTest d=one", 21, "an integer expected"),
        ("broadcast: SystemTime time=4s", 22, "an integer in ms expected"),
        ("short 3: SetExtendedAddressing extended=1", 31, "yes or no expected"),
        ("short 3: FunctionGroupOne functions=F5", 26, "a list of F1, F2, F3, F4, FL expected"),
        ("short 3: Undefined data=8", 19, "bytes as hex digits expected"),
        (
            "short 3: CvAccessLongForm operation=erase cv=1 value=1",
            26,
            "write or verify expected",
        ),
        ("short 3: SpeedAndDirection step=6", 33, "fields 'steps', 'forward' are missing"),
        ("short 3: SpeedAndDirection", 26, "fields 'forward', 'c', 'speed' are missing"),
        ("short 3: SpeedAndDirection c=1 forward=no", 41, "field 'speed' is missing"),
    ],
)
def test_text_that_cannot_be_read_says_where_and_what_helps(text, position, words) -> None:
    """The position counts from the start of the text."""
    with refused(TextError, Reason.TEXT, re.escape(words), position=position) as caught:
        Packet.from_text(text)
    assert caught.value.text in (text, text.partition(":")[0])


@pytest.mark.parametrize(
    ("text", "position", "field", "bound", "value"),
    [
        ("short 128: HardReset", 6, "short address", "1 to 127", 128),
        ("long 010240: HardReset", 6, "long address", "0 to 10239", 10240),
        ("short 3: SpeedStepControl128 step=127 forward=yes", 29, "step", "0 to 126", 127),
        ("short 3: SpeedAndDirection steps=28 step=29 forward=yes", 36, "step", "0 to 28", 29),
        ("short 3: SpeedAndDirection step=6 steps=27 forward=yes", 34, "steps", "14 or 28", 27),
        ("short 3: CvBitManipulation operation=write cv=1 bit=8 value=1", 48, "bit", "0 to 7", 8),
        ("short 3: AnalogFunctionGroup output=2 value=1", 29, "output", "1", 2),
        ("broadcast: ModelDate day=32 month=1 year=9", 21, "day", "1 to 31", 32),
        (
            "short 3: Idle; SpeedAndDirection step=3 steps=28 forward=yes headlight=yes",
            61,
            "headlight",
            "None at 28 steps",
            True,
        ),
        (
            "short 3: HardReset;  SpeedAndDirection step=3 steps=14 forward=yes",
            21,
            "headlight",
            "True or False at 14 steps",
            None,
        ),
    ],
)
def test_text_with_a_value_out_of_bounds_names_field_bound_and_value(
    text, position, field, bound, value
) -> None:
    """As the constructor's error does, and where it stands."""
    with refused(FieldError, field=field, bound=bound, value=value) as caught:
        Packet.from_text(text)
    assert caught.value.hint.endswith(f", position {position}")


GOOD = dccwire.decode(bytes.fromhex("03EC0314F8")).to_dict()
CV = GOOD["instructions"][0]
KINDS = (
    "broadcast or idle or short or long or reserved or accessory-byte or accessory"
    " or extended-accessory or programming-track"
)


@pytest.mark.parametrize(
    ("change", "path", "expected"),
    [
        ({"address": 3}, "address", "an object with kind and number"),
        ({"address": {"kind": "short"}}, "address", "an object with kind and number"),
        (
            {"address": {"kind": "short", "number": 3, "more": 1}},
            "address",
            "an object with kind and number",
        ),
        ({"address": {"kind": "shirt", "number": 3}}, "address.kind", KINDS),
        ({"address": {"kind": 3, "number": 3}}, "address.kind", KINDS),
        ({"address": {"kind": "short", "number": "3"}}, "address.number", "an integer"),
        ({"address": {"kind": "short", "number": True}}, "address.number", "an integer"),
        ({"instructions": {}}, "instructions", "a list"),
        ({"instructions": [3]}, "instructions[0]", "an object with a type"),
        ({"instructions": [CV, {}]}, "instructions[1]", "an object with a type"),
        ({"instructions": [{**CV, "type": "Cv"}]}, "instructions[0].type", "a type of instruction"),
        ({"instructions": [{**CV, "cv": "4"}]}, "instructions[0].cv", "an integer"),
        ({"instructions": [{**CV, "cv": 4.0}]}, "instructions[0].cv", "an integer"),
        (
            {"instructions": [{**CV, "operation": "erase"}]},
            "instructions[0].operation",
            "write or verify",
        ),
        (
            {"instructions": [{**CV, "operation": ["write"]}]},
            "instructions[0].operation",
            "write or verify",
        ),
        (
            {"instructions": [{**CV, "extra": 1}]},
            "instructions[0]",
            "the fields of CvAccessLongForm",
        ),
        (
            {"instructions": [{"type": "FactoryTest"}]},
            "instructions[0]",
            "the fields of FactoryTest",
        ),
        (
            {"instructions": [{"type": "FunctionGroupOne", "functions": "F1"}]},
            "instructions[0].functions",
            "a list of F1, F2, F3, F4, FL",
        ),
        (
            {"instructions": [{"type": "FunctionGroupOne", "functions": ["F9"]}]},
            "instructions[0].functions",
            "a list of F1, F2, F3, F4, FL",
        ),
        (
            {"instructions": [{"type": "SetExtendedAddressing", "extended": 1}]},
            "instructions[0].extended",
            "true or false",
        ),
        (
            {"instructions": [{"type": "Reserved", "data": 3}]},
            "instructions[0].data",
            "bytes as hex digits",
        ),
        (
            {"instructions": [{"type": "Reserved", "data": "3"}]},
            "instructions[0].data",
            "bytes as hex digits",
        ),
        ({"mode": "playing"}, "mode", "operations or service"),
        ({"mode": None}, "mode", "operations or service"),
        ({"bytes": "03 EC 03 14 F9"}, "bytes", "'03 EC 03 14 F8'"),
        ({"sound": 1}, "sound", "no such field"),
    ],
)
def test_json_of_the_wrong_shape_names_the_path(change: dict, path: str, expected: str) -> None:
    """The error holds the path of the field and what is expected there."""
    with refused(ShapeError, path=path, expected=expected):
        Packet.from_dict({**GOOD, **change})


@pytest.mark.parametrize("plain", [None, 3, [], "x", {}, {"address": 1}])
def test_json_that_is_no_packet_is_refused(plain: object) -> None:
    """An object with address and instructions is needed."""
    with refused(ShapeError, path="packet", actual=plain):
        Packet.from_dict(plain)


def test_mode_and_bytes_may_be_left_out_of_json() -> None:
    """They follow from the rest."""
    short = {name: GOOD[name] for name in ("address", "instructions")}
    assert Packet.from_dict(short) == dccwire.decode(bytes.fromhex("03EC0314F8"))


def test_named_steps_read_from_json_too() -> None:
    """The named way `at` takes the same fields."""
    plain = {
        "address": {"kind": "short", "number": 55},
        "instructions": [{"type": "SpeedAndDirection", "step": 6, "steps": 28, "forward": True}],
    }
    assert bytes(Packet.from_dict(plain)).hex() == "377443"


def test_none_as_a_choice_is_null_in_json_and_none_in_text() -> None:
    """A CV access to a whole accessory decoder names no output (S-9.2.1 §D)."""
    text = "accessory 5: BasicAccessoryCvAccess output=none operation=verify cv=1 value=7"
    packet = Packet.from_text(text)
    assert packet.to_dict()["instructions"][0]["output"] is None
    assert str(packet) == text
    seven = Packet.from_text(text.replace("none", "7"))
    assert seven.to_dict()["instructions"][0]["output"] == 7
    with refused(FieldError, field="output", bound="0, 1, 2, 3, 4, 5, 6, 7 or None", value=8):
        dccwire.BasicAccessoryCvAccess(8, dccwire.CvOperation.VERIFY, 1, 7)


def refusal(make: Callable[[object], Packet], made: object) -> str:
    """What the library says against it; empty if it makes a packet, whose text gives it back."""
    try:
        packet = make(made)
    except dccwire.DccwireError as error:
        return str(error)
    assert Packet.from_text(str(packet)) == packet
    return ""


@given(st.text(max_size=60))
@settings(max_examples=500)
def test_any_text_gives_a_packet_or_an_error_of_the_library(text: str) -> None:
    """No other exception comes out."""
    for made in (text, f"short 3: {text}", f"short 3: CvAccessLongForm {text}"):
        assert "\n" not in refusal(Packet.from_text, made)


@given(packets(), st.integers(0, 80), st.integers(0, 8), st.text("0129=,-: ;FLyesno", max_size=4))
@settings(max_examples=500)
def test_text_with_a_few_wrong_letters_gives_a_packet_or_an_error_of_the_library(
    packet: Packet, begin: int, size: int, odd: str
) -> None:
    """No other exception comes out, and what is read is written in a way that reads back."""
    text = str(packet)
    assert "\n" not in refusal(Packet.from_text, text[:begin] + odd + text[begin + size :])


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["kind", "number", "type", "cv", "address", "instructions", "mode"]),
            inner,
        )
    ),
    max_leaves=8,
)


@given(JSON)
@settings(max_examples=500)
def test_any_json_gives_a_packet_or_an_error_of_the_library(plain: object) -> None:
    """No other exception comes out, wherever the odd value stands."""
    for made in (plain, {**GOOD, "address": plain}, {**GOOD, "instructions": [plain]}):
        assert "\n" not in refusal(Packet.from_dict, made)


@given(packets(), st.integers(0), JSON)
@settings(max_examples=500)
def test_json_with_one_odd_value_gives_a_packet_or_an_error_of_the_library(
    packet: Packet, number: int, odd: object
) -> None:
    """No other exception comes out, wherever in the address or an instruction it stands."""
    plain = packet.to_dict()
    del plain["bytes"]
    parts = [plain["address"], *plain["instructions"]]
    part, name = (places := [(one, name) for one in parts for name in one])[number % len(places)]
    part[name] = odd
    assert "\n" not in refusal(Packet.from_dict, plain)


def test_addresses_read_alone() -> None:
    """Text and JSON of each kind."""
    for text in ("broadcast", "idle", "short 3", "long 0", "reserved 240", "accessory-byte 130"):
        address = address_from_text(text)
        assert address_text(address) == text
        plain = {"kind": address.kind, "number": address.number}
        assert address_from_plain(plain, "a") == address


def test_the_base_of_field_kinds_is_not_for_use() -> None:
    """Its forms belong to the kinds made from it."""
    for call in (
        lambda kind: kind.plain(1),
        lambda kind: kind.value("a", 1),
        lambda kind: kind.of_bits("a", 1, 0, 1),
    ):
        with pytest.raises(NotImplementedError):
            call(FieldKind())


def test_types_are_listed_with_what_their_fields_allow() -> None:
    """Numbers with bounds and unit, words one by one, names of functions; each way of its own."""
    lines = dict(line.split(": ", 1) for line in types_in_words(width=1000))
    assert list(lines) == list(INSTRUCTION_TYPES)
    assert lines["CvAccessLongForm"] == (
        "operation (write or verify), cv (1 to 1024), value (0 to 255) "
        "[S-9.2.1 §C, CV access long form]"
    )
    assert lines["FunctionGroupOne"].startswith(
        "functions (none, or some, joined by commas, of F1 F2 F3 F4 FL) ["
    )
    assert lines["SpeedStepControl128"].startswith(
        "forward (yes or no), speed (0 to 127); or step, forward (yes or no) ["
    )
    assert lines["AnalogFunctionGroup"].startswith("output (1), value (0 to 255) [")
    assert lines["SystemTime"].startswith("time (0 to 65535ms) [")
    assert lines["HardReset"].startswith("no fields [")
    assert lines["Undefined"] == "data (hex digits, two a byte)"


def test_f0_is_read_as_fl_and_fl_is_written() -> None:
    """The trade's name, in text and in JSON."""
    text = "short 3: FunctionGroupOne functions=F0,F1"
    packet = Packet.from_text(text)
    assert str(packet) == "short 3: FunctionGroupOne functions=F1,FL"
    plain = packet.to_dict()
    plain["instructions"][0]["functions"] = ["F1", "F0"]
    assert Packet.from_dict(plain) == packet
    for wrong in ("F00", "FL-forward", "F0,F5", "F0-forward"):
        with refused(TextError, Reason.TEXT, "a list of F1, F2, F3, F4, FL expected"):
            Packet.from_text(f"short 3: FunctionGroupOne functions={wrong}")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[" * 50_000, "JSON that is not nested so deep expected"),
        ("NaN", "JSON (NaN is none) expected"),
        ("[-Infinity]", "JSON (-Infinity is none) expected"),
        ("1" * 20, "JSON (a number of so many digits is none) expected"),
        ("-" + "9" * 5000, "JSON (a number of so many digits is none) expected"),
        ("{", "JSON (Expecting property name"),
    ],
)
def test_json_text_that_cannot_be_used_is_one_short_line(text: str, words: str) -> None:
    """However long it is, or deep."""
    with refused(ShapeError, match=f"^here: {re.escape(words)}", path="here") as caught:
        plain_from_json(text, "here")
    assert len(str(caught.value)) < 200
    assert plain_from_json("1" * 19, "here") == int("1" * 19)
