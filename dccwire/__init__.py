"""DCC packets, both ways: bytes, bits, half-bits and recordings of a track signal.

>>> import dccwire
>>> packet = dccwire.decode(bytes.fromhex("37 74 43"))
>>> print(packet)
short 55: SpeedAndDirection forward=yes c=1 speed=4
>>> packet.instructions[0].step(28)
6

Loaded when asked for: `dccwire.cv` (what configuration variables hold), `dccwire.programming` (what
a programmer sends), `dccwire.consists` (units that run as one), `dccwire.station` (which packet to
send now), `dccwire.decoder` (a simulated decoder), and, with the packages that `pip install
'dccwire[capture]'` brings, `dccwire.recordings` and `dccwire.conformance` (read and judge
recordings) and `dccwire.matching` (speed tables from measured speeds), which
`from dccwire import *` leaves out.
"""

# ruff: noqa: F403 - the lists of the rooms are what is exported
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dccwire import conformance as conformance
    from dccwire import consists as consists
    from dccwire import cv as cv
    from dccwire import decoder as decoder
    from dccwire import matching as matching
    from dccwire import programming as programming
    from dccwire import recordings as recordings
    from dccwire.accessory import *
    from dccwire.address import *
    from dccwire.drawing import *
    from dccwire.errors import *
    from dccwire.findings import *
    from dccwire.formats import Instruction as Instruction
    from dccwire.formats import NamedReading as NamedReading
    from dccwire.formats import Provenance as Provenance
    from dccwire.formats import Reserved as Reserved
    from dccwire.formats import Undefined as Undefined
    from dccwire.inspection import *
    from dccwire.instructions import *
    from dccwire.packet import *
    from dccwire.receiver import *
    from dccwire.service_mode import *
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
        ("drawing", "BitRow Difference Explanation difference explain"),
    )
    for name in names.split()
}
"""What is loaded when first asked for, so that importing stays light: names to their rooms."""

_ROOMS = (
    "conformance",
    "matching",
    "consists",
    "cv",
    "decoder",
    "programming",
    "station",
    "recordings",
)
"""The same, as rooms; the first two and the last need packages that may not be installed."""

_CORE = ("accessory", "address", "errors", "instructions", "packet", "service_mode")
"""The rooms whose names are all there, loaded with the first of them: pytest, which loads
`dccwire.pytest_plugin` at each start, need not wait for them (measured: 60 ms of 180)."""


def _core() -> dict[str, Any]:
    """What there is once the names of the core were brought in."""
    if "__all__" in globals():
        return globals()
    from importlib import import_module

    formats = import_module(f"{__name__}.formats")
    names = ("Instruction", "NamedReading", "Provenance", "Reserved", "Undefined")
    found = {name: getattr(formats, name) for name in names}
    for room in (import_module(f"{__name__}.{one}") for one in _CORE):
        found |= {name: getattr(room, name) for name in room.__all__}
    globals().update(found, __all__=[*found, *_ROOMS[2:-1], *_LATER])
    return globals()


def __getattr__(name: str) -> Any:
    from importlib import import_module
    from importlib.util import find_spec

    if name in _LATER:
        return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
    room = name.isidentifier() and name.islower() and not name.startswith("_")
    if room and find_spec(f"{__name__}.{name}"):
        from dccwire.errors import MissingPartError

        try:
            return import_module(f"{__name__}.{name}")
        except MissingPartError as missing:
            # `hasattr` and `getattr` with a default expect this error and let others through.
            raise AttributeError(f"{__name__}.{name}: {missing}") from missing
    try:
        return _core()[name]
    except KeyError:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}") from None


def __dir__() -> list[str]:
    return sorted({*_core()["__all__"], *_ROOMS, "__version__"})
