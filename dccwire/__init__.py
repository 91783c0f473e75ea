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

# ruff: noqa: F403 - the lists of the rooms are what is exported
from typing import TYPE_CHECKING, Any

from dccwire import accessory, address, errors, instructions, packet, service_mode
from dccwire.accessory import *
from dccwire.address import *
from dccwire.errors import *
from dccwire.formats import Instruction as Instruction
from dccwire.formats import NamedReading as NamedReading
from dccwire.formats import Provenance as Provenance
from dccwire.formats import Reserved as Reserved
from dccwire.formats import Undefined as Undefined
from dccwire.instructions import *
from dccwire.packet import *
from dccwire.service_mode import *

if TYPE_CHECKING:
    from dccwire import conformance as conformance
    from dccwire import cv as cv
    from dccwire import decoder as decoder
    from dccwire import programming as programming
    from dccwire import recordings as recordings
    from dccwire.drawing import *
    from dccwire.findings import *
    from dccwire.inspection import *
    from dccwire.receiver import *
    from dccwire.signal import *

__version__ = "0.1.0"

_LATER = {
    name: room
    for room, names in (
        ("signal", "NOMINAL Timing"),
        (
            "receiver",
            "BitReceiver CutOff Event Fault Gap ModeTracker PacketReceived Receiver Stray",
        ),
        ("findings", "Finding"),
        ("inspection", "Inspection inspect"),
        ("drawing", "BitRow Explanation explain"),
    )
    for name in names.split()
}
"""What is loaded when first asked for, so that importing stays light: names to their rooms."""

_ROOMS = ("conformance", "cv", "decoder", "programming", "recordings")
"""The same, as rooms; the first and the last need packages that may not be installed."""

# mypy follows no list that is made of others; where there is none it takes all.
if not TYPE_CHECKING:  # pragma: no branch
    __all__ = ["Instruction", "NamedReading", "Provenance", "Reserved", "Undefined"]
    __all__ += [name for names in (_ROOMS[1:-1], _LATER) for name in names]
    for _room in (accessory, address, errors, instructions, packet, service_mode):
        __all__ += _room.__all__


def __getattr__(name: str) -> Any:
    from importlib import import_module

    if name in _LATER:
        return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    try:
        return import_module(f"{__name__}.{name}")
    except errors.MissingPartError as missing:
        # `hasattr` and `getattr` with a default expect this error and let every other one through.
        raise AttributeError(f"{__name__}.{name}: {missing}") from missing


def __dir__() -> list[str]:
    return sorted({*globals()["__all__"], *_ROOMS, "__version__"})
