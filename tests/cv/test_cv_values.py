"""What CVs hold as typed values: the numbers of S-9.2.2, worked by hand, and the way back."""

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import AccessoryAddress, LongAddress, PairNumbering, ShortAddress, cv
from dccwire.cv.kinds import Octets
from dccwire.cv.values import VALUE_TYPES, CvValue, cv_value
from dccwire.errors import FieldError, LayoutError, ShapeError
from dccwire.fields import Choice, FieldKind, Flag, Functions, Number
from dccwire.formats import Provenance
from refusals import refused

BY_HAND = [
    # S-9.2.2 by number; each pair put down from the text's bit numbers, not from a layout line.
    (cv.PrimaryAddress(), {1: 3}),
    (cv.PrimaryAddress(127), {1: 127}),
    (cv.StartVoltage(7), {2: 7}),
    (cv.AccelerationRate(2), {3: 2}),
    (cv.DecelerationRate(255), {4: 255}),
    (cv.HighVoltage(200), {5: 200}),
    (cv.MidVoltage(100), {6: 100}),
    (cv.PwmPeriod(exponent=3, mantissa=17), {9: 3 * 32 + 17}),
    (cv.EmfFeedbackCutout(128), {10: 128}),
    (cv.PacketTimeOut(9), {11: 9}),
    (cv.PowerSourceConversion(sources=1), {12: 1}),
    (cv.PowerSourceConversion(reserved=2), {12: 128}),
    (cv.AlternatePowerFunctions.on("F1", "F8", "FL-reverse", "F12"), {13: 129, 14: 34}),
    (cv.DecoderLockKey(key=3, number=2), {15: 3, 16: 2}),
    (cv.ExtendedAddress(0), {17: 192, 18: 0}),
    (cv.ExtendedAddress(3000), {17: 203, 18: 184}),
    (cv.ExtendedAddress(10239), {17: 231, 18: 255}),
    (cv.ConsistAddress(reversed=True, address=1), {19: 129}),
    (cv.LongConsistAddress.at(10239, reversed=True), {19: 128 + 39, 20: 102}),
    (cv.LongConsistAddress.at(199, reversed=False), {19: 99, 20: 1}),
    (cv.ConsistFunctions(), {21: 0, 22: 0}),
    (cv.ConsistFunctions.on("FL-forward", "F5", "F9"), {21: 16, 22: 5}),
    (cv.AccelerationAdjustment.by(127), {23: 127}),
    (cv.DecelerationAdjustment.by(-1), {24: 129}),
    (cv.SpeedTableChoice(2), {25: 2}),
    (cv.SpeedTableChoice.mid_at(26), {25: 154}),
    (cv.AutomaticStopping(asymmetry_left=True, cutout_signal=True), {27: 6}),
    (cv.AutomaticStopping(reverse_dc=True), {27: 16}),
    (cv.AutomaticStopping(reserved=0b110), {27: 192}),
    (cv.BidirectionalConfiguration(by_asymmetric_signal=True), {28: 2}),
    (cv.BidirectionalConfiguration(by_signal_controlled_influence=True), {28: 4}),
    (cv.Configuration(direction_reversed=True), {29: 1}),
    (cv.Configuration(headlight_in_function_group=True), {29: 2}),
    (cv.Configuration(power_source_conversion=True), {29: 4}),
    (cv.Configuration(bidirectional_communication=True), {29: 8}),
    (cv.Configuration(speed_table=True), {29: 16}),
    (cv.Configuration(extended_addressing=True), {29: 32}),
    (cv.Configuration(reserved=1), {29: 64}),
    (cv.ErrorInformation(5), {30: 5}),
    (cv.IndexPage(high=16, low=3), {31: 16, 32: 3}),
    (
        # S-9.2.2, Table 2, as printed
        cv.OutputLocations(),
        dict(zip(range(33, 47), [1, 2, 4, 8, 16, 4, 8, 16, 32, 64, 16, 32, 64, 128], strict=True)),
    ),
    (cv.KickStart(1), {65: 1}),
    (cv.ForwardTrim(130), {66: 130}),
    (cv.SpeedTable(tuple(range(100, 128))), {67 + n: 100 + n for n in range(28)}),
    (cv.ReverseTrim(120), {95: 120}),
    (cv.UserIdentification(first=4, second=2), {105: 4, 106: 2}),
    (cv.DecoderLoad(bit_7=1, amount=127), {892: 255}),
    (cv.DynamicFlags(8), {893: 8}),
    (cv.FuelLevel(254), {894: 254}),
    (cv.WaterLevel(0), {895: 0}),
    (cv.AccessoryDecoderAddressing(), {1: 1, 9: 0}),
    (cv.AccessoryDecoderAddressing(510), {1: 62, 9: 7}),
    (cv.AccessoryDecoderAddressing(5, reserved_low=1, reserved_high=1), {1: 69, 9: 8}),
    (cv.AccessoryOutputAddressing(), {1: 1, 9: 0}),
    (cv.AccessoryOutputAddressing(2047), {1: 255, 9: 7}),
    (cv.AccessoryOutputAddressing(256), {1: 0, 9: 1}),
    (cv.AccessoryOnTime(f1=1, f4=9), {3: 1, 4: 0, 5: 0, 6: 9}),
    (cv.AccessoryOnTime(f2=1, f3=9), {3: 0, 4: 1, 5: 9, 6: 0}),
    (cv.AccessoryBidirectionalConfiguration(), {28: 0}),
    (cv.AccessoryConfiguration(), {29: 128}),
    (cv.AccessoryConfiguration(bidirectional_communication=True), {29: 136}),
    (cv.AccessoryConfiguration(extended=True, output_addressing=True), {29: 224}),
]


