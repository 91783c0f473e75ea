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
recordings).
"""

from typing import TYPE_CHECKING, Any

from dccwire import accessory, errors, instructions, service_mode
from dccwire.accessory import *  # noqa: F403 - its __all__ is part of ours
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
from dccwire.errors import *  # noqa: F403 - its __all__ is part of ours
from dccwire.formats import Instruction, NamedReading, Provenance, Reserved, Undefined
from dccwire.instructions import *  # noqa: F403 - its __all__ is part of ours
from dccwire.packet import Packet, Reading, decode, encode, readings
from dccwire.service_mode import *  # noqa: F403 - its __all__ is part of ours

if TYPE_CHECKING:
    from dccwire import conformance, cv, decoder, programming, recordings
    from dccwire.drawing import Explanation, explain
    from dccwire.inspection import Finding, Inspection, inspect
    from dccwire.receiver import (
        BitReceiver,
        CutOff,
        Event,
        Fault,
        Gap,
        ModeTracker,
        PacketReceived,
        Receiver,
        Stray,
    )
    from dccwire.signal import NOMINAL, Timing

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
    "conformance",
    "cv",
    "decode",
    "decoder",
    "encode",
    "explain",
    "inspect",
    "programming",
    "readings",
    "recordings",
]
__all__ += accessory.__all__
__all__ += errors.__all__
__all__ += instructions.__all__
__all__ += service_mode.__all__


_LATER = {
    "dccwire": ("conformance", "cv", "decoder", "programming", "recordings"),
    "dccwire.drawing": ("Explanation", "explain"),
    "dccwire.inspection": ("Finding", "Inspection", "inspect"),
    "dccwire.receiver": (
        "BitReceiver",
        "CutOff",
        "Event",
        "Fault",
        "Gap",
        "ModeTracker",
        "PacketReceived",
        "Receiver",
        "Stray",
    ),
    "dccwire.signal": ("NOMINAL", "Timing"),
}
"""What is loaded when first asked for, by where it stands: importing stays light."""


def __getattr__(name: str) -> Any:
    from importlib import import_module

    for home, names in _LATER.items():
        if name in names:
            if home == __name__:
                return import_module(f"{home}.{name}")
            return getattr(import_module(home), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
