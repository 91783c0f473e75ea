"""Receivers: edges or bits in, events out, in any portions (sans-I/O).

`Receiver` takes edge times in plain Python; `dccwire.receiver.columns` does the same with numpy for
whole recordings; `BitReceiver` takes bits. All of them report the same events.
"""

from dccwire.receiver.bits import BitReceiver
from dccwire.receiver.edges import Receiver
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived, Stray
from dccwire.receiver.tracking import ModeTracker

__all__ = [
    "BitReceiver",
    "CutOff",
    "Event",
    "Fault",
    "Gap",
    "ModeTracker",
    "PacketReceived",
    "Receiver",
    "Stray",
]
