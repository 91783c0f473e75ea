"""The packet formats once more, in construct and by hand, to hold the library against.

Nothing here comes from the layout lines of the library: each declaration below was written from the
clause that stands beside it. `TWINS` has an object for the bytes of every instruction, an accessory
packet's whole bytes before the error byte; `PACKET` parses whole packets of operations mode.
Names that begin with an underscore hold parts of a field that the wire splits.
"""

from bisect import bisect
from functools import reduce
from operator import xor

from construct import (
    Array,
    Bit,
    BitsInteger,
    BitStruct,
    Byte,
    Check,
    Checksum,
    Computed,
    Const,
    Construct,
    Error,
    ExprAdapter,
    ExprValidator,
    Flag,
    FocusedSeq,
    GreedyBytes,
    GreedyRange,
    Int16ub,
    Mapping,
    Nibble,
    Octet,
    Peek,
    RawCopy,
    Rebuild,
    Select,
    Struct,
    Switch,
    Tell,
    Terminated,
    len_,
    obj_,
    this,
)


def fixed(digits: str) -> Construct:
    """Bits that are printed as 0 or 1 and must match (S-9.2.1, Format Definitions; X36)."""
    return Const(int(digits, 2), BitsInteger(len(digits)))


def within(width: int, low: int, high: int) -> Construct:
    return ExprValidator(BitsInteger(width), (obj_ >= low) & (obj_ <= high))


# --- pieces that several clauses share -----------------------------------------------------------

# S-9.2.1 §C, 128 Speed Step Control: bit 7 is 1 for forward, the rest are the speed.
DIRECTION_AND_SPEED_128 = ("forward" / Flag, "speed" / BitsInteger(7))
# S-9.2.1 §C, CV access long form: V, ten bits, is one less than the CV.
CV = "cv" / ExprAdapter(BitsInteger(10), obj_ + 1, obj_ - 1)
# The same: CC is 01 to verify a byte, 11 to write it; 10 manipulates bits, 00 is reserved.
CV_BYTE = (
    fixed("1110"),
    "operation" / Mapping(BitsInteger(2), {"verify": 0b01, "write": 0b11}),
    CV,
    "value" / Octet,
)
# The same: CC 10, and 111CDBBB: C is 1 to write and 0 to verify, BBB says which bit, D its value.
CV_BIT = (
    fixed("111010"),
    CV,
    fixed("111"),
    "operation" / Mapping(Bit, {"verify": 0, "write": 1}),
    "value" / Bit,
    "bit" / BitsInteger(3),
)
# S-9.2.1 §D and S-9.2.2, CV 1 [513] (X29): an extended address has bits 7-2 in byte one, 10-8 in
# turned over in 6-4 of byte two, 1-0 in bits 2-1 of byte two.
EXTENDED_START = (
    fixed("10"),
    "_middle" / Rebuild(BitsInteger(6), this.address >> 2 & 0x3F),
    fixed("0"),
    "_top" / Rebuild(BitsInteger(3), 7 - (this.address >> 8)),
)
EXTENDED_END = (
    "_low" / Rebuild(BitsInteger(2), this.address & 3),
    "address" / Computed((7 - this._top) << 8 | this._middle << 2 | this._low),
)
# S-9.2.1 §D, extended: 10AAAAAA 0AAA0AA1, then what is said to that address.
EXTENDED_HEAD = (*EXTENDED_START, fixed("0"), *EXTENDED_END, fixed("1"))


def basic(digit: str) -> tuple[Construct, ...]:
    """10AAAAAA, a digit, AAA (S-9.2.1 §D): the top three bits in ones' complement."""
    return (
        fixed("10"),
        "_low" / Rebuild(BitsInteger(6), this.address & 0x3F),
        fixed(digit),
        "_top" / Rebuild(BitsInteger(3), 7 - (this.address >> 6)),
        "address" / Computed((7 - this._top) << 6 | this._low),
    )


