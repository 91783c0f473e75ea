"""What each field of each instruction may hold, typed in from the standards, for any test.

Nothing here comes from the code: a bound that moves there must fail against this table.
"""

from collections.abc import Iterator
from random import Random
from typing import Any

YES_NO = (False, True)
BIT, BYTE = range(2), range(256)
CV_NUMBERS = range(1, 1025)
OPERATIONS = ("verify", "write")
OUTPUTS = (None, *range(8))
CV_BYTE = {"operation": OPERATIONS, "cv": CV_NUMBERS, "value": BYTE}
CV_BIT = {"operation": OPERATIONS, "cv": CV_NUMBERS, "bit": range(8), "value": BIT}
BASIC = {"address": range(512)}
EXTENDED = {"address": range(2048)}
PAIR = {"active": YES_NO, "pair": range(4), "output": BIT}
SPEED_128 = {"forward": YES_NO, "speed": range(128)}
FLAGS = (
    "disable-cv-access",
    "disable-acknowledgement-request",
    "activate-bidirectional-communication",
    "set-bidirectional-communication",
    "set-cv-access",
    "accept-cv-access",
)

LEGAL: dict[str, dict[str, Any]] = {
    "DigitalDecoderReset": {},
    "Reset": {},
    "HardReset": {},
    "FactoryTest": {"d": BIT},
    "SetDecoderFlags": {"set": YES_NO, "flag": FLAGS, "sub_address": range(8)},
    "SetExtendedAddressing": {"extended": YES_NO},
    "DecoderAcknowledgementRequest": {"d": BIT},
    "ConsistControl": {"reversed": YES_NO, "consist": range(128)},
    "SpeedStepControl128": SPEED_128,
    "RestrictedSpeedStep": {"enabled": YES_NO, "c": BIT, "speed": range(16)},
    "AnalogFunctionGroup": {"output": (1,), "value": BYTE},
    "SpeedAndDirection": {"forward": YES_NO, "c": BIT, "speed": range(16)},
    "BroadcastStop": {"forward": YES_NO, "ignore_direction": YES_NO, "cut_power": YES_NO},
    "FunctionGroupOne": {"functions": range(1 << 5)},
    "FunctionGroupTwoF5F8": {"functions": range(1 << 4)},
    "FunctionGroupTwoF9F12": {"functions": range(1 << 4)},
    "BinaryStateLongForm": {"on": YES_NO, "state": range(32768)},
    "BinaryStateShortForm": {"on": YES_NO, "state": range(128)},
    "FunctionsF13F20": {"functions": BYTE},
    "FunctionsF21F28": {"functions": BYTE},
    "CvAccessShortForm": {"adjustment": ("acceleration", "deceleration"), "value": BYTE},
    "CvAccessLongForm": CV_BYTE,
    "CvBitManipulation": CV_BIT,
    "Idle": {},
    "FunctionsF29F36": {"functions": BYTE},
    "FunctionsF37F44": {"functions": BYTE},
    "FunctionsF45F52": {"functions": BYTE},
    "FunctionsF53F60": {"functions": BYTE},
    "FunctionsF61F68": {"functions": BYTE},
    "SpeedAndFunctionsF0F7": {**SPEED_128, "functions": BYTE},
    "SpeedAndFunctionsF0F15": {**SPEED_128, "functions": range(1 << 16)},
    "CvPairShortForm": {
        "pair": ("extended-address-17-18", "index-31-32", "consist-19-20"),
        "first": BYTE,
        "second": BYTE,
    },
    "ModelTime": {
        "minute": range(60),
        "weekday": range(8),
        "hour": range(24),
        "jumped": YES_NO,
        "factor": range(64),
    },
    "ModelDate": {"day": range(1, 32), "month": range(1, 13), "year": range(4096)},
    "SystemTime": {"time": range(1 << 16)},
    "BasicAccessory": {**BASIC, **PAIR},
    "BasicAccessoryBroadcast": {"address": (511,), **PAIR},
    "ExtendedAccessory": {**EXTENDED, "aspect": range(32)},
    "ExtendedAccessoryNem672": {**EXTENDED, "aspect": BYTE},
    "AbsoluteStop": EXTENDED,
    "ExtendedAccessoryBroadcast": {"address": (2047,), "aspect": range(32)},
    "ExtendedCvRead": {"sequence": range(4), "cv_address": range(1 << 24)},
    "BasicAccessoryCvAccess": {**BASIC, "output": OUTPUTS, **CV_BYTE},
    "BasicAccessoryCvBitManipulation": {**BASIC, "output": OUTPUTS, **CV_BIT},
    "ExtendedAccessoryCvAccess": {**EXTENDED, **CV_BYTE},
    "ExtendedAccessoryCvBitManipulation": {**EXTENDED, **CV_BIT},
    "LegacyAccessoryCvAccess": {**BASIC, "cv": CV_NUMBERS, "value": BYTE},
    "AccessoryNoOperation": {**EXTENDED, "extended": YES_NO},
    "DirectByteAccess": CV_BYTE,
    "DirectBitManipulation": CV_BIT,
    "RegisterAccess": {"operation": OPERATIONS, "register": range(1, 9), "value": BYTE},
    "AddressQuery": {},
    "DecoderLock": {"unlocked": range(1, 128)},
    "AddressOnlyAccess": {"operation": OPERATIONS, "value": range(128)},
    "PageRegisterAccess": {"operation": OPERATIONS, "page": BYTE},
    "DataRegisterAccess": {"operation": OPERATIONS, "register": range(4), "value": BYTE},
    "PagePreset": {},
    "DecoderFactoryReset": {},
}
"""Every field's legal values, in the plain form; the clause of each stands beside its twin."""

