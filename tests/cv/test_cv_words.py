"""The words of every CV, of every flag and of every value that has some, read against S-9.2.2."""

import pytest

from dccwire import cv
from dccwire.cv import VALUE_TYPES, CvValue, DecoderKind, catalogue
from dccwire.fields import Flag

RESERVED = "reserved", "reserved by the standard"
MAKER = "manufacturer unique", "the maker's manual says what it holds"
RATE = "seconds a step are value x 0.896 / steps in use"
TRIM = "factor of the voltage, value / 128"
LEVEL = "0 empty, 254 full, 255 not supported"
IDENTITY = "manufacturer's number; 255 until a factory reset is complete"
ON_TIME = "how long an output stays on; 0 is continuous"
UNUSED = "not used in the curve"
INDEX = "index page", "page of CV 257 to 512: high byte, 0 to 15 reserved, and low byte"
INDEXED = "indexed area", "CVs of the index page that CV 31 and 32 name"
MULTI_FUNCTION = [
    (1, 1, "primary address", "short address, by default 3"),
    (2, 2, "V start", "motor voltage at speed step 1"),
    (3, 3, "acceleration rate", RATE),
    (4, 4, "deceleration rate", RATE),
    (5, 5, "V high", "motor voltage at full speed"),
    (6, 6, "V mid", "motor voltage at the middle step"),
    (7, 7, "manufacturer version", "version of the decoder"),
    (8, 8, "manufacturer ID", f"{IDENTITY}; 238: 16 bits in CV 107, 108"),
    (9, 9, "total PWM period", "period of the motor's voltage"),
    (10, 10, "EMF feedback cutout", "the step above which feedback is cut"),
    (11, 11, "packet time-out", "the time that a speed lasts when no more packets come"),
    (12, 12, "power source conversion", "power sources that it turns to"),
    (13, 14, "alternate power mode functions", "functions on in alternate power mode"),
    (15, 16, "decoder lock", "writes are ignored while the two differ, but to CV 15"),
    (17, 18, "extended address", "two-byte address, a pair"),
    (19, 19, "consist address", "consist and direction in it"),
    (20, 20, "reserved", "reserved by the standard; from memory: LongConsistAddress, with CV 19"),
    (21, 22, "consist address active functions", "functions that obey the consist"),
    (23, 23, "acceleration adjustment", "added to CV 3 or subtracted"),
    (24, 24, "deceleration adjustment", "added to CV 4 or subtracted"),
    (25, 25, "speed table or mid-range step", "a preset table, or where V mid stands"),
    (26, 26, *RESERVED),
    (27, 27, "automatic stopping", "what makes it stop by itself"),
    (28, 28, "bidirectional configuration", "when it transmits by itself"),
    (29, 29, "configuration", "switches of the decoder"),
    (30, 30, "error information", "0 is no error"),
    (31, 32, *INDEX),
    (33, 46, "output location", "outputs of FL forward, FL reverse, F1 to F12"),
    (47, 64, *MAKER),
    (65, 65, "kick start", "extra kick when the motor starts"),
    (66, 66, "forward trim", TRIM),
    (67, 94, "speed table", "motor voltage of each of 28 steps"),
    (95, 95, "reverse trim", TRIM),
    (96, 104, *RESERVED),
    (105, 106, "user identification", "the user's own"),
    (107, 108, "manufacturer ID, 16 bits", "if CV 8 is 238; else reserved by the standard"),
    (109, 111, *RESERVED),
    (112, 256, *MAKER),
    (257, 512, *INDEXED),
    (513, 879, *MAKER),
    (880, 891, "reserved", "reserved for the use of makers, called dynamic (V17)"),
    (892, 892, "decoder load", "amount of the load, and a bit: positive or negative (V21)"),
    (893, 893, "dynamic flags", "flags"),
    (894, 894, "fuel", LEVEL),
    (895, 895, "water", LEVEL),
    (896, 1024, "sound and function modules", "CVs of modules beside the decoder"),
]
ACCESSORY = [
    (1, 1, "decoder address, low", "low part of the address, by default 1"),
    (2, 2, "auxiliary activation", "what inputs activate"),
    (3, 6, "on-time of F1 to F4", ON_TIME),
    (7, 7, "manufacturer version", "version of the decoder"),
    (8, 8, "manufacturer ID", IDENTITY),
    (9, 9, "decoder address, high", "high part of the address, by default 0"),
    (10, 27, *RESERVED),
    (28, 28, "bidirectional configuration", "whether it transmits by itself"),
    (29, 29, "configuration", "switches of the decoder"),
    (30, 30, *RESERVED),
    (31, 32, *INDEX),
    (33, 81, *MAKER),
    (82, 111, *RESERVED),
    (112, 256, *MAKER),
    (257, 512, *INDEXED),
    (513, 513, "decoder address, low", "old number of CV 1: low part of the address, by default 1"),
    (514, 514, "auxiliary activation", "old number of CV 2: what inputs activate"),
    (515, 518, "on-time of F1 to F4", f"old number of CV 3 to 6: {ON_TIME}"),
    (519, 519, "manufacturer version", "old number of CV 7: version of the decoder"),
    (520, 520, "manufacturer ID", f"old number of CV 8: {IDENTITY}"),
    (
        521,
        521,
        "decoder address, high",
        "old number of CV 9: high part of the address, by default 0",
    ),
    (522, 539, *MAKER),
    (
        540,
        540,
        "bidirectional configuration",
        "old number of CV 28: whether it transmits by itself",
    ),
    (541, 541, "configuration", "old number of CV 29: switches of the decoder"),
    (542, 895, *MAKER),
    (896, 1024, *RESERVED),
]


