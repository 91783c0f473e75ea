"""Later additions, from memory: without a document, so every form here is marked so.

None of these makes a station fail: a finding says 'defined later (from memory)'. The names in
the clauses are the texts as remembered.
"""

from enum import Enum

from dccwire.address import LATER_FIRST_BYTES, Partition
from dccwire.fields import Choice, Flag, Functions, Number
from dccwire.formats import Fields, Instruction, NamedReading, instruction
from dccwire.instructions.function_groups import FunctionGroup, function_names, group

__all__ = [
    "CvPair",
    "CvPairShortForm",
    "ExtendedCvRead",
    "FunctionsF29F36",
    "FunctionsF37F44",
    "FunctionsF45F52",
    "FunctionsF53F60",
    "FunctionsF61F68",
    "ModelDate",
    "ModelTime",
    "SpeedAndFunctionsF0F7",
    "SpeedAndFunctionsF0F15",
    "SystemTime",
]


def longer_form(data: bytes) -> str:
    """The clause of a form of more than six bytes, error byte included; empty if none is known.

    Speed with F0-F23 or F0-F31; CV access with a 24-bit address; packets to 253 and 254, of up to
    15 bytes. Behind a long address the first of these forms are longer by a byte.
    """
    if len(data) <= 6:
        return ""
    if data[0] in LATER_FIRST_BYTES and len(data) <= 15:
        return "from memory: S-9.2.1.1 draft, RCN-218"
    long = data[0] in Partition.LONG.value
    if not long and data[0] not in (*Partition.BROADCAST.value, *Partition.SHORT.value):
        return ""
    rest = data[1 + long : -1]
    if rest[0] == 0b00111100 and len(rest) <= 6:
        return "from memory: RCN-212"
    return "from memory: RCN-214" if is_extended_cv_access(rest) else ""


def is_extended_cv_access(rest: bytes) -> bool:
    """Whether the bytes behind an address may be a CV access with a 24-bit address (from memory).

    `1110CCSS`, CC not 00, three bytes of address and 0 to 4 of data.
    """
    return 4 <= len(rest) <= 8 and rest[0] >> 4 == 0b1110 and rest[0] & 0b1100 != 0


FEATURES = "from memory: RCN-212, newer S-9.2.1"
BROADCAST_ONLY = frozenset({Partition.BROADCAST})
_SPEED: Fields = {"forward": Flag("R"), "speed": "G"}


@group("11011000 DDDDDDDD", FEATURES, 29, 36)
class FunctionsF29F36(FunctionGroup):
    """F29 to F36 (from memory)."""


@group("11011001 DDDDDDDD", FEATURES, 37, 44)
class FunctionsF37F44(FunctionGroup):
    """F37 to F44 (from memory)."""


@group("11011010 DDDDDDDD", FEATURES, 45, 52)
class FunctionsF45F52(FunctionGroup):
    """F45 to F52 (from memory)."""


@group("11011011 DDDDDDDD", FEATURES, 53, 60)
class FunctionsF53F60(FunctionGroup):
    """F53 to F60 (from memory)."""


@group("11011100 DDDDDDDD", FEATURES, 61, 68)
class FunctionsF61F68(FunctionGroup):
    """F61 to F68 (from memory)."""


@instruction(
    "00111100 RGGGGGGG DDDDDDDD",
    "from memory: RCN-212",
    ends=True,
    fields={**_SPEED, "functions": Functions("D", ("FL", *function_names(1, 7)))},
)
class SpeedAndFunctionsF0F7(Instruction):
    """Speed as in 128 step control, then F0 to F7; ends its packet (from memory)."""

    forward: bool
    speed: int
    functions: int


@instruction(
    "00111100 RGGGGGGG DDDDDDDD EEEEEEEE",
    "from memory: RCN-212",
    ends=True,
    fields={**_SPEED, "functions": Functions("E D", ("FL", *function_names(1, 15)))},
)
class SpeedAndFunctionsF0F15(Instruction):
    """The same with F0 to F15; fits short addresses alone (from memory)."""

    forward: bool
    speed: int
    functions: int


class CvPair(Enum):
    """The pairs of CVs that `CvPairShortForm` writes at once."""

    EXTENDED_ADDRESS_17_18 = 0b00
    INDEX_31_32 = 0b01
    CONSIST_19_20 = 0b10


@instruction(
    "111101PP FFFFFFFF SSSSSSSS",
    "from memory: RCN-214",
    fields={"pair": Choice("P", {one.value: one for one in CvPair}), "first": "F", "second": "S"},
)
class CvPairShortForm(Instruction):
    """Write two CVs that belong together, in the order of their names (from memory)."""

    pair: CvPair
    first: int
    second: int


@instruction(
    "11000001 00MMMMMM WWWHHHHH U0BBBBBB",
    "from memory: RCN-211",
    partitions=BROADCAST_ONLY,
    fields={
        "minute": Number("M", legal=range(60)),
        "weekday": "W",
        "hour": Number("H", legal=range(24)),
        "jumped": Flag("U"),
        "factor": "B",
    },
)
class ModelTime(Instruction):
    """The layout's clock: weekday 0 is Monday, 7 none; factor 0 is stopped (from memory)."""

    minute: int
    weekday: int
    hour: int
    jumped: bool
    factor: int


@instruction(
    "11000001 010TTTTT MMMMYYYY YYYYYYYY",
    "from memory: RCN-211",
    partitions=BROADCAST_ONLY,
    fields={
        "day": Number("T", legal=range(1, 32)),
        "month": Number("M", legal=range(1, 13)),
        "year": "Y",
    },
)
class ModelDate(Instruction):
    """The layout's calendar; year 0 to 4095 (from memory)."""

    day: int
    month: int
    year: int


@instruction(
    "11000010 MMMMMMMM MMMMMMMM",
    "from memory: RCN-211",
    partitions=BROADCAST_ONLY,
    fields={"time": Number("M", unit="ms")},
)
class SystemTime(Instruction):
    """The station's running time in milliseconds, 16 bits (from memory)."""

    time: int


@instruction(
    "111001SS AAAAAAAA AAAAAAAA AAAAAAAA",
    "from memory: RCN-214",
    ends=True,
    reading="extended CV access, read",
    fields={"sequence": "S", "cv_address": "A"},
)
class ExtendedCvRead(NamedReading):
    """Read a CV by its 24-bit address (from memory).

    Its first byte is that of the CV access long form; the packet's length tells which is meant:
    a reading of six bytes at a short address, which the 2012 edition reads as two instructions.
    """

    sequence: int
    cv_address: int
