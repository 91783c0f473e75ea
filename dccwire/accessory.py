"""Accessory packets (S-9.2.1 §D and Appendix A), and the numbers that operators use.

Here a layout describes the whole packet, since the address shares its second byte with the
instruction; its top three bits are sent in ones' complement in every form (X28). The forms are
told apart by length. Room: one file, as one page of the standard.
"""

from collections.abc import Iterator
from enum import Enum

from dccwire.address import AccessoryAddress, AnyAccessory, ExtendedAccessoryAddress, Partition
from dccwire.errors import FieldError, Reason, member
from dccwire.fields import Choice, FieldKind, Flag
from dccwire.formats import Fields, Instruction, NamedReading, Remark, accessory, reserved
from dccwire.instructions.cv_access import BIT_FIELDS, BIT_LINE, BYTE_FIELDS, BYTE_LINE, CvOperation

__all__ = [
    "AbsoluteStop",
    "AccessoryNoOperation",
    "BasicAccessory",
    "BasicAccessoryBroadcast",
    "BasicAccessoryCvAccess",
    "BasicAccessoryCvBitManipulation",
    "ExtendedAccessory",
    "ExtendedAccessoryBroadcast",
    "ExtendedAccessoryCvAccess",
    "ExtendedAccessoryCvBitManipulation",
    "ExtendedAccessoryNem672",
    "LegacyAccessoryCvAccess",
    "PairNumbering",
    "extended_of_number",
    "number_in_words",
    "number_of_pair",
    "pair_of_number",
]

BASIC, EXTENDED = (AccessoryAddress, "~b a"), (ExtendedAccessoryAddress, "~b a c")
"""Kinds of addresses, and the formulas that make them of their bits."""

OLD_NUMBERS = 512
"""CV n of an accessory decoder was CV 512 + n (S-9.2.2, Table 3, the numbers in brackets)."""

OLD_ADDRESS_CVS = frozenset({OLD_NUMBERS + 1, OLD_NUMBERS + 9})
"""They hold the address of an accessory decoder (S-9.2.1 Appendix A)."""

SWITCH: Fields = {"active": Flag("C"), "pair": "P", "output": "O"}
ASKED = Flag("T", "an extended decoder", "a basic decoder, in the same eleven address bits")
OUTPUT: dict[str, FieldKind] = {"output": Choice("d", {0: None} | {8 + n: n for n in range(8)})}
"""CDDD of a CV access: 0000 the whole decoder (None), C = 1 the output DDD; the rest is X31."""


@accessory("10aaaaaa 1bbbCPPO", "S-9.2.1 §D, basic accessory", *BASIC, fields=SWITCH)
class BasicAccessory(Instruction):
    """Switch one output (0 or 1) of one of a decoder's pairs (0 to 3).

    >>> from dccwire import AccessoryAddress, Packet, encode
    >>> packet = Packet(AccessoryAddress(31), BasicAccessory(active=True, pair=0, output=1))
    >>> encode(packet).hex(" ")
    '9f f9 66'
    """

    active: bool
    pair: int
    output: int


@accessory(
    "10111111 1000CPPO",
    "S-9.2.1 §D, basic accessory broadcast",
    AccessoryAddress,
    "",
    reading="basic accessory broadcast",
    fields=SWITCH,
)
class BasicAccessoryBroadcast(NamedReading):
    """The same for every basic decoder: a reading of `BasicAccessory` at address 511 (X30)."""

    active: bool
    pair: int
    output: int


@accessory(
    "10aaaaaa 0bbb0cc1 000XXXXX",
    "S-9.2.1 §D, extended accessory",
    *EXTENDED,
    fields={"aspect": "X"},
)
class ExtendedAccessory(Instruction):
    """Show an aspect, 0 to 31; 0 is the absolute stop. With other top bits: X33."""

    aspect: int


