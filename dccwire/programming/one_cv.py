"""Read, verify and write one CV on a programming track (S-9.2.3 §E).

Room: one session an operation; lists and sets of CVs are elsewhere.

**What is never reported.** Verify answers only yes or no, and answers get lost. So each value read
is asked for once more, as a whole, and only an acknowledgement of that makes it a result. However
many packets or acknowledgements are lost, and whatever else is taken for one, no wrong value is
reported, unless something that is no acknowledgement is taken for one in the confirming verify
itself, or, in paged mode, in the verify of the page register. Register and address-only mode rely
on the page preset and on the power-on cycle for page 1.
"""

from __future__ import annotations

from dccwire.cv.catalogue import READ_ONLY, entry
from dccwire.errors import ConfirmationError, FieldError
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import Session
from dccwire.programming.steps import Course
from dccwire.programming.targets import DirectCv, Target

__all__ = ["read_byte", "verify_bit", "verify_byte", "write_bit", "write_byte"]


def read_byte(target: Target, setup: Setup = DEFAULT) -> Session[int]:
    """Read a CV.

    Direct mode asks for each bit and then for the byte they make; the other modes compare all
    values, from 0 on, until one is acknowledged, and ask for that once more (common practice, no
    source). The result is the value; a `ConfirmationError` if it was not confirmed, or if no value
    was acknowledged.

    >>> read_byte(DirectCv(1025))
    Traceback (most recent call last):
    dccwire.errors.FieldError: cv: 1 to 1024 expected, 1025 given
    """
    sequencer = Sequencer(target, setup)
    return sequencer.session(reading(sequencer, target))


def reading(sequencer: Sequencer, target: Target) -> Course[int]:
    """The verify groups that read a target."""
    if isinstance(target, DirectCv):
        value = 0
        for bit in range(8):
            if (yield from sequencer.ask(target, target.verify_bit(bit, 1))):
                value |= 1 << bit
    else:
        values = target.procedure.values
        for value in values:
            if (yield from sequencer.ask(target, target.verify(value))):
                break
        else:
            raise ConfirmationError(str(target), None, f"verify of {values[0]} to {values[-1]}")
    yield from sequencer.confirm(target, value, read=value)
    return value


def verify_byte(target: Target, value: int, setup: Setup = DEFAULT) -> Session[bool]:
    """Ask whether a CV holds a value; the result says whether that was acknowledged.

    Silence is no proof: an acknowledgement, or every packet, may have been lost. A register page
    that the decoder does not confirm is a `ConfirmationError`, here as in all of paged mode.
    """
    sequencer = Sequencer(target, setup)
    return sequencer.session(sequencer.ask(target, target.verify(value)))


def verify_bit(target: DirectCv, bit: int, value: int, setup: Setup = DEFAULT) -> Session[bool]:
    """Ask whether a bit, 0 to 7, of a CV is `value`, 0 or 1, in direct mode.

    >>> verify_bit(DirectCv(29), bit=8, value=1)
    Traceback (most recent call last):
    dccwire.errors.FieldError: bit: 0 to 7 expected, 8 given
    """
    sequencer = Sequencer(target, setup)
    return sequencer.session(sequencer.ask(target, target.verify_bit(bit, value)))


def write_byte(
    target: Target,
    value: int,
    setup: Setup = DEFAULT,
    *,
    confirm: bool = False,
    force_read_only: bool = False,
) -> Session[bool]:
    """Store a value in a CV; the result says whether the write was acknowledged.

    A decoder may acknowledge a write but need not (S-9.2.3 §D); with `confirm` the value is asked
    for afterwards, and a `ConfirmationError` comes if that stays silent. A write to CV 1, by any
    mode, clears bit 5 of CV 29 and CV 19 (S-9.2.3 §E).

    Raises:
        FieldError: a value outside the mode's; or CV 7 or CV 8, which are read-only, without
            `force_read_only`.

    >>> write_byte(DirectCv(256), 256)
    Traceback (most recent call last):
    dccwire.errors.FieldError: value: 0 to 255 expected, 256 given
    """
    refuse_read_only(target.cv, force_read_only)
    sequencer = Sequencer(target, setup)
    confirmed = value if confirm else None
    return sequencer.session(sequencer.write(target, target.write(value), confirmed))


def write_bit(
    target: DirectCv,
    bit: int,
    value: int,
    setup: Setup = DEFAULT,
    *,
    force_read_only: bool = False,
) -> Session[bool]:
    """Store a bit of a CV, in direct mode; otherwise as `write_byte`."""
    refuse_read_only(target.cv, force_read_only)
    sequencer = Sequencer(target, setup)
    return sequencer.session(sequencer.write(target, target.write_bit(bit, value)))


def refuse_read_only(cv: int | None, forced: bool) -> None:
    """Refuse to write CV 7 and CV 8.

    Raises:
        FieldError: the CV is one of them, and `forced` is false.
    """
    if cv in READ_ONLY and not forced:
        hint = f"CV {cv} is the read-only {entry(cv).name} (S-9.2.2); force_read_only writes it"
        raise FieldError("cv", "a CV that can be written", cv, hint)
