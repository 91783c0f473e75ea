"""What the CVs of accessory decoders hold: CV 1 and 9, 3-6, 28, 29 (S-9.2.2, formerly 512 + n).

CV 1 and 9 have two readings, and CV 29 bit 6 chooses: decoder addressing or output addressing.
An 'output' of S-9.2.2 is a pair of S-9.2.1 §D.
"""

from __future__ import annotations

from typing import Self

from dccwire.accessory import PairNumbering, extended_of_number, number_of_pair, pair_of_number
from dccwire.address import AccessoryAddress, ExtendedAccessoryAddress
from dccwire.cv.kinds import ReservedBits
from dccwire.cv.values import CvValue, DecoderKind, cv_value, off
from dccwire.fields import Flag, Number

__all__ = [
    "AccessoryBidirectionalConfiguration",
    "AccessoryConfiguration",
    "AccessoryDecoderAddressing",
    "AccessoryOnTime",
    "AccessoryOutputAddressing",
]


@cv_value(
    (1, 9),
    "RRAAAAAA SSSSSBBB",
    "S-9.2.2, CV 1 [513] and 9 [521], decoder addressing",
    fields={"address": "B A"},
    decoder=DecoderKind.ACCESSORY,
)
class AccessoryDecoderAddressing(CvValue):
    """CV 1 and 9 where CV 29 bit 6 is 0: the 9-bit address of the decoder, 1 by default.

    The low six bits of CV 1 stand in byte one; bits 2-0 of CV 9 turned over, as 6-4 of byte two.

    >>> AccessoryDecoderAddressing(78).to_cvs()
    {1: 14, 9: 1}
    """

    address: int = 1
    reserved_low: int = off(ReservedBits("R", (6, 7), cv=1))
    reserved_high: int = off(ReservedBits("S", (3, 4, 5, 6, 7), cv=9))

    def to_address(self) -> AccessoryAddress:
        """The address of basic accessory packets to it."""
        return AccessoryAddress(self.address)

    def in_words(self) -> str:
        told = (
            " (the broadcast's pattern, no decoder of its own: X30)" * self.to_address().broadcast
        )
        return f"accessory {self.address}{told}, while CV 29 bit 6 is 0"


@cv_value(
    (1, 9),
    "AAAAAAAA BBBBBBBB",
    "S-9.2.2, CV 1 [513] and 9 [521], output addressing",
    fields={"number": Number("B A", legal=range(1, 2048))},
    decoder=DecoderKind.ACCESSORY,
)
class AccessoryOutputAddressing(CvValue):
    """CV 1 and 9 where CV 29 bit 6 is 1: the number of the (first) output, 1 by default.

    number = CV 1 + CV 9 × 256 (V11), at most 2047 (V10); the output that the standard's formula
    works on is one less. Where its bits go the standard contradicts itself (V9), so that a packet's
    address is asked for by a `PairNumbering`: FROM_DECODER_ZERO is the formula, read literally,
    FROM_DECODER_ONE the sentence beside it. A FieldError where that is no address of a decoder.

    >>> output = AccessoryOutputAddressing(310)
    >>> output.to_cvs(), output.pair(numbering=PairNumbering.FROM_DECODER_ONE)
    ({1: 54, 9: 1}, (AccessoryAddress(number=78), 1))
    """

    number: int = 1

    @property
    def output(self) -> int:
        """The output of the formula, from 0."""
        return self.number - 1

    def pair(self, *, numbering: PairNumbering) -> tuple[AccessoryAddress, int]:
        """The address of basic packets to it, and the pair, 0 to 3."""
        return pair_of_number(self.number, numbering=numbering)

    def to_address(self, *, numbering: PairNumbering) -> ExtendedAccessoryAddress:
        """The address of extended packets to it (X29)."""
        return extended_of_number(self.number, numbering=numbering)

    @classmethod
    def of(
        cls,
        address: AccessoryAddress | ExtendedAccessoryAddress,
        pair: int | None = None,
        *,
        numbering: PairNumbering,
    ) -> Self:
        """The value for what packets address; `pair`, 0 to 3, with a basic address alone."""
        return cls(number_of_pair(address, pair, numbering=numbering))

    def in_words(self) -> str:
        return f"output {self.output} of the formula, while CV 29 bit 6 is 1"


@cv_value(
    (3, 4, 5, 6),
    "AAAAAAAA BBBBBBBB CCCCCCCC DDDDDDDD",
    "S-9.2.2, CV 3-6 [515-518]",
    fields={"f1": "A", "f2": "B", "f3": "C", "f4": "D"},
    decoder=DecoderKind.ACCESSORY,
)
class AccessoryOnTime(CvValue):
    """CV 3 to 6: how long F1 to F4 stay on; 0 is continuous.

    >>> AccessoryOnTime(f3=20).to_cvs()
    {3: 0, 4: 0, 5: 20, 6: 0}
    """

    f1: int = 0
    f2: int = 0
    f3: int = 0
    f4: int = 0


@cv_value((28,), "RRRRRRRU", "S-9.2.2, CV 28 [540]", decoder=DecoderKind.ACCESSORY)
class AccessoryBidirectionalConfiguration(CvValue):
    """CV 28 of an accessory decoder: bit 0 alone."""

    unsolicited: bool = off(Flag("U", "enabled", "disabled"))
    reserved: int = off(ReservedBits("R", (1, 2, 3, 4, 5, 6, 7)))


@cv_value((29,), "1OESBRRR", "S-9.2.2, CV 29 [541]", decoder=DecoderKind.ACCESSORY)
class AccessoryConfiguration(CvValue):
    """CV 29 of an accessory decoder; bit 7 is 1, and what is not named is off.

    In service mode it need not look at a CV number's two top bits (V18).

    >>> AccessoryConfiguration(output_addressing=True).to_cvs()
    {29: 192}
    """

    bidirectional_communication: bool = off(Flag("B", "enabled", "disabled"))
    extended: bool = off(Flag("E", "extended accessory decoder", "basic accessory decoder"))
    output_addressing: bool = off(Flag("O", "output addressing", "decoder addressing"))
    reserved_low: int = off(ReservedBits("R", (0, 1, 2)))
    reserved_high: int = off(ReservedBits("S", (4,)))
