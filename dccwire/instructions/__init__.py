"""The instructions to multi-function decoders, one small file a family of S-9.2.1 §C.

Every format is one layout line beside its class; importing this package enters them all in the
registry of `dccwire.formats`. `later` holds what is known from memory alone.
"""

from dccwire.instructions.advanced_operations import (
    AnalogFunctionGroup,
    RestrictedSpeedStep,
    SpeedStepControl128,
)
from dccwire.instructions.binary_states import BinaryStateLongForm, BinaryStateShortForm
from dccwire.instructions.consist_control import ConsistControl
from dccwire.instructions.cv_access import (
    CvAccessLongForm,
    CvAccessShortForm,
    CvAdjustment,
    CvBitManipulation,
    CvOperation,
)
from dccwire.instructions.decoder_control import (
    DecoderAcknowledgementRequest,
    DecoderFlag,
    DigitalDecoderReset,
    FactoryTest,
    HardReset,
    Reset,
    SetDecoderFlags,
    SetExtendedAddressing,
)
from dccwire.instructions.function_groups import (
    FunctionGroup,
    FunctionGroupOne,
    FunctionGroupTwoF5F8,
    FunctionGroupTwoF9F12,
    FunctionsF13F20,
    FunctionsF21F28,
    function_group,
)
from dccwire.instructions.idle import Idle
from dccwire.instructions.later import (
    CvPair,
    CvPairShortForm,
    ExtendedCvRead,
    FunctionsF29F36,
    FunctionsF37F44,
    FunctionsF45F52,
    FunctionsF53F60,
    FunctionsF61F68,
    ModelDate,
    ModelTime,
    SpeedAndFunctionsF0F7,
    SpeedAndFunctionsF0F15,
    SystemTime,
)
from dccwire.instructions.speed_and_direction import BroadcastStop, SpeedAndDirection

__all__ = [
    "AnalogFunctionGroup",
    "BinaryStateLongForm",
    "BinaryStateShortForm",
    "BroadcastStop",
    "ConsistControl",
    "CvAccessLongForm",
    "CvAccessShortForm",
    "CvAdjustment",
    "CvBitManipulation",
    "CvOperation",
    "CvPair",
    "CvPairShortForm",
    "DecoderAcknowledgementRequest",
    "DecoderFlag",
    "DigitalDecoderReset",
    "ExtendedCvRead",
    "FactoryTest",
    "FunctionGroup",
    "FunctionGroupOne",
    "FunctionGroupTwoF5F8",
    "FunctionGroupTwoF9F12",
    "FunctionsF13F20",
    "FunctionsF21F28",
    "FunctionsF29F36",
    "FunctionsF37F44",
    "FunctionsF45F52",
    "FunctionsF53F60",
    "FunctionsF61F68",
    "HardReset",
    "Idle",
    "ModelDate",
    "ModelTime",
    "Reset",
    "RestrictedSpeedStep",
    "SetDecoderFlags",
    "SetExtendedAddressing",
    "SpeedAndDirection",
    "SpeedAndFunctionsF0F7",
    "SpeedAndFunctionsF0F15",
    "SpeedStepControl128",
    "SystemTime",
    "function_group",
]