# S-9.2.1 §D, basic: C activates, DDD is the pair (bits 2-1) and the output of the pair (bit 0).
BASIC_OUTPUT = ("active" / Flag, "pair" / BitsInteger(2), "output" / Bit)
# S-9.2.1 §D, basic CV access: 10AAAAAA 1AAACDDD; CDDD 0000 means all of the decoder, with C = 1
# it is output DDD; C = 0 with another DDD is no format (X31).
BASIC_CV_HEAD = (*basic("1"), "output" / Mapping(Nibble, {None: 0} | {n: 8 | n for n in range(8)}))


def function_byte(first: str) -> Construct:
    """A first byte, then eight functions, the lowest in bit 0."""
    return BitStruct(fixed(first), "functions" / Octet)


# --- one object for each type, by family ---------------------------------------------------------

FLAGS = {
    "disable-cv-access": 0b0000,
    "disable-acknowledgement-request": 0b0100,
    "activate-bidirectional-communication": 0b0101,
    "set-bidirectional-communication": 0b1000,
    "set-cv-access": 0b1001,
    "accept-cv-access": 0b1111,
}
DECODER_AND_CONSIST_CONTROL = {
    # S-9.2.1 §C, decoder control: 0000 0000
    "DigitalDecoderReset": BitStruct(fixed("00000000")),
    # S-9.2.1 §C, decoder control: 0000 0001
    "HardReset": BitStruct(fixed("00000001")),
    # S-9.2.1 §C, decoder control: 0000 001D
    "FactoryTest": BitStruct(fixed("0000001"), "d" / Bit),
    # S-9.2.1 §C, decoder control: 0000 011D CCCC0SSS; codes that are not listed are no format (X12)
    "SetDecoderFlags": BitStruct(
        fixed("0000011"),
        "set" / Flag,
        "flag" / Mapping(Nibble, FLAGS),
        fixed("0"),
        "sub_address" / BitsInteger(3),
    ),
    # S-9.2.1 §C, decoder control: 0000 101D
    "SetExtendedAddressing": BitStruct(fixed("0000101"), "extended" / Flag),
    # S-9.2.1 §C, decoder control: 0000 111D (X10)
    "DecoderAcknowledgementRequest": BitStruct(fixed("0000111"), "d" / Bit),
    # S-9.2.1 §C, consist control: 0001CCCC 0AAAAAAA, CCCC 0010 normal, 0011 reversed
    "ConsistControl": BitStruct(
        fixed("0001001"), "reversed" / Flag, fixed("0"), "consist" / BitsInteger(7)
    ),
}
ADVANCED_OPERATIONS = {
    # S-9.2.1 §C, advanced operations 11111
    "SpeedStepControl128": BitStruct(fixed("00111111"), *DIRECTION_AND_SPEED_128),
    # S-9.2.1 §C, advanced operations 11110: bit 7 = 0 enables (X16), bits 6-5 = 0, CSSSS (X15)
    "RestrictedSpeedStep": BitStruct(
        fixed("00111110"),
        "enabled" / Mapping(Bit, {True: 0, False: 1}),
        fixed("00"),
        "c" / Bit,
        "speed" / Nibble,
    ),
    # S-9.2.1 §C, advanced operations 11101: 00111101 VVVVVVVV DDDDDDDD, V = 1 alone (X19)
    "AnalogFunctionGroup": BitStruct(
        fixed("00111101"), "output" / within(8, 1, 1), "value" / Octet
    ),
    # from memory: RCN-212, 00111100 RGGGGGGG DDDDDDDD, speed as in 128 step control, F0-F7
    "SpeedAndFunctionsF0F7": BitStruct(
        fixed("00111100"), *DIRECTION_AND_SPEED_128, "functions" / Octet
    ),
    # from memory: RCN-212, the same with F8-F15 in one more byte
    "SpeedAndFunctionsF0F15": BitStruct(
        fixed("00111100"), *DIRECTION_AND_SPEED_128, "functions" / BitsInteger(16, swapped=True)
    ),
}
SPEED_AND_DIRECTION = {
    # S-9.2.1 §C, speed and direction: 01DCSSSS
    "SpeedAndDirection": BitStruct(fixed("01"), "forward" / Flag, "c" / Bit, "speed" / Nibble),
}
FUNCTION_GROUPS = {
    # S-9.2.1 §C, function group one: 100DDDDD, bits 0-3 F1-F4, bit 4 FL (X20)
    "FunctionGroupOne": BitStruct(fixed("100"), "functions" / BitsInteger(5)),
    # S-9.2.1 §C, function group two: 101SDDDD, S = 1 F5-F8
    "FunctionGroupTwoF5F8": BitStruct(fixed("1011"), "functions" / Nibble),
    # S-9.2.1 §C, function group two: 101SDDDD, S = 0 F9-F12
    "FunctionGroupTwoF9F12": BitStruct(fixed("1010"), "functions" / Nibble),
}
FEATURE_EXPANSION = {
    # S-9.2.1 §C, feature expansion 00000: 11000000 DLLLLLLL HHHHHHHH, state H × 128 + L (X22, X23)
    "BinaryStateLongForm": BitStruct(
        fixed("11000000"),
        "on" / Flag,
        "_low" / Rebuild(BitsInteger(7), this.state & 0x7F),
        "_high" / Rebuild(Octet, this.state >> 7),
        "state" / Computed(this._high * 128 + this._low),
    ),
    # S-9.2.1 §C, feature expansion 11101: 11011101 DLLLLLLL
    "BinaryStateShortForm": BitStruct(fixed("11011101"), "on" / Flag, "state" / BitsInteger(7)),
    # S-9.2.1 §C, feature expansion 11110
    "FunctionsF13F20": function_byte("11011110"),
    # S-9.2.1 §C, feature expansion 11111
    "FunctionsF21F28": function_byte("11011111"),
    # from memory: RCN-212 and the newer S-9.2.1, 11011000 to 11011100
    "FunctionsF29F36": function_byte("11011000"),
    "FunctionsF37F44": function_byte("11011001"),
    "FunctionsF45F52": function_byte("11011010"),
    "FunctionsF53F60": function_byte("11011011"),
    "FunctionsF61F68": function_byte("11011100"),
}
PAIRS = {"extended-address-17-18": 0b0100, "index-31-32": 0b0101, "consist-19-20": 0b0110}
CV_ACCESS = {
    # S-9.2.1 §C, CV access short form: 1111CCCC DDDDDDDD, CCCC 0010 CV 23, 0011 CV 24 (X25)
    "CvAccessShortForm": BitStruct(
        fixed("1111"),
        "adjustment" / Mapping(Nibble, {"acceleration": 0b0010, "deceleration": 0b0011}),
        "value" / Octet,
    ),
    # S-9.2.1 §C, CV access long form: 1110CCVV VVVVVVVV DDDDDDDD
    "CvAccessLongForm": BitStruct(*CV_BYTE),
    # S-9.2.1 §C, CV access long form, bit manipulation: 111010VV VVVVVVVV 111CDBBB
    "CvBitManipulation": BitStruct(*CV_BIT),
    # from memory: RCN-214, 11110100, 11110101 and 11110110, two bytes each
    "CvPairShortForm": BitStruct(
        fixed("1111"),
        "pair" / Mapping(Nibble, PAIRS),
        "first" / Octet,
        "second" / Octet,
    ),
}
IN_BROADCASTS = {
    # from memory: RCN-211, 11000001 00MMMMMM WWWHHHHH U0BBBBBB, of a clock's day
    "ModelTime": BitStruct(
        fixed("1100000100"),
        "minute" / within(6, 0, 59),
        "weekday" / BitsInteger(3),
        "hour" / within(5, 0, 23),
        "jumped" / Flag,
        fixed("0"),
        "factor" / BitsInteger(6),
    ),
    # from memory: RCN-211, 11000001 010TTTTT MMMMYYYY YYYYYYYY, of a calendar's year
    "ModelDate": BitStruct(
        fixed("11000001010"),
        "day" / within(5, 1, 31),
        "month" / within(4, 1, 12),
        "year" / BitsInteger(12),
    ),
    # from memory: RCN-211, 11000010 MMMMMMMM MMMMMMMM, milliseconds
    "SystemTime": BitStruct(fixed("11000010"), "time" / BitsInteger(16)),
}
IDLE = {"Idle": BitStruct(fixed("00000000"))}  # S-9.2 §B, idle: FF 00 FF
ACCESSORY = {
    # S-9.2.1 §D, basic: 10AAAAAA 1AAACDDD
    "BasicAccessory": BitStruct(*basic("1"), *BASIC_OUTPUT),
    # S-9.2.1 §D, extended: 10AAAAAA 0AAA0AA1 000XXXXX (X33)
    "ExtendedAccessory": BitStruct(*EXTENDED_HEAD, fixed("000"), "aspect" / BitsInteger(5)),
    # S-9.2.1 §D, basic, CV access: 10AAAAAA 1AAACDDD 1110CCVV VVVVVVVV DDDDDDDD
    "BasicAccessoryCvAccess": BitStruct(*BASIC_CV_HEAD, *CV_BYTE),
    # S-9.2.1 §D, basic, CV access: 10AAAAAA 1AAACDDD 111010VV VVVVVVVV 111CDBBB
    "BasicAccessoryCvBitManipulation": BitStruct(*BASIC_CV_HEAD, *CV_BIT),
    # S-9.2.1 §D, extended, CV access: 10AAAAAA 0AAA0AA1 1110CCVV VVVVVVVV DDDDDDDD
    "ExtendedAccessoryCvAccess": BitStruct(*EXTENDED_HEAD, *CV_BYTE),
    # S-9.2.1 §D, extended, CV access: 10AAAAAA 0AAA0AA1 111010VV VVVVVVVV 111CDBBB
    "ExtendedAccessoryCvBitManipulation": BitStruct(*EXTENDED_HEAD, *CV_BIT),
    # S-9.2.1 Appendix A: 10AAAAAA 0AAA11VV VVVVVVVV DDDDDDDD, a write of CV V + 1 (X28, X32)
    "LegacyAccessoryCvAccess": BitStruct(*basic("0"), fixed("11"), CV, "value" / Octet),
    # from memory: RCN-213, 10AAAAAA 0AAA1AAT, T = 0 basic, 1 extended; 11 address bits as X29
    "AccessoryNoOperation": BitStruct(
        *EXTENDED_START, fixed("1"), *EXTENDED_END, "extended" / Flag
    ),
}
# Other readings, by name, beside the general one (S-9.2 §B, S-9.2.1 §D, NEM 672, RCN-214).
READINGS = {
    # S-9.2 §B: the broadcast packet 00 00 00
    "Reset": BitStruct(fixed("00000000")),
    # S-9.2 §B, broadcast stop: 01DC000S
    "BroadcastStop": BitStruct(
        fixed("01"), "forward" / Flag, "ignore_direction" / Flag, fixed("000"), "cut_power" / Flag
    ),
    # S-9.2.1 §D, basic, broadcast: 10111111 1000CDDD (address 511: X30)
    "BasicAccessoryBroadcast": BitStruct(
        fixed("101111111000"), "address" / Computed(511), *BASIC_OUTPUT
    ),
    # NEM 672 (2015): the same with all eight bits of the third byte
    "ExtendedAccessoryNem672": BitStruct(*EXTENDED_HEAD, "aspect" / Octet),
    # S-9.2.1 §D, extended: a third byte of 0 is absolute stop
    "AbsoluteStop": BitStruct(*EXTENDED_HEAD, fixed("00000000")),
    # S-9.2.1 §D, extended, broadcast: 10111111 00000111 000XXXXX (address 2047: X30)
    "ExtendedAccessoryBroadcast": BitStruct(
        fixed("1011111100000111000"), "address" / Computed(2047), "aspect" / BitsInteger(5)
    ),
    # from memory: RCN-214, 1110CCSS and a 24-bit CV address, CC = 01 read, without data bytes
    "ExtendedCvRead": BitStruct(
        fixed("111001"), "sequence" / BitsInteger(2), "cv_address" / BitsInteger(24)
    ),
}

