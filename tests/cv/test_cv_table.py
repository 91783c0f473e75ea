"""What stands in each bit of each CV, typed in from S-9.2.2, and the clause of each value."""

import pytest

from dccwire import cv
from dccwire.cv.values import VALUE_TYPES, CvValue
from dccwire.errors import FieldError
from dccwire.formats import Provenance

FIXED = "fixed"


def number(field: str, bits: int, first: int = 1) -> list[str]:
    """A number in so many bits, the lowest first; `first` is what the lowest adds."""
    return [f"{field} {first << bit}" for bit in range(bits)]


def names(field: str, *words: str) -> list[str]:
    return [f"{field} {word}" for word in words]


def reserved(*bits: int, field: str = "reserved", cv: int = 0) -> list[str]:
    """Reserved bits; where a value has two CVs their names say whose they are."""
    return names(field, *(f"cv-{cv}-bit-{bit}" if cv else f"bit-{bit}" for bit in bits))


F1_TO_F8 = names("functions", "F1", "F2", "F3", "F4", "F5", "F6", "F7", "F8")
FL_AND_F9_TO_F12 = [
    *names("functions", "FL-forward", "FL-reverse", "F9", "F10", "F11", "F12"),
    *reserved(6, 7),
]
OUTPUTS = {33: ("fl_forward", 1), 34: ("fl_reverse", 1)}
OUTPUTS |= {34 + n: (f"f{n}", 1 if n < 4 else 4 if n < 9 else 7) for n in range(1, 13)}

# The clause, and for each CV its bits from bit 0 up.
TABLE: dict[str, tuple[str, dict[int, list[str]]]] = {
    "PrimaryAddress": ("S-9.2.2, CV 1", {1: [*number("address", 7), FIXED]}),
    "StartVoltage": ("S-9.2.2, CV 2", {2: number("voltage", 8)}),
    "AccelerationRate": ("S-9.2.2, CV 3", {3: number("rate", 8)}),
    "DecelerationRate": ("S-9.2.2, CV 4", {4: number("rate", 8)}),
    "HighVoltage": ("S-9.2.2, CV 5", {5: number("voltage", 8)}),
    "MidVoltage": ("S-9.2.2, CV 6", {6: number("voltage", 8)}),
    "PwmPeriod": ("S-9.2.2, CV 9", {9: [*number("mantissa", 5), *number("exponent", 3)]}),
    "EmfFeedbackCutout": ("S-9.2.2, CV 10", {10: number("step", 8)}),
    "PacketTimeOut": ("S-9.2.2, CV 11", {11: number("time_out", 8)}),
    "PowerSourceConversion": (
        "S-9.2.2, CV 12 and Appendix B",
        {
            12: [
                *names("sources", "analog", "radio", "system-2", "system-3", "system-4"),
                *names("sources", "system-5"),
                *reserved(6, 7),
            ]
        },
    ),
    "AlternatePowerFunctions": (
        "S-9.2.2, CV 13 and 14",
        {13: F1_TO_F8, 14: FL_AND_F9_TO_F12},
    ),
    "DecoderLockKey": (
        "S-9.2.2, CV 15 and 16",
        {15: number("key", 8), 16: number("number", 8)},
    ),
    "ExtendedAddress": (
        "S-9.2.2, CV 17 and 18",
        {17: [*number("address", 6, 256), FIXED, FIXED], 18: number("address", 8)},
    ),
    "ConsistAddress": ("S-9.2.2, CV 19", {19: [*number("address", 7), "reversed"]}),
    "LongConsistAddress": (
        "from memory: RCN-225",
        {19: [*number("rest", 7), "reversed"], 20: [*number("hundreds", 7), FIXED]},
    ),
    "ConsistFunctions": (
        "S-9.2.2, CV 21 and 22 (V8)",
        {21: F1_TO_F8, 22: FL_AND_F9_TO_F12},
    ),
    "AccelerationAdjustment": ("S-9.2.2, CV 23", {23: [*number("amount", 7), "subtract"]}),
    "DecelerationAdjustment": ("S-9.2.2, CV 24", {24: [*number("amount", 7), "subtract"]}),
    "SpeedTableChoice": ("S-9.2.2, CV 25", {25: number("choice", 8)}),
    "AutomaticStopping": (
        "S-9.2.2, CV 27",
        {
            27: [
                *("asymmetry_right", "asymmetry_left", "cutout_signal"),
                *reserved(3),
                *("reverse_dc", "forward_dc"),
                *reserved(6, 7),
            ]
        },
    ),
    "BidirectionalConfiguration": (
        "S-9.2.2, CV 28",
        {
            28: [
                *("unsolicited", "by_asymmetric_signal", "by_signal_controlled_influence"),
                *reserved(3, 4, 5, 6, 7),
            ]
        },
    ),
    "Configuration": (
        "S-9.2.2, CV 29",
        {
            29: [
                *("direction_reversed", "headlight_in_function_group", "power_source_conversion"),
                *("bidirectional_communication", "speed_table", "extended_addressing"),
                *reserved(6),
                FIXED,
            ]
        },
    ),
    "ErrorInformation": ("S-9.2.2, CV 30", {30: number("error", 8)}),
    "IndexPage": ("S-9.2.2, CV 31 and 32", {31: number("high", 8), 32: number("low", 8)}),
    "OutputLocations": (
        "S-9.2.2, CV 33-46 and Table 2",
        {
            cv: names(field, *(str(first + bit) for bit in range(8)))
            for cv, (field, first) in OUTPUTS.items()
        },
    ),
    "KickStart": ("S-9.2.2, CV 65", {65: number("kick", 8)}),
    "ForwardTrim": ("S-9.2.2, CV 66", {66: number("trim", 8)}),
    "SpeedTable": (
        "S-9.2.2, CV 67-94",
        {cv: [f"points {cv - 67}"] * 8 for cv in range(67, 95)},
    ),
    "ReverseTrim": ("S-9.2.2, CV 95", {95: number("trim", 8)}),
    "UserIdentification": (
        "S-9.2.2, CV 105 and 106",
        {105: number("first", 8), 106: number("second", 8)},
    ),
    "DecoderLoad": ("S-9.2.2, CV 892", {892: [*number("amount", 7), "bit_7 1"]}),
    "DynamicFlags": ("S-9.2.2, CV 893", {893: number("flags", 8)}),
    "FuelLevel": ("S-9.2.2, CV 894", {894: number("level", 8)}),
    "WaterLevel": ("S-9.2.2, CV 895", {895: number("level", 8)}),
    "AccessoryDecoderAddressing": (
        "S-9.2.2, CV 1 [513] and 9 [521], decoder addressing",
        {
            1: [*number("address", 6), *reserved(6, 7, field="reserved_low", cv=1)],
            9: [
                *number("address", 3, 64),
                *reserved(3, 4, 5, 6, 7, field="reserved_high", cv=9),
            ],
        },
    ),
    "AccessoryOutputAddressing": (
        "S-9.2.2, CV 1 [513] and 9 [521], output addressing",
        {
            1: number("number", 8),
            9: [*number("number", 3, 256), *["number"] * 5],  # above 2047 (V10)
        },
    ),
    "AccessoryOnTime": (
        "S-9.2.2, CV 3-6 [515-518]",
        {2 + n: number(f"f{n}", 8) for n in range(1, 5)},
    ),
    "AccessoryBidirectionalConfiguration": (
        "S-9.2.2, CV 28 [540]",
        {28: ["unsolicited", *reserved(1, 2, 3, 4, 5, 6, 7)]},
    ),
    "AccessoryConfiguration": (
        "S-9.2.2, CV 29 [541]",
        {
            29: [
                *reserved(0, 1, 2, field="reserved_low"),
                "bidirectional_communication",
                *reserved(4, field="reserved_high"),
                *("extended", "output_addressing", FIXED),
            ]
        },
    ),
}
# Where a CV of zeros would not be legal, or has bits that are fixed at 1.
AT_REST = {
    "ExtendedAddress": {17: 192},
    "IndexPage": {31: 240},
    "AccessoryOutputAddressing": {9: 6},
    "AccessoryConfiguration": {29: 128},
}

