"""Programming: the packet sequences a programmer sends, their answers, and how long they take.

Sans-I/O: a session says what to send and is told what was heard; nothing here has a clock.

>>> from dccwire.programming import Answer, DirectCv, conversation, write_byte
>>> session = write_byte(DirectCv(29), 38)
>>> [str(sent.packet) for sent, _ in conversation(session, lambda sent: Answer.SILENCE)][23]
'service programming-track: DirectByteAccess operation=write cv=29 value=38'
>>> session.sent, session.result
(34, False)

A programming track should be limited in energy: to 250 mA, where it lasts longer than 100 ms
(recommended by S-9.2.3 §B). A locomotive may jump at an acknowledgement, since decoders make the
current pulse with the motor (common practice, no source): leave it room. A write on the main
reaches every decoder at its address.
"""

# ruff: noqa: F403 - what a file exports is listed there alone
from types import ModuleType as _Module

from dccwire.counts import *
from dccwire.errors import ConfirmationError as ConfirmationError
from dccwire.programming.durations import *
from dccwire.programming.jobs import *
from dccwire.programming.many_cvs import *
from dccwire.programming.operations import *
from dccwire.programming.sequencer import *
from dccwire.programming.session import *
from dccwire.programming.targets import *

__all__ = [
    name
    for name, value in dict(globals()).items()
    if not name.startswith("_") and not isinstance(value, _Module)
]