TWINS: dict[str, Construct] = (
    DECODER_AND_CONSIST_CONTROL
    | ADVANCED_OPERATIONS
    | SPEED_AND_DIRECTION
    | FUNCTION_GROUPS
    | FEATURE_EXPANSION
    | CV_ACCESS
    | IN_BROADCASTS
    | IDLE
    | ACCESSORY
    | READINGS
)

# --- whole packets -------------------------------------------------------------------------------

FINAL = frozenset(
    {
        "FactoryTest",  # it may have more bytes, of unknown content: X9
        # from memory: the groups of functions that follow are told by length, RCN-212
        "SpeedAndFunctionsF0F7",
        "SpeedAndFunctionsF0F15",
        "Idle",  # FF 00 FF is the whole packet: S-9.2 §B
    }
)
"""Types after which nothing but the error byte can stand; accessory packets are whole anyway."""


def told(name: str, twin: Construct, final: bool) -> Construct:
    """One twin with its type's name; behind it the error byte at least, if `final` nothing else."""
    left = len_(this._rest)
    return Struct(
        "type" / Computed(name),
        "fields" / twin,
        "_rest" / Peek(GreedyBytes),
        Check(left == 1 if final else left >= 1),
    )


def one_of(family: dict[str, Construct]) -> Construct:
    final = FINAL | set(ACCESSORY)
    return Select(*(told(name, twin, name in final) for name, twin in family.items()))