@accessory(
    "10aaaaaa 0bbb0cc1 XXXXXXXX",
    "NEM 672 (2015), extended accessory",
    *EXTENDED,
    reading="extended accessory, eight-bit aspect",
    fields={"aspect": "X"},
)
class ExtendedAccessoryNem672(NamedReading):
    """Show an aspect, 0 to 255: the reading of NEM 672, which uses all eight bits (X33)."""

    aspect: int


@accessory(
    "10aaaaaa 0bbb0cc1 00000000",
    "S-9.2.1 §D, extended accessory",
    *EXTENDED,
    reading="absolute stop",
)
class AbsoluteStop(NamedReading):
    """The absolute stop aspect: a reading of `ExtendedAccessory` with aspect 0."""


@accessory(
    "10111111 00000111 000XXXXX",
    "S-9.2.1 §D, extended accessory broadcast",
    ExtendedAccessoryAddress,
    "",
    reading="extended accessory broadcast",
    fields={"aspect": "X"},
)
class ExtendedAccessoryBroadcast(NamedReading):
    """The same for every extended decoder: a reading at address 2047 (X30).

    Its absolute stop, `BF 07 00 B8` with the error byte, is derived: pattern and aspect.
    """

    aspect: int


@accessory(
    f"10aaaaaa 1bbbdddd {BYTE_LINE}",
    "S-9.2.1 §D, basic accessory CV access",
    *BASIC,
    fields={**OUTPUT, **BYTE_FIELDS},
)
class BasicAccessoryCvAccess(Instruction):
    """Verify or write a CV of the whole decoder (`output` None) or of an output 0 to 7."""

    output: int | None
    operation: CvOperation
    cv: int
    value: int


@accessory(
    f"10aaaaaa 1bbbdddd {BIT_LINE}",
    "S-9.2.1 §D, basic accessory CV access, bit manipulation",
    *BASIC,
    fields={**OUTPUT, **BIT_FIELDS},
)
class BasicAccessoryCvBitManipulation(Instruction):
    """Verify or write a bit of a CV of the whole decoder (`output` None) or of an output."""

    output: int | None
    operation: CvOperation
    cv: int
    bit: int
    value: int


@accessory(
    f"10aaaaaa 0bbb0cc1 {BYTE_LINE}",
    "S-9.2.1 §D, extended accessory CV access",
    *EXTENDED,
    fields=BYTE_FIELDS,
)
class ExtendedAccessoryCvAccess(Instruction):
    """Verify or write a CV of an extended accessory decoder."""

    operation: CvOperation
    cv: int
    value: int


@accessory(
    f"10aaaaaa 0bbb0cc1 {BIT_LINE}",
    "S-9.2.1 §D, extended accessory CV access, bit manipulation",
    *EXTENDED,
    fields=BIT_FIELDS,
)
class ExtendedAccessoryCvBitManipulation(Instruction):
    """Verify or write a bit of a CV of an extended accessory decoder."""

    operation: CvOperation
    cv: int
    bit: int
    value: int


@accessory(
    "10aaaaaa 0bbb11VV VVVVVVVV DDDDDDDD",
    "S-9.2.1 Appendix A, accessory CV access",
    *BASIC,
    fields={"cv": "V + 1", "value": "D"},
)
class LegacyAccessoryCvAccess(Instruction):
    """Write a CV in the older form, told from the extended form by its length (X32)."""

    cv: int
    value: int

    def remarks(self) -> Iterator[Remark]:
        if self.cv in OLD_ADDRESS_CVS:
            message = f"CV {self.cv} holds a decoder's address: write it with caution"
            yield Remark(Reason.CAUTION, message, "S-9.2.1 Appendix A")


@accessory("10aaaaaa 0bbb1ccT", "from memory: RCN-213", *EXTENDED, fields={"extended": ASKED})
class AccessoryNoOperation(Instruction):
    """Nothing to do, but a reply is asked for (from memory); T says which kind of decoder."""

    extended: bool