@pytest.mark.parametrize(("value", "cvs"), BY_HAND, ids=lambda one: str(one)[:40])
def test_values_have_the_cvs_of_the_text_and_come_back(value: CvValue, cvs: dict) -> None:
    """Both ways, through text, JSON and pickle too."""
    assert value.to_cvs() == cvs
    assert type(value).from_cvs(cvs) == value
    assert cv.value_from_text(str(value)) == value
    assert cv.value_from_plain(cv.value_to_plain(value)) == value
    assert pickle.loads(pickle.dumps(value)) == value
    assert len({value, type(value).from_cvs(cvs)}) == 1


def test_every_value_is_worked_by_hand_once() -> None:
    """No format is without a number put down by hand."""
    assert {type(value) for value, _ in BY_HAND} == set(VALUE_TYPES.values())


@pytest.mark.parametrize("cls", VALUE_TYPES.values(), ids=lambda cls: cls.__name__)
def test_every_bit_of_every_layout_is_covered_once(cls: type[CvValue]) -> None:
    """Fixed, or of exactly one field; the clause cites the standard or says from memory."""
    owned = [bit for bit in cls.layout.bits if bit.field]
    assert len(owned) == sum(field.width for field in cls.layout.fields.values())
    fixed = [bit for bit in cls.layout.bits if bit.fixed is not None]
    assert len(owned) + len(fixed) == 8 * len(cls.cvs)
    memory = cls.provenance is Provenance.FROM_MEMORY
    assert cls.clause.startswith("from memory: " if memory else "S-9.2.2, CV ")
    assert cls.__name__ in cv.__all__


@pytest.mark.parametrize("cls", VALUE_TYPES.values(), ids=lambda cls: cls.__name__)
@given(data=st.data())
def test_what_is_read_is_written_back_bit_for_bit(cls: type[CvValue], data) -> None:
    """Reserved bits are kept; what cannot be held is refused by an error with its data."""
    values = {number: data.draw(st.integers(0, 255)) for number in cls.cvs}
    refused = None
    try:
        one = cls.from_cvs(values)
    except FieldError as error:
        refused = error
    if refused:
        fields = {*cls.kinds, *(f"CV {number}" for number in values)}
        assert refused.field in fields | {"address"}  # of which some have parts
    else:
        assert one.to_cvs() == values
        assert "\n" not in one.in_words()


def test_fixed_bits_that_differ_are_refused_by_name() -> None:
    """CV 29 bit 7 is an accessory decoder's; an address of CV 1 has seven bits."""
    for cls, values, field, bound in [
        (cv.Configuration, {29: 134}, "CV 29", "bit 7 = 0"),
        (cv.PrimaryAddress, {1: 128}, "CV 1", "bit 7 = 0"),
        (cv.LongConsistAddress, {19: 0, 20: 128}, "CV 20", "bit 7 = 0"),
        (cv.AccessoryConfiguration, {29: 6}, "CV 29", "bit 7 = 1"),
    ]:
        with refused(FieldError, field=field, bound=bound, value=values[int(field[3:])]):
            cls.from_cvs(values)