# The functions of each mask, bit 0 first: S-9.2.1 §C, the rest RCN-212 (from memory).
FUNCTIONS = {
    "FunctionGroupOne": ["F1", "F2", "F3", "F4", "FL"],
    "FunctionGroupTwoF5F8": ["F5", "F6", "F7", "F8"],
    "FunctionGroupTwoF9F12": ["F9", "F10", "F11", "F12"],
    "FunctionsF13F20": ["F13", "F14", "F15", "F16", "F17", "F18", "F19", "F20"],
    "FunctionsF21F28": ["F21", "F22", "F23", "F24", "F25", "F26", "F27", "F28"],
    "FunctionsF29F36": ["F29", "F30", "F31", "F32", "F33", "F34", "F35", "F36"],
    "FunctionsF37F44": ["F37", "F38", "F39", "F40", "F41", "F42", "F43", "F44"],
    "FunctionsF45F52": ["F45", "F46", "F47", "F48", "F49", "F50", "F51", "F52"],
    "FunctionsF53F60": ["F53", "F54", "F55", "F56", "F57", "F58", "F59", "F60"],
    "FunctionsF61F68": ["F61", "F62", "F63", "F64", "F65", "F66", "F67", "F68"],
    "SpeedAndFunctionsF0F7": ["FL", "F1", "F2", "F3", "F4", "F5", "F6", "F7"],
    "SpeedAndFunctionsF0F15": [
        *("FL", "F1", "F2", "F3", "F4", "F5", "F6", "F7"),
        *("F8", "F9", "F10", "F11", "F12", "F13", "F14", "F15"),
    ],
}

# The numbers of each kind of address: S-9.2.1 §A and §D, C7, X1, X2; S-9.2.3 §E names none.
ADDRESSES = {
    "broadcast": range(1),
    "short": range(1, 128),
    "accessory-byte": range(128, 192),
    "accessory": range(512),
    "extended-accessory": range(2048),
    "long": range(10240),
    "reserved": range(232, 255),
    "idle": range(255, 256),
    "programming-track": range(1),
}


def drawn(name: str, draws: int = 100, seed: str = "") -> Iterator[dict[str, Any]]:
    """The lowest values, the highest, then seeded draws."""
    legal = LEGAL[name]
    yield {field: values[0] for field, values in legal.items()}
    yield {field: values[-1] for field, values in legal.items()}
    random = Random(name + seed)
    for _ in range(draws):
        yield {field: random.choice(values) for field, values in legal.items()}
