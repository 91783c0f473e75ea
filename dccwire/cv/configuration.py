"""The switches of a multi-function decoder: CV 12, 15, 16, 27, 28, 29 (S-9.2.2).

Writing on the main changes every decoder at that address; a change of CV 29 bit 5 makes a decoder
answer to its other address.
"""

from __future__ import annotations

from dccwire.cv.kinds import ReservedBits
from dccwire.cv.values import CvValue, cv_value
from dccwire.fields import Flag, Functions

__all__ = [
    "AutomaticStopping",
    "BidirectionalConfiguration",
    "Configuration",
    "DecoderLockKey",
    "PowerSourceConversion",
]


@cv_value(
    (29,),
    "0RATBPHD",
    "S-9.2.2, CV 29",
    fields={
        "direction_reversed": Flag("D", "forward and reverse change places", "normal direction"),
        "headlight_in_function_group": Flag(
            "H", "FL in function group one: 28 steps", "FL is bit 4 of the speed: 14 steps"
        ),
        "power_source_conversion": Flag("P", "sources of CV 12", "digital only"),
        "bidirectional_communication": Flag("B", "enabled", "disabled"),
        "speed_table": Flag("T", "by CV 67-94, trims 66, 95 (V5)", "by CV 2, 5, 6"),
        "extended_addressing": Flag("A", "two-byte address, CV 17, 18", "one-byte address, CV 1"),
        "reserved": ReservedBits("R", (6,)),
    },
)
class Configuration(CvValue):
    """CV 29: the configuration; what is not named is off. Bit 7 = 1 is an accessory decoder's.

    128 speed steps are an instruction of their own and need no bit here.

    >>> Configuration(
    ...     headlight_in_function_group=True, power_source_conversion=True, extended_addressing=True
    ... ).to_cvs()
    {29: 38}
    >>> Configuration.from_cvs({29: 6}).extended_addressing
    False
    """

    direction_reversed: bool = False
    headlight_in_function_group: bool = False
    power_source_conversion: bool = False
    bidirectional_communication: bool = False
    speed_table: bool = False
    extended_addressing: bool = False
    reserved: int = 0


@cv_value(
    (12,),
    "RRSSSSSS",
    "S-9.2.2, CV 12 and Appendix B",
    fields={
        "sources": Functions(
            "S", ("analog", "radio", "system-2", "system-3", "system-4", "system-5")
        ),
        "reserved": ReservedBits("R", (6, 7)),
    },
)
class PowerSourceConversion(CvValue):
    """CV 12: the power sources that a decoder turns to, bit 0 analog, bit 1 radio, 2-5 others.

    Bits 6 and 7 are unassigned.

    >>> PowerSourceConversion(sources=0b11)
    PowerSourceConversion(sources=3, reserved=0)
    """

    sources: int = 0
    reserved: int = 0


@cv_value(
    (15, 16),
    "KKKKKKKK NNNNNNNN",
    "S-9.2.2, CV 15 and 16",
    fields={"key": "K", "number": "N"},
)
class DecoderLockKey(CvValue):
    """CV 15 and 16: the decoder ignores writes to other CVs than 15 while the two differ.

    The number tells a vehicle's decoders apart: 1 motor, 2 sound, 3 and up others. Whether CV 16
    itself is protected is not stated.

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
        """Locked or not."""
        return "locked: only CV 15 can be written" if self.locked else "unlocked"


@cv_value(
    (27,),
    "RRFVRCLA",
    "S-9.2.2, CV 27",
    fields={
        "asymmetry_right": Flag("A", "stops on asymmetry, right rail", "ignored"),
        "asymmetry_left": Flag("L", "stops on asymmetry, left rail", "ignored"),
        "cutout_signal": Flag("C", "stops on the cutout signal", "ignored"),
        "reverse_dc": Flag("V", "stops on reverse DC", "ignored"),
        "forward_dc": Flag("F", "stops on forward DC", "ignored"),
        "reserved": ReservedBits("R", (3, 6, 7)),
    },
)
class AutomaticStopping(CvValue):
    """CV 27: what makes a decoder stop by itself; what is not named is off.

    >>> AutomaticStopping(asymmetry_right=True, forward_dc=True).to_cvs()
    {27: 33}
    """

    asymmetry_right: bool = False
    asymmetry_left: bool = False
    cutout_signal: bool = False
    reverse_dc: bool = False
    forward_dc: bool = False
    reserved: int = 0


@cv_value(
    (28,),
    "RRRRRSAU",
    "S-9.2.2, CV 28",
    fields={
        "unsolicited": Flag("U", "enabled", "disabled"),
        "by_asymmetric_signal": Flag("A", "enabled", "disabled"),
        "by_signal_controlled_influence": Flag("S", "enabled", "disabled"),
        "reserved": ReservedBits("R", (3, 4, 5, 6, 7)),
    },
)
class BidirectionalConfiguration(CvValue):
    """CV 28: when a decoder transmits by itself (edition of 2012); what is not named is off.

    >>> BidirectionalConfiguration(unsolicited=True).to_cvs()
    {28: 1}
    """

    unsolicited: bool = False
    by_asymmetric_signal: bool = False
    by_signal_controlled_influence: bool = False
    reserved: int = 0