# S-9.2.1 §C: the instruction's first three bits, CCC. §B for what only a broadcast can carry.
GROUPS = {
    0b000: one_of(DECODER_AND_CONSIST_CONTROL),
    0b001: one_of(ADVANCED_OPERATIONS),
    0b010: one_of(SPEED_AND_DIRECTION),
    0b011: one_of(SPEED_AND_DIRECTION),
    0b100: one_of(FUNCTION_GROUPS),
    0b101: one_of(FUNCTION_GROUPS),
    0b110: one_of(FEATURE_EXPANSION),
    0b111: one_of(CV_ACCESS),
}
BROADCAST_GROUPS = GROUPS | {0b110: one_of(FEATURE_EXPANSION | IN_BROADCASTS)}


def many(groups: dict[int, Construct]) -> Construct:
    """Instructions up to the error byte, in order (S-9.2.1 §C; X5)."""
    return GreedyRange(
        FocusedSeq("one", "_first" / Peek(Byte), "one" / Switch(this._first >> 5, groups))
    )


def partition(first: int) -> str:
    """What the first byte announces (S-9.2.1 §A; C7, X1, X2)."""
    names = ("broadcast", "short", "accessory", "long", "reserved", "idle")
    return names[bisect((1, 128, 192, 232, 255), first)]


