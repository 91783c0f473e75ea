"""What the sessions that write sets of CVs send, each packet that matters once."""

from dccwire import DirectByteAccess, Packet
from dccwire.programming import Answer, conversation, write_cvs, write_cvs_on_main


def operations_packets(old, new, address, **how) -> tuple[Packet, ...]:
    """All that is sent on the main, but for the idle packet after the last write."""
    session = write_cvs_on_main(old, new, address, **how)
    return tuple(one.packet for one, _ in conversation(session, lambda _: Answer.SILENCE))[:-1]


def programming_track_instructions(old, new, **how) -> tuple[DirectByteAccess, ...]:
    """The direct mode writes, those of a group once."""
    found = []
    session = write_cvs(old, new, **how)
    for one, _ in conversation(session, lambda _: Answer.ACKNOWLEDGED):
        (instruction,) = one.packet.instructions
        if isinstance(instruction, DirectByteAccess):
            found.append(instruction)
    assert found[::2] == found[1::2]  # acknowledged with the second packet of each group
    return tuple(found[::2])
