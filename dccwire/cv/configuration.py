"""The switches of a multi-function decoder, and what it tells: CV 12, 15, 16, 27-30, 105 on.

Writing on the main changes every decoder at that address; a change of CV 29 bit 5 makes a decoder
answer to its other address.
"""

from __future__ import annotations

from dataclasses import dataclass

from dccwire.cv.kinds import ReservedBits
from dccwire.cv.values import CvValue, cv_value, off
from dccwire.fields import Flag, Functions

__all__ = [
    "AutomaticStopping",
    "BidirectionalConfiguration",
    "Configuration",
    "DecoderLoad",
    "DecoderLockKey",
    "DynamicFlags",
    "ErrorInformation",
    "FuelLevel",
    "PowerSourceConversion",
    "UserIdentification",
    "WaterLevel",
]


@cv_value((29,), "0RATBPHD", "S-9.2.2, CV 29")
class Configuration(CvValue):
    """CV 29: the configuration; what is not named is off. Bit 7 = 1 is an accessory decoder's.

    128 speed steps come by another instruction and need no bit here.

    >>> Configuration(headlight_in_function_group=True, extended_addressing=True).to_cvs()
    {29: 34}
    """

    direction_reversed: bool = off(
        Flag("D", "forward and reverse change places", "normal direction")
    )
    headlight_in_function_group: bool = off(
        Flag("H", "FL in function group one: 28 steps", "FL is bit 4 of the speed: 14 steps")
    )
    power_source_conversion: bool = off(Flag("P", "sources of CV 12", "digital only"))
    bidirectional_communication: bool = off(Flag("B", "enabled", "disabled"))
    speed_table: bool = off(Flag("T", "by CV 67-94, trims 66, 95 (V5)", "by CV 2, 5, 6"))
    extended_addressing: bool = off(
        Flag("A", "two-byte address, CV 17, 18", "one-byte address, CV 1")
    )
    reserved: int = off(ReservedBits("R", (6,)))


_SOURCES = ("analog", "radio", "system-2", "system-3", "system-4", "system-5")


@cv_value((12,), "RRSSSSSS", "S-9.2.2, CV 12 and Appendix B")
class PowerSourceConversion(CvValue):
    """CV 12: the power sources that a decoder turns to, bit 0 analog, bit 1 radio, 2-5 others.

    Bits 6 and 7 are unassigned.

    >>> PowerSourceConversion(sources=0b11)
    PowerSourceConversion(sources=3, reserved=0)
    """

    sources: int = off(Functions("S", _SOURCES))
    reserved: int = off(ReservedBits("R", (6, 7)))


@cv_value((15, 16), "KKKKKKKK NNNNNNNN", "S-9.2.2, CV 15 and 16")
class DecoderLockKey(CvValue):
    """CV 15 and 16: the decoder ignores writes to other CVs than 15 while the two differ.

    The number tells a vehicle's decoders apart: 1 motor, 2 sound, 3 and up others. The text
    does not say whether the lock holds for CV 16 too.

    >>> DecoderLockKey(key=1, number=2).locked
    True
    """

    key: int
    number: int

    @property
    def locked(self) -> bool:
        """Whether writes are ignored."""
        return self.key != self.number

    def in_words(self) -> str:
        locked = "locked: only CV 15 can be written (CV 16: not stated)"
        return locked if self.locked else "unlocked"


@cv_value((27,), "RRFVRCLA", "S-9.2.2, CV 27")
class AutomaticStopping(CvValue):
    """CV 27: what makes a decoder stop by itself; what is not named is off.

    >>> AutomaticStopping(asymmetry_right=True, forward_dc=True).to_cvs()
    {27: 33}
    """

    asymmetry_right: bool = off(Flag("A", "stops on asymmetry, right rail", "ignored"))
    asymmetry_left: bool = off(Flag("L", "stops on asymmetry, left rail", "ignored"))
    cutout_signal: bool = off(Flag("C", "stops on the cutout signal", "ignored"))
    reverse_dc: bool = off(Flag("V", "stops on reverse DC", "ignored"))
    forward_dc: bool = off(Flag("F", "stops on forward DC", "ignored"))
    reserved: int = off(ReservedBits("R", (3, 6, 7)))


@cv_value((28,), "RRRRRSAU", "S-9.2.2, CV 28")
class BidirectionalConfiguration(CvValue):
    """CV 28: when a decoder transmits by itself (edition of 2012); what is not named is off."""

    unsolicited: bool = off(Flag("U", "enabled", "disabled"))
    by_asymmetric_signal: bool = off(Flag("A", "enabled", "disabled"))
    by_signal_controlled_influence: bool = off(Flag("S", "enabled", "disabled"))
    reserved: int = off(ReservedBits("R", (3, 4, 5, 6, 7)))


@cv_value((30,), "EEEEEEEE", "S-9.2.2, CV 30")
class ErrorInformation(CvValue):
    """CV 30: 0 is no error; other numbers are the maker's."""

    error: int

    def in_words(self) -> str:
        return "an error, by the maker's numbers" if self.error else "no error"


@cv_value((105, 106), "FFFFFFFF SSSSSSSS", "S-9.2.2, CV 105 and 106")
class UserIdentification(CvValue):
    """CV 105 and 106: two bytes that are the user's own."""

    first: int
    second: int


@cv_value((892,), "BAAAAAAA", "S-9.2.2, CV 892")
class DecoderLoad(CvValue):
    """CV 892: the amount of the load, 0 to 127, and a bit that tells positive from negative.

    Which value of the bit is which the text does not say (V21): it is shown as it stands.

    >>> DecoderLoad.from_cvs({892: 0x85})
    DecoderLoad(bit_7=1, amount=5)
    """

    bit_7: int
    amount: int

    def in_words(self) -> str:
        return f"load {self.amount}, bit 7 = {self.bit_7}: positive or negative is not stated (V21)"


@cv_value((893,), "FFFFFFFF", "S-9.2.2, CV 893")
class DynamicFlags(CvValue):
    """CV 893: dynamic flags, as they stand."""

    flags: int


@dataclass(frozen=True, eq=False, repr=False)
class _Level(CvValue):
    __slots__ = ()
    level: int

    @property
    def fraction(self) -> float | None:
        """0 empty to 1 full; None if not supported."""
        return None if self.level == 255 else self.level / 254

    def in_words(self) -> str:
        return "not supported" if self.fraction is None else f"{self.fraction:.0%} full"


@cv_value((894,), "LLLLLLLL", "S-9.2.2, CV 894")
class FuelLevel(_Level):
    """CV 894: 0 empty, 254 full, 255 not supported.

    >>> FuelLevel(127).fraction, FuelLevel(255).in_words()
    (0.5, 'not supported')
    """


@cv_value((895,), "LLLLLLLL", "S-9.2.2, CV 895")
class WaterLevel(_Level):
    """CV 895: 0 empty, 254 full, 255 not supported."""
