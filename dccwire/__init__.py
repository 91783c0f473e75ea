"""dccwire: DCC packets, both ways."""

from dccwire import accessory, instructions
from dccwire.accessory import *  # noqa: F403 - its __all__ is part of ours
from dccwire.address import (
    BROADCAST,
    IDLE,
    AccessoryAddress,
    AccessoryByteAddress,
    ExtendedAccessoryAddress,
    LongAddress,
    ReservedAddress,
    ShortAddress,
)
from dccwire.instructions import *  # noqa: F403 - its __all__ is part of ours
from dccwire.packet import Mode, Packet, decode, encode, readings

__version__ = "0.1.0"

__all__ = [
    "BROADCAST",
    "IDLE",
    "AccessoryAddress",
    "AccessoryByteAddress",
    "ExtendedAccessoryAddress",
    "LongAddress",
    "Mode",
    "Packet",
    "ReservedAddress",
    "ShortAddress",
    "decode",
    "encode",
    "readings",
]
__all__ += accessory.__all__
__all__ += instructions.__all__
