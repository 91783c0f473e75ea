"""What each instruction does to a decoder: one place for each (S-9.2.1 §C).

Room: imports `state`, `storage` and the instructions.
"""

from __future__ import annotations

from collections.abc import Mapping

from dccwire import instructions as sent
from dccwire.cv import ConsistAddress
from dccwire.cv.changes import EXTENDED_BIT
from dccwire.decoder.options import Ignored
from dccwire.decoder.state import ALL, FULL_STEPS_128, Condition
from dccwire.decoder.storage import Role
from dccwire.formats import Instruction, Kept
from dccwire.instructions.function_groups import function_names

HIGHEST_SHORT, HIGHEST_LONG = 127, 32767
"""The highest binary states of the short and the long form (S-9.2.1 §C, Binary State Control)."""

AT_CONSIST_ADDRESS = (
    sent.SpeedAndDirection,
    sent.SpeedStepControl128,
    sent.RestrictedSpeedStep,
    sent.SpeedAndFunctionsF0F7,
    sent.SpeedAndFunctionsF0F15,
    sent.FunctionGroup,
    sent.DigitalDecoderReset,
)
"""What is obeyed at the consist address; functions as far as CV 21 and 22 say (S-9.2.1 §C).

That the decoder reset and the speed limit count, and nothing else, is our choice.
"""

JOINED = {
    sent.SpeedAndFunctionsF0F7: function_names(0, 7),
    sent.SpeedAndFunctionsF0F15: function_names(0, 15),
}
ADJUSTMENT_CVS = {sent.CvAdjustment.ACCELERATION: 23, sent.CvAdjustment.DECELERATION: 24}
PAIR_CVS = {
    sent.CvPair.EXTENDED_ADDRESS_17_18: (17, 18),
    sent.CvPair.INDEX_31_32: (31, 32),
    sent.CvPair.CONSIST_19_20: (19, 20),
}


def obey(
    state: Condition, one: Instruction, role: Role, end_ns: int, second: bool
) -> Ignored | None:
    """Act on one instruction of a packet to an address of this decoder; why not, if not."""
    if not role.own and not isinstance(one, AT_CONSIST_ADDRESS):
        return Ignored.CONSIST
    enabled = ALL if role.own else state.enabled
    match one:
        case sent.SpeedAndDirection() | sent.SpeedStepControl128():
            return _move(state, one, role, end_ns, enabled)
        case sent.FunctionGroupOne() if state.steps == 14:
            state.functions.switch(one.names()[:-1], one.functions & 0b1111, enabled)  # X20
        case sent.FunctionGroup():
            state.functions.switch(one.names(), one.functions, enabled)
        case sent.RestrictedSpeedStep():
            if not role.moves:
                return Ignored.IN_CONSIST
            state.motion.limit = one if one.enabled else None
            state.motion.aim(end_ns, state.paces[state.motion.steps])
        case sent.DigitalDecoderReset():
            state.clear(end_ns)
        case sent.SpeedAndFunctionsF0F7() | sent.SpeedAndFunctionsF0F15():
            state.functions.switch(JOINED[type(one)], one.functions, enabled)
            return _move(state, sent.SpeedStepControl128(one.forward, one.speed), role, end_ns)
        case sent.BinaryStateShortForm(on, number):
            state.functions.set_binary(number, HIGHEST_SHORT, on)
        case sent.BinaryStateLongForm(on, number):
            state.functions.set_binary(number, HIGHEST_LONG, on)
        case sent.AnalogFunctionGroup(output, value):
            state.functions.analog[output] = value
        case sent.HardReset():
            state.storage.hard_reset()
            state.refresh()
            state.clear(end_ns)
        case sent.ConsistControl(turned, consist):
            state.storage.put(19, ConsistAddress(turned, consist).to_cvs()[19])  # literally: X13
            state.refresh()
        case sent.SetExtendedAddressing(extended):
            held = state.storage.read(29)
            asked = held | EXTENDED_BIT if extended else held & ~EXTENDED_BIT
            state.storage.put(29, asked & state.options.configuration_bits)
            state.refresh()
        case sent.CvAccessShortForm(adjustment, value):
            return _write(state, {ADJUSTMENT_CVS[adjustment]: value})
        # Of two identical packets the first does nothing (S-9.2.1 §C, CV access long form; that
        # the pairs need two as well is not remembered otherwise).
        case sent.CvPairShortForm(pair, first, value):
            pairs = zip(PAIR_CVS[pair], (first, value), strict=True)
            return _write(state, dict(pairs)) if second else None
        case sent.CvAccessLongForm(sent.CvOperation.WRITE, cv, value):
            return _write(state, {cv: value}) if second else None
        case sent.CvBitManipulation(sent.CvOperation.WRITE, cv, bit, value):
            changed = state.storage.with_bit(cv, bit, value)
            return _write(state, {cv: changed}) if second else None
        case Kept():
            return Ignored.UNKNOWN
        case _:
            # A verify: how the main is answered is not in S-9.2.1. Flags: X11. Tests, requests
            # for acknowledgement, times of day: nothing that could be seen of this decoder.
            return Ignored.UNSUPPORTED
    return None


def _write(state: Condition, values: Mapping[int, int]) -> Ignored | None:
    """Write CVs on the main; the first reason against one comes back."""
    reasons = [state.storage.write(cv, value) for cv, value in values.items()]
    state.refresh()
    return next((reason for reason in reasons if reason is not None), None)


def _move(
    state: Condition,
    one: sent.SpeedAndDirection | sent.SpeedStepControl128,
    role: Role,
    end_ns: int,
    enabled: int = 0,
) -> Ignored | None:
    """14 or 28 steps by CV 29 bit 1, and with it FL (S-9.2.1 §C, X18); 128 steps whatever it says.

    Where speed and direction are ignored, the whole instruction is, its FL included (S-9.2.1 §C,
    Consist Control). In a stop code of 28 steps, or of the broadcast, C = 1 lets the direction be
    (C6).
    """
    if not role.moves:
        return Ignored.IN_CONSIST
    direction = state.direction(one.forward, role.reversed)
    if isinstance(one, sent.SpeedStepControl128):
        steps, step = FULL_STEPS_128, one.step
    else:
        steps, step = state.steps, one.step(state.steps)
        broadcast_stop = role.broadcast and one.is_stop
        if steps == 14 and not broadcast_stop:
            state.functions.switch(("FL",), one.c, enabled)
        if one.c and (broadcast_stop or (one.is_stop and steps == 28)):
            direction = state.motion.direction
    if one.is_emergency_stop:
        state.motion.halt(direction, end_ns)
    else:
        state.drive(step, steps, direction, end_ns)
    return None
