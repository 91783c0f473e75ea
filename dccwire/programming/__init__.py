"""Programming: the packet sequences a programmer sends, their answers, and how long they take.

Sans-I/O: a session says what to send and is told what was heard; nothing here has a clock.

>>> from dccwire.programming import Answer, DirectCv, conversation, write_byte
>>> session = write_byte(DirectCv(29), 38)
>>> [str(sent.packet) for sent, _ in conversation(session, lambda sent: Answer.SILENCE)][23]
'service programming-track: DirectByteAccess operation=write cv=29 value=38'
>>> session.sent, session.result
(34, False)

A programming track is limited in energy: more than 250 mA may not last longer than 100 ms (S-9.2.3
§B). A locomotive may jump at an acknowledgement (common practice, no source). A write on the main
reaches every decoder at its address.
"""

from dccwire.errors import ConfirmationError
from dccwire.programming.costs import TIMINGS, Cost, packet_ns, time_on_wire
from dccwire.programming.counts import (
    Counts,
    DirectCounts,
    HardResetCounts,
    MainCounts,
    RegisterCounts,
)
from dccwire.programming.estimate import Assumptions, Estimate, estimate, reading_time
from dccwire.programming.job import Block, Readout, read_cvs, read_job
from dccwire.programming.main_track import write_bit_on_main, write_byte_on_main
from dccwire.programming.others import address_query, decoder_lock, hard_reset_cycle
from dccwire.programming.reading import (
    factory_reset,
    find_direct_mode,
    read_byte,
    verify_bit,
    verify_byte,
    write_bit,
    write_byte,
)
from dccwire.programming.sequencer import Setup
from dccwire.programming.session import Answer, Outgoing, Session, conversation
from dccwire.programming.targets import AddressOnly, DirectCv, PagedCv, Register, Target
from dccwire.programming.writing import operations_packets, programming_track_instructions

__all__ = [
    "TIMINGS",
    "AddressOnly",
    "Answer",
    "Assumptions",
    "Block",
    "ConfirmationError",
    "Cost",
    "Counts",
    "DirectCounts",
    "DirectCv",
    "Estimate",
    "HardResetCounts",
    "MainCounts",
    "Outgoing",
    "PagedCv",
    "Readout",
    "Register",
    "RegisterCounts",
    "Session",
    "Setup",
    "Target",
    "address_query",
    "conversation",
    "decoder_lock",
    "estimate",
    "factory_reset",
    "find_direct_mode",
    "hard_reset_cycle",
    "operations_packets",
    "packet_ns",
    "programming_track_instructions",
    "read_byte",
    "read_cvs",
    "read_job",
    "reading_time",
    "time_on_wire",
    "verify_bit",
    "verify_byte",
    "write_bit",
    "write_bit_on_main",
    "write_byte",
    "write_byte_on_main",
]