def addressed(number: Construct, groups: dict[int, Construct]) -> Construct:
    return Struct("number" / number, "instructions" / many(groups))


def error_byte(body: bytes) -> int:
    """All bytes before it by exclusive OR (S-9.2 §B, Byte Three; S-9.2.1 §C)."""
    return reduce(xor, body)


PACKET = Struct(
    "_first" / Peek(Byte),
    "partition" / Computed(lambda ctx: partition(ctx._first)),
    "body"
    / RawCopy(
        Switch(
            this.partition,
            {
                "broadcast": addressed(Byte, BROADCAST_GROUPS),
                "short": addressed(Byte, GROUPS),
                # S-9.2.1 §A: 11AAAAAA AAAAAAAA
                "long": addressed(ExprAdapter(Int16ub, obj_ & 0x3FFF, obj_ | 0xC000), GROUPS),
                "idle": Struct("number" / Byte, "instructions" / Array(1, one_of(IDLE))),
                # S-9.2.1 §D: told apart by length; the address is one of the instruction's fields.
                "accessory": Struct("instructions" / Array(1, one_of(ACCESSORY))),
            },
            default=Error,
        )
    ),
    "error" / Checksum(Byte, error_byte, this.body.data),
    "_size" / Tell,
    Check((this._size >= 3) & (this._size <= 6)),  # S-9.2.1, introduction (C3)
    Terminated,
)
"""A whole packet, error byte included, that defined formats fill; anything else does not parse."""