def test_cv_17_runs_from_192_to_231() -> None:
    """No other value makes a long address (S-9.2.2, CV 17)."""
    legal = []
    for high in range(256):
        try:
            cv.ExtendedAddress.from_cvs({17: high, 18: 0})
        except FieldError:
            continue
        legal.append(high)
    assert legal == list(range(192, 232))


@pytest.mark.parametrize(("high", "legal"), [(191, 0), (192, 1), (231, 1), (232, 0), (255, 0)])
@pytest.mark.parametrize("low", [{}, {18: 0}, {18: 255}])
def test_what_cv_17_cannot_be_is_told_whatever_cv_18_is(high: int, legal: int, low: dict) -> None:
    """With the clause of the range, and above it that of the first bytes of packets."""
    (reading,) = cv.explain_cvs({17: high, **low})[0].readings
    told = (
        f"CV 17: 192 to 231 expected, {high} given; 192 + address div 256 (S-9.2.2, CV 17 and 18)"
    )
    if high > 231:
        told += "; S-9.2.1 §A reserves 232 to 254, and 255 is the idle packet's"
    assert reading.notes[not low :] == (() if legal else (told,))


def test_a_missing_cv_and_a_value_that_is_no_byte_are_refused() -> None:
    """Field, bound and value say which."""
    with refused(FieldError, field="CV 18", hint="ExtendedAddress needs it"):
        cv.ExtendedAddress.from_cvs({17: 196})
    for wrong in (-1, 256, 1.0, True):
        with refused(FieldError, field="CV 2", value=wrong):
            cv.StartVoltage.from_cvs({2: wrong})


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: cv.ExtendedAddress(10240), "address"),
        (lambda: cv.ExtendedAddress(-1), "address"),
        (lambda: cv.PrimaryAddress(128), "address"),
        (lambda: cv.ConsistAddress(reversed=1, address=1), "reversed"),
        (lambda: cv.LongConsistAddress.at(10240, reversed=False), "address"),
        (lambda: cv.LongConsistAddress(rest=100), "rest"),
        (lambda: cv.LongConsistAddress(hundreds=103), "hundreds"),
        (lambda: cv.IndexPage(high=15, low=0), "high"),
        (lambda: cv.IndexPage.of(61440), "index page"),
        (lambda: cv.IndexPage.of(-1), "index page"),
        (lambda: cv.SpeedTableChoice.mid_at(27), "step"),
        (lambda: cv.SpeedTableChoice.mid_at(0), "step"),
        (lambda: cv.SpeedTableChoice(2).mid_step(128), "steps"),
        (lambda: cv.AccelerationAdjustment.by(128), "amount"),
        (lambda: cv.DecelerationAdjustment.by(-128), "amount"),
        (lambda: cv.AccessoryOutputAddressing(0), "number"),
        (lambda: cv.AccessoryOutputAddressing(2048), "number"),
        (lambda: cv.AccessoryDecoderAddressing(512), "address"),
        (lambda: cv.ConsistFunctions(1 << 14), "functions"),
        (lambda: cv.ConsistFunctions.on("F29"), "function"),
        (lambda: cv.AlternatePowerFunctions.on("F"), "function"),
        (lambda: cv.OutputLocations().moved("F5", {3}), "output of F5"),
        (lambda: cv.OutputLocations().moved("F1", {9}), "output of F1"),
        (lambda: cv.OutputLocations().moved("F13", {9}), "function"),
        (lambda: cv.OutputLocations().outputs("FL"), "function"),
        (lambda: cv.SpeedTable((0,) * 29), "count of points"),
        (lambda: cv.SpeedTable((0,) * 27 + (256,)), "points, number 28"),
        (lambda: cv.SpeedTable([0] * 28), "points"),
        (lambda: cv.PrimaryAddress(0).to_address(), "short address"),
        (lambda: cv.PwmPeriod.of(130), "period_us"),
        (lambda: cv.PwmPeriod.of(32641), "period_us"),
    ],
)
def test_no_value_holds_what_is_illegal(make, field: str) -> None:
    """Field, bound and value stand in the error."""
    with refused(FieldError, match=": .+ expected, ", field=field):
        make()