@pytest.mark.parametrize("decoder", DecoderKind)
def test_every_cv_has_the_name_and_the_words_of_the_table(decoder: DecoderKind) -> None:
    """Both kinds of decoder, the old numbers of accessory decoders among them."""
    found = [(one.first, one.last, one.name, one.content) for one in catalogue(decoder)]
    assert found == (ACCESSORY if decoder is DecoderKind.ACCESSORY else MULTI_FUNCTION)


SWITCH = "disabled", "enabled"
SUBTRACT = "added to the rate", "subtracted from the rate"
FLAGS = {
    "AccessoryBidirectionalConfiguration.unsolicited": SWITCH,
    "AccessoryConfiguration.bidirectional_communication": SWITCH,
    "AccessoryConfiguration.extended": ("basic accessory decoder", "extended accessory decoder"),
    "AccessoryConfiguration.output_addressing": ("decoder addressing", "output addressing"),
    "ConsistAddress.reversed": ("", ""),
    "LongConsistAddress.reversed": ("", ""),
    "Configuration.direction_reversed": ("normal direction", "forward and reverse change places"),
    "Configuration.headlight_in_function_group": (
        "FL is bit 4 of the speed: 14 steps",
        "FL in function group one: 28 steps",
    ),
    "Configuration.power_source_conversion": ("digital only", "sources of CV 12"),
    "Configuration.bidirectional_communication": SWITCH,
    "Configuration.speed_table": ("by CV 2, 5, 6", "by CV 67-94, trims 66, 95 (V5)"),
    "Configuration.extended_addressing": ("one-byte address, CV 1", "two-byte address, CV 17, 18"),
    "AutomaticStopping.asymmetry_right": ("ignored", "stops on asymmetry, right rail"),
    "AutomaticStopping.asymmetry_left": ("ignored", "stops on asymmetry, left rail"),
    "AutomaticStopping.cutout_signal": ("ignored", "stops on the cutout signal"),
    "AutomaticStopping.reverse_dc": ("ignored", "stops on reverse DC"),
    "AutomaticStopping.forward_dc": ("ignored", "stops on forward DC"),
    "BidirectionalConfiguration.unsolicited": SWITCH,
    "BidirectionalConfiguration.by_asymmetric_signal": SWITCH,
    "BidirectionalConfiguration.by_signal_controlled_influence": SWITCH,
    "AccelerationAdjustment.subtract": SUBTRACT,
    "DecelerationAdjustment.subtract": SUBTRACT,
}
"""What a bit says as 0 and as 1; where nothing, field and bit say it all."""


def test_every_flag_has_the_words_of_the_table() -> None:
    """As 0 and as 1."""
    found = {
        f"{name}.{field}": (kind.meaning(False), kind.meaning(True))
        for name, cls in VALUE_TYPES.items()
        for field, kind in cls.kinds.items()
        if isinstance(kind, Flag)
    }
    assert found == FLAGS