reserved(
    "10aaaaaa 1bbb0000 111000VV VVVVVVVV DDDDDDDD",
    "10aaaaaa 1bbb1ddd 111000VV VVVVVVVV DDDDDDDD",
    "10aaaaaa 0bbb0cc1 111000VV VVVVVVVV DDDDDDDD",
    clause="S-9.2.1 §D, accessory CV access",
    partitions=frozenset({Partition.ACCESSORY}),
)


class PairNumbering(Enum):
    """Where the pair numbers that operators use begin; makers do either (V9).

    The member's value is the decoder address whose first pair is number 1.
    """

    FROM_DECODER_ONE = 1
    FROM_DECODER_ZERO = 0


def number_of_pair(
    address: AnyAccessory, pair: int | None = None, *, numbering: PairNumbering
) -> int:
    """The operator's number of a decoder's pair (0 to 3), or of an extended address.

    Decoder address 1 opens with number 1 in recordings of real equipment and in the sentence
    beside the formula of S-9.2.2, CV 1 [513]; the formula itself counts from decoder address 0
    (V9). The eleven bits of an extended address count like those of address and pair together.

    Raises:
        FieldError: the address is that of the broadcast, or the number would be below 1.

    >>> number_of_pair(AccessoryAddress(31), 0, numbering=PairNumbering.FROM_DECODER_ONE)
    121
    """
    if address.broadcast:
        raise FieldError(f"{address.kind} address", f"0 to {address.number - 1}", address.number)
    index = address.number
    if isinstance(address, AccessoryAddress):
        if type(pair) is not int or not 0 <= pair <= 3:
            raise FieldError("pair", "0 to 3", pair)
        index = index * 4 + pair
    elif pair is not None:
        raise FieldError("pair", "None with an extended address", pair)
    number = index - _lowest(numbering) + 1
    if number < 1:
        raise FieldError(f"number of {address.kind} {address.number}", "1 or more", number)
    return number


def pair_of_number(number: int, *, numbering: PairNumbering) -> tuple[AccessoryAddress, int]:
    """The decoder address (not the broadcast's 511) and the pair, 0 to 3, of an operator's number.

    >>> pair_of_number(310, numbering=PairNumbering.FROM_DECODER_ONE)
    (AccessoryAddress(number=78), 1)
    """
    address, pair = divmod(_index(number, 4 * 511, numbering), 4)
    return AccessoryAddress(address), pair


def extended_of_number(number: int, *, numbering: PairNumbering) -> ExtendedAccessoryAddress:
    """The extended address of an operator's number, below the broadcast's 2047.

    >>> extended_of_number(1, numbering=PairNumbering.FROM_DECODER_ONE).number
    4
    """
    return ExtendedAccessoryAddress(_index(number, 2047, numbering))


def number_in_words(address: AnyAccessory, pair: int | None = None) -> str:
    """The operator's numbers in both numberings, for people: the second counts from address 0.

    >>> number_in_words(AccessoryAddress(31), 0)
    'pair 121, or 125 from decoder address 0'
    """
    if address.broadcast:
        return "the broadcast: every decoder"
    zero = number_of_pair(address, pair, numbering=PairNumbering.FROM_DECODER_ZERO)
    what = "pair" if isinstance(address, AccessoryAddress) else "number"
    one = f"{zero - 4}, or " if zero > 4 else ""
    return f"{what} {one}{zero} from decoder address 0"


def _lowest(numbering: PairNumbering) -> int:
    """The pair, counted from decoder address 0, that has number 1."""
    return 4 * member(PairNumbering, "numbering", numbering).value


def _index(number: int, count: int, numbering: PairNumbering) -> int:
    lowest = _lowest(numbering)
    if type(number) is not int or not 1 <= number <= count - lowest:
        raise FieldError("number of the pair", f"1 to {count - lowest}", number)
    return number - 1 + lowest
