"""The packets of service mode once more, in construct and by hand, to hold the library against.

As in `twins`: nothing here comes from the layout lines of the library, each declaration was written
from the clause beside it. An object describes a programming-track packet's whole bytes before the
error byte; of the two types that have an address of their own, the bytes behind it.
"""

from construct import (
    Array,
    Bit,
    BitsInteger,
    BitStruct,
    Byte,
    Checksum,
    Computed,
    Construct,
    ExprAdapter,
    FocusedSeq,
    GreedyBytes,
    Mapping,
    Octet,
    Peek,
    RawCopy,
    Select,
    Struct,
    Switch,
    Terminated,
    obj_,
    this,
)

from twins import CV, PACKET, error_byte, fixed, told, within

# S-9.2.3 §E, direct mode, bit (K), address only and physical register (C): 0 verify, 1 write.
OPERATION = "operation" / Mapping(Bit, {"verify": 0, "write": 1})

# Programming-track packets of four bytes.
DIRECT: dict[str, Construct] = {
    # S-9.2.3 §E, direct mode, byte: 0111CCAA AAAAAAAA DDDDDDDD, A = CV - 1; CC 01 verify,
    # 11 write, 00 not listed (P4); CV 1024 is built (P3)
    "DirectByteAccess": BitStruct(
        fixed("0111"),
        "operation" / Mapping(BitsInteger(2), {"verify": 0b01, "write": 0b11}),
        CV,
        "value" / Octet,
    ),
    # S-9.2.3 §E, direct mode, bit: 011110AA AAAAAAAA 111KDBBB, D the value, BBB the position
    "DirectBitManipulation": BitStruct(
        fixed("011110"), CV, fixed("111"), OPERATION, "value" / Bit, "bit" / BitsInteger(3)
    ),
}
# Programming-track packets of three bytes.
REGISTER: dict[str, Construct] = {
    # S-9.2.3 §E, physical register: 0111CRRR DDDDDDDD, RRR is the register minus 1 (P9)
    "RegisterAccess": BitStruct(
        fixed("0111"),
        OPERATION,
        "register" / ExprAdapter(BitsInteger(3), obj_ + 1, obj_ - 1),
        "value" / Octet,
    ),
}
# S-9.2.3 Appendix A: AAAAAAAA 11111001, A 1 to 111 (P12)
QUERY: dict[str, Construct] = {"AddressQuery": BitStruct(fixed("11111001"))}
# S-9.2.3 Appendix B: 00000000 11111001 0AAAAAAA; A = 0 is no short address (P13)
LOCK: dict[str, Construct] = {
    "DecoderLock": BitStruct(fixed("111110010"), "unlocked" / within(7, 1, 127))
}
# Narrower readings of register packets, by name, in the order in which they are listed.
READINGS: dict[str, Construct] = {
    # S-9.2.3 §E, address-only: 0111C000 0DDDDDDD (P5)
    "AddressOnlyAccess": BitStruct(
        fixed("0111"), OPERATION, fixed("0000"), "value" / BitsInteger(7)
    ),
    # S-9.2.3 §E, paged: RRR 101 is the page register; page 256 is sent as 0 (P7)
    "PageRegisterAccess": BitStruct(fixed("0111"), OPERATION, fixed("101"), "page" / Octet),
    # S-9.2.3 §E, paged: RRR 000 to 011 are data registers 0 to 3 (P8)
    "DataRegisterAccess": BitStruct(
        fixed("0111"), OPERATION, fixed("0"), "register" / BitsInteger(2), "value" / Octet
    ),
    # S-9.2.3 §E, definitions: 7D 01 7C
    "PagePreset": BitStruct(fixed("01111101"), fixed("00000001")),
    # S-9.2.3 §E, decoder factory reset: 7F 08 77 (P11)
    "DecoderFactoryReset": BitStruct(fixed("01111111"), fixed("00001000")),
}

SERVICE_TWINS = DIRECT | REGISTER | QUERY | LOCK | READINGS


def announced(data: bytes) -> str:
    """What packet of service mode the bytes can be, told by first bytes and length (S-9.2.3 §E)."""
    match len(data), *data:
        case 3, first, _, _ if first >> 4 == 0b0111:
            return "register"
        case 4, first, *_ if first >> 4 == 0b0111:
            return "direct"
        case 3, first, 0b11111001, _ if 1 <= first <= 111:
            return "query"
        case 4, 0, 0b11111001, one, _ if one < 128:
            return "lock"
    return "as in operations mode"


def whole(partition: str, number: Construct, family: dict[str, Construct]) -> Construct:
    """A packet of one instruction of `family`, in the shape of `twins.PACKET`."""
    types = Select(*(told(name, twin, final=True) for name, twin in family.items()))
    return Struct(
        "partition" / Computed(partition),
        "body" / RawCopy(Struct("number" / number, "instructions" / Array(1, types))),
        "error" / Checksum(Byte, error_byte, this.body.data),
        Terminated,
    )


SERVICE_PACKET = FocusedSeq(
    "packet",
    "_all" / Peek(GreedyBytes),
    "packet"
    / Switch(
        lambda ctx: announced(ctx._all),
        {
            "register": whole("programming-track", Computed(0), REGISTER),
            "direct": whole("programming-track", Computed(0), DIRECT),
            "query": whole("short", Byte, QUERY),
            "lock": whole("broadcast", Byte, LOCK),
        },
        default=PACKET,
    ),
)
"""A whole packet of service mode that defined formats fill; anything else does not parse."""
