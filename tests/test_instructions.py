"""What instructions offer beside their bits: steps, groups, numbers, and their errors."""

import pytest

import dccwire
from dccwire import (
    AccessoryAddress,
    ExtendedAccessoryAddress,
    FieldError,
    FunctionGroupOne,
    FunctionsF13F20,
    LongAddress,
    PairNumbering,
    Provenance,
    RestrictedSpeedStep,
    ShortAddress,
    SpeedAndDirection,
    SpeedStepControl128,
    extended_of_number,
    function_group,
    number_of_pair,
    pair_of_number,
)
from dccwire.instructions.speed_and_direction import code_of_step, step_of_code
from refusals import refused

ONE, ZERO = PairNumbering.FROM_DECODER_ONE, PairNumbering.FROM_DECODER_ZERO


def told(call, *arguments, **named) -> tuple[str, str, object]:
    """Field, bound and value of the error that a call ends with."""
    with refused(FieldError) as caught:
        call(*arguments, **named)
    return caught.value.field, caught.value.bound, caught.value.value


def test_steps_out_of_bounds_are_refused() -> None:
    """28 and 14 steps, S-9.2 §B and S-9.2.1 §C."""
    assert told(code_of_step, 29, 28) == ("step", "0 to 28", 29)
    assert told(code_of_step, 15, 14, headlight=True) == ("step", "0 to 14", 15)
    assert told(code_of_step, -1, 28) == ("step", "0 to 28", -1)
    assert told(code_of_step, 6.0, 28) == ("step", "0 to 28", 6.0)
    assert told(code_of_step, 6, 27) == ("steps", "14 or 28", 27)
    assert told(step_of_code, 0, 3, 128) == ("steps", "14 or 28", 128)
    assert told(SpeedStepControl128.at, step=127, forward=True) == ("step", "0 to 126", 127)


def test_the_headlight_is_given_where_it_shares_the_byte_and_nowhere_else() -> None:
    """C is the headlight at 14 steps (X18), a speed bit at 28."""
    field, bound, value = told(code_of_step, 6, 14)
    assert (field, value) == ("headlight", None)
    assert "14 steps" in bound
    hint = "there C is a speed bit"
    with refused(FieldError, field="headlight", bound="None at 28 steps", value=True, hint=hint):
        code_of_step(6, 28, headlight=True)


def test_speeds_in_words() -> None:
    """Both readings where both are possible."""
    assert SpeedAndDirection.stop(forward=True).in_words() == "stop; 14 steps: headlight off"
    assert SpeedAndDirection.emergency_stop(forward=True, c=1).in_words() == (
        "emergency stop; 14 steps: headlight on"
    )
    assert SpeedStepControl128(True, 0).in_words() == "stop"
    assert SpeedStepControl128(True, 1).in_words() == "emergency stop"
    assert SpeedStepControl128(True, 2).in_words() == "step 1 of 126"
    limit = RestrictedSpeedStep.at(step=7, steps=14, enabled=True)
    assert limit.in_words() == "28 steps: step 13; 14 steps: step 7"
    assert (limit.step(14), limit.step(28)) == (7, 13)
    assert dccwire.HardReset().in_words() == ""


def test_stops_are_built_with_c_0() -> None:
    """Of the two codes of a stop the one that leaves the direction (C6), if not asked otherwise."""
    for forward in (False, True):
        assert SpeedAndDirection.stop(forward=forward) == SpeedAndDirection(forward, 0, 0)
        assert SpeedAndDirection.emergency_stop(forward=forward) == SpeedAndDirection(forward, 0, 1)


@pytest.mark.parametrize("cls", [SpeedAndDirection, SpeedStepControl128])
@pytest.mark.parametrize("forward", [True, False])
def test_stops_are_asked_for_alike(cls, forward: bool) -> None:
    """The same two ways and two questions, whatever the number of steps; speed 0 and 1."""
    stop, emergency = cls.stop(forward=forward), cls.emergency_stop(forward=forward)
    assert (stop.speed, emergency.speed) == (0, 1)
    assert (stop.forward, emergency.forward) == (forward, forward)
    assert (stop.is_stop, stop.is_emergency_stop) == (True, False)
    assert (emergency.is_stop, emergency.is_emergency_stop) == (True, True)
    steps = {} if cls is SpeedStepControl128 else {"steps": 28}
    first = cls.at(step=1, forward=forward, **steps)
    assert (first.speed, first.is_stop, first.is_emergency_stop) == (2, False, False)


def test_what_is_derived_says_so() -> None:
    """The two fixed zeros of restricted speed; what stands beside it is printed."""
    assert RestrictedSpeedStep.format.provenance is Provenance.DERIVED
    assert SpeedStepControl128.format.provenance is Provenance.PUBLISHED