def test_values_know_the_addresses_of_packets() -> None:
    """Short, long and accessory."""
    assert cv.PrimaryAddress(55).to_address() == ShortAddress(55)
    assert cv.ExtendedAddress(1205).to_address() == LongAddress(1205)
    assert cv.AccessoryDecoderAddressing(310).to_address() == AccessoryAddress(310)


@pytest.mark.parametrize("number", [1, 4, 5, 256, 257, 310, 2040])
def test_output_numbers_go_both_ways_in_both_readings(number: int) -> None:
    """V9: by the formula decoder address 0 is the first, by the words next to it 1."""
    value = cv.AccessoryOutputAddressing(number)
    output = number - 1
    for numbering, first in [
        (PairNumbering.FROM_DECODER_ZERO, 0),
        (PairNumbering.FROM_DECODER_ONE, 1),
    ]:
        address, pair = value.pair(numbering=numbering)
        assert (address.number, pair) == (output // 4 + first, output % 4)
        assert value.to_address(numbering=numbering).number == output + 4 * first
        assert cv.AccessoryOutputAddressing.of(address, pair, numbering=numbering) == value
        extended = value.to_address(numbering=numbering)
        assert cv.AccessoryOutputAddressing.of(extended, numbering=numbering) == value


def test_pwm_periods_are_those_of_the_formula() -> None:
    """(131 + mantissa x 4) x 2^exponent (V1), exact or refused with what is near."""
    for value in range(256):
        one = cv.PwmPeriod.from_cvs({9: value})
        assert one.period_us == (131 + (value % 32) * 4) * 2 ** (value // 32)
        assert cv.PwmPeriod.of(one.period_us).period_us == one.period_us
    with refused(FieldError, match="period_us: 131 expected, 130 given"):
        cv.PwmPeriod.of(130)
    with refused(FieldError, match="period_us: 32640 expected, 40000 given"):
        cv.PwmPeriod.of(40000)


def test_output_locations_reach_what_table_2_says() -> None:
    """F n is output n + 2 by default; CV 37 on reach others than CV 33 on."""
    where = cv.OutputLocations()
    assert where.outputs("FL-forward") == (1,)
    assert where.outputs("FL-reverse") == (2,)
    assert all(where.outputs(f"F{n}") == (n + 2,) for n in range(1, 13))
    assert where.moved("F4", {4, 11}).to_cvs()[38] == 0b10000001
    assert where.moved("F12", {7, 14}).to_cvs()[46] == 0b10000001
    assert where.moved("FL-forward", ()).outputs("FL-forward") == ()


def test_index_pages_are_61440() -> None:
    """CV 31 from 16 to 255 (S-9.2.2, CV 31 and 32)."""
    assert (256 - 16) * 256 == cv.INDEX_PAGES == 61_440
    assert cv.IndexPage.of(257) == cv.IndexPage(high=17, low=1)
    assert cv.IndexPage(high=255, low=255).number == 61_439


def test_register_pages_cover_every_cv_once() -> None:
    """Four CVs a page; page 256 is sent as 0 (P7)."""
    pages = [cv.page_of(number) for number in range(1, 1025)]
    assert len(set(pages)) == 1024
    assert [cv.cv_of(*page) for page in pages] == list(range(1, 1025))
    assert (pages[64], pages[1019], pages[1020]) == ((17, 0), (255, 3), (0, 0))
    for make, field in [
        (lambda: cv.page_of(0), "cv"),
        (lambda: cv.page_of(1025), "cv"),
        (lambda: cv.cv_of(256, 0), "page"),
        (lambda: cv.cv_of(1, 4), "register"),
    ]:
        with refused(FieldError, field=field):
            make()


@pytest.mark.parametrize(
    ("plain", "path", "expected"),
    [
        (None, "value", "an object with a type"),
        ([], "value", "an object with a type"),
        ("Configuration", "value", "an object with a type"),
        ({}, "value", "an object with a type"),
        ({"type": None}, "value", "an object with a type"),
        ({"type": ["ConsistAddress"]}, "value", "an object with a type"),
        ({"type": "configuration"}, "value.type", "a type of CV value"),
        ({"type": "ConsistAddress", "adress": 3}, "value", "the fields of ConsistAddress"),
        (
            {"type": "ConsistAddress", "address": 3, "cv": 1},
            "value",
            "the fields of ConsistAddress",
        ),
        ({"type": "ExtendedAddress"}, "value", "the fields of ExtendedAddress"),
        ({"type": "ConsistAddress", "address": True}, "value.address", "an integer"),
        ({"type": "ConsistAddress", "address": "3"}, "value.address", "an integer"),
        ({"type": "ConsistAddress", "address": 3.0}, "value.address", "an integer"),
        ({"type": "ConsistAddress", "reversed": 1}, "value.reversed", "true or false"),
        ({"type": "ConsistAddress", "reversed": "yes"}, "value.reversed", "true or false"),
        ({"type": "Configuration", "reserved": "bit-6"}, "value.reserved", "a list of bit-6"),
        ({"type": "Configuration", "reserved": ["bit-5"]}, "value.reserved", "a list of bit-6"),
        ({"type": "Configuration", "reserved": [[6]]}, "value.reserved", "a list of bit-6"),
        ({"type": "SpeedTable", "points": 7}, "value.points", "a list of integers"),
    ],
)
def test_json_of_another_shape_names_the_path(plain, path: str, expected: str) -> None:
    """Shapes, unknown fields, missing ones and values of another kind."""
    with refused(ShapeError, path=path, expected=expected):
        cv.value_from_plain(plain)


def test_json_may_leave_out_what_has_a_default() -> None:
    """And nothing else; what is out of bounds is refused as by the constructor."""
    assert cv.value_from_plain({"type": "ConsistAddress"}) == cv.ConsistAddress()
    plain = {"type": "SpeedTable", "points": [*range(27), 256]}
    with refused(FieldError, match="points, number 28: 0 to 255 expected, 256 given"):
        cv.value_from_plain(plain)
    with refused(FieldError, match="count of points: 28 expected, 27 given"):
        cv.value_from_plain({"type": "SpeedTable", "points": [0] * 27})


def test_declarations_that_do_not_fit_are_refused() -> None:
    """A byte a CV, fields of the kinds, a name of its own; nothing is declared then."""
    before = dict(VALUE_TYPES)
    with refused(LayoutError, match="1 byte, but 2 CVs"):

        @cv_value((1, 2), "AAAAAAAA", "test", fields={"a": "A"})
        class Wide(CvValue):
            a: int

    with refused(LayoutError, match="the fields of Odd differ"):

        @cv_value((1,), "AAAAAAAA", "test", fields={"a": "A"})
        class Odd(CvValue):
            b: int

    with pytest.raises(LayoutError, match="KickStart is declared twice"):

        @cv_value((1,), "AAAAAAAA", "test")
        class KickStart(CvValue):
            a: int

    assert before == VALUE_TYPES


@pytest.mark.parametrize(
    ("kind", "number", "value"),
    [
        (Number("A"), 5, 5),
        (Number("A", legal=range(2, 5)), 4, 4),
        (Flag("A"), 1, True),
        (Flag("A", on=0, off=1), 1, False),
        (Choice("C", {0: None, 8: 0}), 8, 0),
        (Functions("F", ("F1", "F2")), 3, 3),
        (Octets("D", 3), 258, (0, 1, 2)),
    ],
)
def test_kinds_turn_numbers_into_values_and_back(kind: FieldKind, number: int, value) -> None:
    """What a field's bits hold, and what it stands for."""
    assert kind.from_number(number) == value
    assert kind.to_number(value) == number


def test_kinds_of_their_own() -> None:
    """Flags in words, narrower numbers, rows of bytes; illegal numbers are kept to be shown."""
    assert Flag("A", "yes", "no").meaning(False) == "no"
    narrow = Number("A", legal=range(2, 5))
    assert [narrow.holds(number, 0, 7) for number in (1, 2, 4, 5)] == [False, True, True, False]
    octets = Octets("D", 2)
    assert octets.bound(0, 9) == "a tuple of 2 numbers from 0 to 255"
    assert octets.value("points", [1, 2]) == (1, 2)
    with refused(FieldError, match="function"):
        Functions("F", ("F1",)).mask(["F2"])
    assert Choice("C", {0: None}).from_number(1) == 1
    with pytest.raises(ValueError, match="a list of integers"):
        octets.value("points", "1,2")