every_value = pytest.mark.parametrize("cls", VALUE_TYPES.values(), ids=lambda cls: cls.__name__)


def changed(cls: type[CvValue], number: int, bit: int) -> str:
    """What a flipped bit changes, in the words of the table."""
    rest = dict.fromkeys(cls.cvs, 0) | AT_REST.get(cls.__name__, {})
    before = cv.value_to_plain(cls.from_cvs(rest))
    try:
        after = cv.value_to_plain(cls.from_cvs(rest | {number: rest[number] ^ 1 << bit}))
    except FieldError as error:
        return FIXED if error.field == f"CV {number}" else error.field
    (field,) = (name for name, value in after.items() if value != before[name])
    old, new = before[field], after[field]
    if field == "points":
        (place,) = (at for at, pair in enumerate(zip(old, new, strict=True)) if len(set(pair)) == 2)
        assert new[place] == 1 << bit
        return f"points {place}"
    if isinstance(new, list):
        (word,) = set(new) ^ set(old)
        return f"{field} {word}"
    return field if isinstance(new, bool) else f"{field} {abs(new - old)}"


@every_value
def test_every_bit_stands_for_what_the_table_says(cls: type[CvValue]) -> None:
    """Each bit alone, and no other field changes with it."""
    bits = TABLE[cls.__name__][1]
    assert cls.cvs == tuple(bits)
    for number, words in bits.items():
        assert [changed(cls, number, bit) for bit in range(8)] == words


@every_value
def test_every_value_has_the_clause_of_the_table(cls: type[CvValue]) -> None:
    """Word for word; from memory where it says so, published otherwise."""
    clause = TABLE[cls.__name__][0]
    assert cls.clause == clause
    memory = clause.startswith("from memory: ")
    assert cls.provenance is (Provenance.FROM_MEMORY if memory else Provenance.PUBLISHED)


def test_the_table_is_whole() -> None:
    """Every value stands in it, and those of accessory decoders say whose they are."""
    assert set(VALUE_TYPES) == set(TABLE)
    accessory = {
        name for name, cls in VALUE_TYPES.items() if cls.decoder is cv.DecoderKind.ACCESSORY
    }
    assert accessory == {name for name in TABLE if name.startswith("Accessory")}