@pytest.mark.parametrize(
    ("state", "reasons"),
    [
        (0, []),
        (1, ["discouraged"]),
        (127, ["discouraged"]),
        (128, []),
        (32767, []),
    ],
)
def test_low_binary_states_belong_in_the_short_form(state: int, reasons: list[str]) -> None:
    """1 to 127 (X21); 0 stands for all of the long form's."""
    one = dccwire.BinaryStateLongForm(on=True, state=state)
    assert [remark.reason.value for remark in one.remarks()] == reasons
    assert list(dccwire.BinaryStateShortForm(on=True, state=min(state, 127)).remarks()) == []


def test_a_group_holds_the_functions_that_are_on() -> None:
    """As a collection of names; other names, and what is no name, are not in it."""
    group = FunctionGroupOne.on("F1", "FL")
    assert list(group) == ["F1", "FL"]
    assert [name in group for name in ("F1", "F2", "FL", "F5", "")] == [
        True,
        False,
        True,
        False,
        False,
    ]
    assert 1 not in group
    assert list(FunctionsF13F20.on()) == []


def test_restricted_speed_is_sent_as_0_to_enable() -> None:
    """X16, X15: 00111110 E00CSSSS with the code of 28 steps; step 28 is 11111."""
    assert bytes(RestrictedSpeedStep.at(step=28, steps=28, enabled=True)) == b"\x3e\x1f"
    assert bytes(RestrictedSpeedStep.at(step=28, steps=28, enabled=False)) == b"\x3e\x9f"


@pytest.mark.parametrize("state", ["no", 0, 1, None])
def test_a_function_is_switched_to_true_or_false(state: object) -> None:
    """Not to what may be meant as either: 'no' would be true."""
    with refused(FieldError, field="F1", bound="True or False", value=state):
        FunctionGroupOne.on("FL").switched("F1", state)


@pytest.mark.parametrize("name", [1, ["F1"], None, True])
def test_functions_have_names(name: object) -> None:
    """Numbers and lists are refused as a name that the group has not."""
    with refused(FieldError, field="function", value=name):
        FunctionGroupOne.on(name)


def test_groups_are_switched_by_name() -> None:
    """One function changes, its neighbours stay; names outside the group are refused."""
    group = FunctionGroupOne.on("F1", "FL")
    assert group.switched("F3", True) == FunctionGroupOne.on("F1", "F3", "FL")
    assert group.switched("F1", False).names_on == ("FL",)
    assert group.names() == ("F1", "F2", "F3", "F4", "FL")
    assert [group[name] for name in group.names()] == [True, False, False, False, True]
    bound = "F1, F2, F3, F4 or FL"
    assert told(FunctionGroupOne.on, "F5") == ("function", bound, "F5")
    assert told(group.switched, "F5", True) == ("function", bound, "F5")
    assert told(group.__getitem__, "F5") == ("function", bound, "F5")


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("FL", "90"),
        ("F0", "90"),
        ("F1", "81"),
        ("F4", "88"),
        ("F5", "b1"),
        ("F8", "b8"),
        ("F9", "a1"),
        ("F12", "a8"),
        ("F13", "de01"),
        ("F20", "de80"),
        ("F21", "df01"),
        ("F28", "df80"),
    ],
)
def test_each_function_has_its_group_and_bit(name: str, data: str) -> None:
    """S-9.2.1 §C, function groups and feature expansion; bytes worked by hand."""
    assert bytes(function_group(name).on("FL" if name == "F0" else name)).hex() == data


def test_functions_without_a_group_are_refused() -> None:
    """The 2012 edition ends at F28."""
    assert told(function_group, "F29") == ("function", "FL (for F0) or F1 to F28", "F29")
    assert FunctionsF13F20.on().names_on == ()


def test_pair_numbers_are_refused_where_there_is_no_pair() -> None:
    """Numbers below 1, the broadcast's addresses, pairs and types out of bounds (V9, X30)."""
    number = "number of the pair"
    assert told(number_of_pair, AccessoryAddress(0), 0, numbering=ONE) == (
        "number of accessory 0",
        "1 or more",
        -3,
    )
    assert told(number_of_pair, ExtendedAccessoryAddress(3), numbering=ONE) == (
        "number of extended-accessory 3",
        "1 or more",
        0,
    )
    assert told(number_of_pair, AccessoryAddress(511), 0, numbering=ZERO) == (
        "accessory address",
        "0 to 510",
        511,
    )
    assert told(number_of_pair, ExtendedAccessoryAddress(2047), numbering=ZERO) == (
        "extended-accessory address",
        "0 to 2046",
        2047,
    )
    for pair in (4, -1, None, True):
        assert told(number_of_pair, AccessoryAddress(5), pair, numbering=ONE) == (
            "pair",
            "0 to 3",
            pair,
        )
    assert told(number_of_pair, ExtendedAccessoryAddress(5), 0, numbering=ONE)[0] == "pair"
    assert told(pair_of_number, 0, numbering=ONE) == (number, "1 to 2040", 0)
    assert told(pair_of_number, 2041, numbering=ONE) == (number, "1 to 2040", 2041)
    assert told(pair_of_number, 2045, numbering=ZERO) == (number, "1 to 2044", 2045)
    assert told(extended_of_number, 2044, numbering=ONE) == (number, "1 to 2043", 2044)
    assert told(extended_of_number, 2048, numbering=ZERO) == (number, "1 to 2047", 2048)


