"""DCC packets, both ways: bytes, bits, half-bits and recordings of a track signal.

>>> import dccwire
>>> packet = dccwire.decode(bytes.fromhex("37 74 43"))
>>> print(packet)
short 55: SpeedAndDirection forward=yes c=1 speed=4
>>> packet.instructions[0].step(28)
6

Loaded when asked for: `dccwire.cv` (what configuration variables hold), `dccwire.programming` (what
a programmer sends), `dccwire.decoder` (a simulated decoder), and, with the packages that `pip
install 'dccwire[capture]'` brings, `dccwire.recordings` and `dccwire.conformance` (read and judge
recordings), which `from dccwire import *` leaves out.
"""

# ruff: noqa: F403, F405 - the lists of the rooms are what is exported
from typing import TYPE_CHECKING, Any

from dccwire import accessory, errors, instructions, service_mode
from dccwire.accessory import *
from dccwire.address import (
    BROADCAST,
    IDLE,
    PROGRAMMING_TRACK,
    AccessoryAddress,
    AccessoryByteAddress,
    Address,
    BroadcastAddress,
    ExtendedAccessoryAddress,
    IdleAddress,
    LongAddress,
    Mode,
    ProgrammingTrackAddress,
    ReservedAddress,
    ShortAddress,
)
from dccwire.errors import *
from dccwire.formats import Instruction, NamedReading, Provenance, Reserved, Undefined
from dccwire.instructions import *
from dccwire.packet import Packet, Reading, decode, encode, readings
from dccwire.service_mode import *

if TYPE_CHECKING:
    from dccwire import conformance as conformance
    from dccwire import cv, decoder, programming
    from dccwire import recordings as recordings
    from dccwire.drawing import *
    from dccwire.inspection import *
    from dccwire.receiver import *
    from dccwire.signal import *

__version__ = "0.1.0"

__all__ = [
    "BROADCAST",
    "IDLE",
    "NOMINAL",
    "PROGRAMMING_TRACK",
    "AccessoryAddress",
    "AccessoryByteAddress",
    "Address",
    "BitReceiver",
    "BitRow",
    "BroadcastAddress",
    "CutOff",
    "Event",
    "Explanation",
    "ExtendedAccessoryAddress",
    "Fault",
    "Finding",
    "Gap",
    "IdleAddress",
    "Inspection",
    "Instruction",
    "LongAddress",
    "Mode",
    "ModeTracker",
    "NamedReading",
    "Packet",
    "PacketReceived",
    "ProgrammingTrackAddress",
    "Provenance",
    "Reading",
    "Receiver",
    "Reserved",
    "ReservedAddress",
    "ShortAddress",
    "Stray",
    "Timing",
    "Undefined",
    "cv",
    "decode",
    "decoder",
    "encode",
    "explain",
    "inspect",
    "programming",
    "readings",
]
if not TYPE_CHECKING:  # pragma: no branch
    _HERE = (accessory, errors, instructions, service_mode)
    __all__ += [name for room in _HERE for name in room.__all__]

_ROOMS = ("conformance", "cv", "decoder", "programming", "recordings")
_LATER = ("signal", "receiver", "inspection", "drawing")
"""What is loaded when first asked for, so that importing stays light: rooms, and names of rooms.

Of the latter each imports those before it, so that they are looked into in this order.
"""


def __getattr__(name: str) -> Any:
    from importlib import import_module

    for room in _LATER if name in __all__ and name not in _ROOMS else ():
        module = import_module(f"{__name__}.{room}")
        if name in module.__all__:
            return getattr(module, name)
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    try:
        return import_module(f"{__name__}.{name}")
    except errors.MissingPartError as missing:
        # `hasattr` and `getattr` with a default expect this error and let every other one through.
        raise AttributeError(f"{__name__}.{name}: {missing}") from missing


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__, *_ROOMS})