SAID: list[tuple[CvValue, str]] = [
    (
        cv.PrimaryAddress(0),
        "no address: converts to the power source of CV 12, still answers service mode (V20)",
    ),
    (cv.PrimaryAddress(9), "short 9, while CV 29 bit 5 is 0"),
    (cv.ExtendedAddress(1), "long 1, while CV 29 bit 5 is 1"),
    (cv.ExtendedAddress(0), "long 0, while CV 29 bit 5 is 1 (0 is not excluded anywhere: X2)"),
    (cv.ConsistAddress(), "in no consist (bit 7 has no meaning then: X13)"),
    (cv.ConsistAddress(address=5), "in consist 5, this unit forward"),
    (cv.ConsistAddress(reversed=True, address=5), "in consist 5, this unit reversed"),
    (cv.LongConsistAddress(), "in no consist"),
    (cv.LongConsistAddress.at(300, reversed=True), "in consist 300, this unit reversed"),
    (cv.LongConsistAddress.at(300, reversed=False), "in consist 300, this unit forward"),
    (cv.DecoderLockKey(1, 1), "unlocked"),
    (cv.DecoderLockKey(1, 2), "locked: only CV 15 can be written (CV 16: not stated)"),
    (cv.StartVoltage(0), "0.0% of the full voltage"),
    (cv.StartVoltage(1), "0.4% of the full voltage"),
    (cv.HighVoltage(0), UNUSED),
    (cv.HighVoltage(1), UNUSED),
    (cv.HighVoltage(2), "0.8% of the full voltage"),
    (cv.MidVoltage(2), "0.8% of the full voltage"),
    (cv.MidVoltage(255), "100.0% of the full voltage"),
    (cv.SpeedTableChoice(255), "V mid at step 14 of 28 (default)"),
    (cv.FuelLevel(254), "100% full"),
    (cv.WaterLevel(255), "not supported"),
    (cv.DecelerationRate(0), "no delay"),
    (cv.AccelerationRate(0), "no delay"),
    (
        cv.AccelerationRate(10),
        "a step takes 0.640 s at 14 steps, 0.320 s at 28 steps; full speed after 8.96 s",
    ),
    (
        cv.DecelerationRate(255),
        "a step takes 16.320 s at 14 steps, 8.160 s at 28 steps; from full speed to a "
        "stop after 228.48 s",
    ),
    (cv.AccelerationAdjustment.by(-5), "-5 to the rate of CV 3, kept within 0 to 255 (V3)"),
    (cv.DecelerationAdjustment.by(5), "+5 to the rate of CV 4, kept within 0 to 255 (V3)"),
    (cv.PwmPeriod(exponent=1, mantissa=3), "period 286 us, 3497 Hz"),
    (cv.EmfFeedbackCutout(0), "outside the speed steps 1 to 128 of the text"),
    (cv.EmfFeedbackCutout(1), "no feedback above step 1 of 128, of which 126 exist (V16)"),
    (cv.EmfFeedbackCutout(128), "no feedback above step 128 of 128, of which 126 exist (V16)"),
    (cv.EmfFeedbackCutout(129), "outside the speed steps 1 to 128 of the text"),
    (cv.PacketTimeOut(1), "in units that the decoder's maker gives"),
    (cv.SpeedTableChoice(0), "not used"),
    (cv.SpeedTableChoice(1), "not used"),
    (cv.SpeedTableChoice(2), "preset speed table 2, linear"),
    (cv.SpeedTableChoice(3), "preset speed table 3"),
    (cv.SpeedTableChoice(127), "preset speed table 127"),
    (cv.SpeedTableChoice(128), "the meaning of 128 is open (V4)"),
    (cv.SpeedTableChoice(129), "V mid at step 1 of 28"),
    (cv.SpeedTableChoice(154), "V mid at step 26 of 28"),
    (cv.SpeedTableChoice(155), "V mid at step 14 of 28 (default)"),
    (cv.ErrorInformation(1), "an error, by the maker's numbers"),
    (cv.ErrorInformation(0), "no error"),
    (cv.IndexPage(16, 0), "index page 0 of 61440, counted from 0"),
    (cv.IndexPage(255, 255), "index page 61439 of 61440, counted from 0"),
    (cv.ForwardTrim(0), "not implemented"),
    (cv.ReverseTrim(192), "voltage x 1.500"),
    (cv.SpeedTable(tuple(range(28))), "28 points from 0 to 27"),
    (cv.SpeedTable((9, 5, *range(25), 3)), "28 points from 9 to 3; falls at point 2, 3, 28"),
    (
        cv.DecoderLoad(bit_7=0, amount=5),
        "load 5, bit 7 = 0: positive or negative is not stated (V21)",
    ),
    (cv.FuelLevel(0), "0% full"),
    (cv.FuelLevel(255), "not supported"),
    (cv.WaterLevel(254), "100% full"),
    (cv.AccessoryDecoderAddressing(310), "accessory 310, while CV 29 bit 6 is 0"),
    (cv.AccessoryDecoderAddressing(510), "accessory 510, while CV 29 bit 6 is 0"),
    (
        cv.AccessoryDecoderAddressing(511),
        "accessory 511 (the broadcast's pattern, no decoder of its own: X30), "
        "while CV 29 bit 6 is 0",
    ),
    (cv.AccessoryOutputAddressing(1), "output 0 of the formula, while CV 29 bit 6 is 1"),
    (cv.AccessoryOutputAddressing(2047), "output 2046 of the formula, while CV 29 bit 6 is 1"),
]
"""What the whole of a value means."""


@pytest.mark.parametrize(("value", "words"), SAID)
def test_words_say_what_the_whole_means(value: CvValue, words: str) -> None:
    """In one line."""
    assert value.in_words() == words


def test_a_value_says_something_or_its_fields_do() -> None:
    """The types that have words are those of the list above; the others are silent."""
    speaks = {name for name, cls in VALUE_TYPES.items() if cls.in_words is not CvValue.in_words}
    assert speaks == {type(value).__name__ for value, _ in SAID}
    assert cv.KickStart(3).in_words() == ""