def test_a_numbering_is_its_member_or_its_value_and_nothing_else() -> None:
    """1 and 0 are the decoder addresses at which numbers begin (V9)."""
    assert number_of_pair(AccessoryAddress(31), 0, numbering=1) == 121
    assert pair_of_number(125, numbering=0) == (AccessoryAddress(31), 0)
    calls = [
        lambda numbering: number_of_pair(AccessoryAddress(31), 0, numbering=numbering),
        lambda numbering: pair_of_number(121, numbering=numbering),
        lambda numbering: extended_of_number(121, numbering=numbering),
    ]
    for call in calls:
        for wrong in ("x", None, 2, "from-decoder-one"):
            assert told(call, wrong) == ("numbering", "1 or 0", wrong)


def test_usable_decoder_addresses_give_all_numbers_once() -> None:
    """Pairs 1 to 2040 are those of addresses 1 to 510."""
    numbers = [
        number_of_pair(AccessoryAddress(address), pair, numbering=ONE)
        for address in range(1, 511)
        for pair in range(4)
    ]
    assert numbers == list(range(1, 2041))


def test_addresses_know_bounds_bytes_and_kind() -> None:
    """S-9.2.1 §A; a short and a long address of one number differ."""
    assert LongAddress(10239).header == bytes.fromhex("E7FF")
    assert LongAddress(0).header == bytes.fromhex("C000")
    assert ShortAddress(5) != LongAddress(5)
    assert hash(ShortAddress(5)) != hash(LongAddress(5))
    assert ShortAddress(5) != 5
    for wrong in (0, 128, True, "3", 3.0):
        assert told(ShortAddress, wrong) == ("short address", "1 to 127", wrong)
    assert told(LongAddress, 10240) == ("long address", "0 to 10239", 10240)
    assert (dccwire.BROADCAST.number, dccwire.IDLE.number) == (0, 255)
    assert repr(ShortAddress(3)) == "ShortAddress(number=3)"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "accessory 31: BasicAccessory active=yes pair=0 output=1",
            "pair 121, or 125 from",
        ),
        ("accessory 0: BasicAccessory active=yes pair=3 output=1", "pair 4 from decoder address 0"),
        ("accessory 511: BasicAccessory active=no pair=0 output=0", "the broadcast: every"),
        ("extended-accessory 4: ExtendedAccessory aspect=2", "number 1, or 5 from"),
        ("short 3: FunctionsF29F36 functions=F29", "FunctionsF29F36 is defined later"),
        ("accessory 5: LegacyAccessoryCvAccess cv=1 value=7", ""),
    ],
)
def test_words_beside_a_packet(text: str, words: str) -> None:
    """Operators' numbers in both numberings (V9), and where a form is from memory."""
    packet = dccwire.Packet.from_text(text)
    assert any(line.startswith(words) for line in packet.in_words()) is bool(packet.in_words())
    assert bool(packet.in_words()) is bool(words)


@pytest.mark.parametrize(
    ("hexes", "words"),
    [
        ("006060", ("stop", "also broadcast stop (S-9.2 §B, Broadcast Stop)")),
        (
            "007070",
            (
                "stop; the direction may be ignored (C6)",
                "also broadcast stop (S-9.2 §B, Broadcast Stop)",
            ),
        ),
        ("03D801DA", ("FunctionsF29F36 is defined later (from memory)",)),
        ("000000", ("also reset (S-9.2 §B, Reset)",)),
        (
            "03E4000000E7",
            ("also extended CV access, read (from memory: RCN-214)",),
        ),
    ],
)
def test_words_beside_a_packet_cite_whole(hexes: str, words: tuple[str, ...]) -> None:
    """Each reading with its clause, word for word."""
    assert dccwire.decode(bytes.fromhex(hexes)).in_words() == words


def test_f0_is_fl_in_every_mask() -> None:
    """It is asked for by either name, and printed as FL."""
    group = dccwire.FunctionGroupOne.on("F0", "F2")
    assert [name in group for name in ("F0", "FL", "F2", "F1", "F5")] == [
        True,
        True,
        True,
        False,
        False,
    ]
    assert "F0" not in dccwire.FunctionGroupTwoF5F8.on("F5")
    packet = dccwire.decode(bytes.fromhex("03 3C 83 01 BD"))
    assert str(packet).endswith("functions=FL")
    assert dccwire.Packet.from_text(str(packet).replace("FL", "F0")) == packet
