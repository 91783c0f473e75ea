"""Named ways at their limits, one step inside and one outside, and what is said at each."""

from typing import Any

import pytest

from dccwire import (
    AccessoryAddress,
    BinaryStateLongForm,
    DecoderAcknowledgementRequest,
    DirectBitManipulation,
    DirectByteAccess,
    ExtendedAccessoryAddress,
    FactoryTest,
    FieldError,
    LegacyAccessoryCvAccess,
    PairNumbering,
    RestrictedSpeedStep,
    SpeedAndDirection,
    SpeedStepControl128,
    extended_of_number,
    number_of_pair,
    pair_of_number,
)
from dccwire.instructions.cv_access import CvOperation
from refusals import refused

VERIFY = CvOperation.VERIFY


@pytest.mark.parametrize(
    ("steps", "step", "headlight", "code"),
    [
        # S-9.2.1 §C, Speed and Direction: U0000 stop, U0010 to U1111 steps 1 to 14, U the headlight
        (14, 0, False, (0, 0)),
        (14, 0, True, (1, 0)),
        (14, 1, False, (0, 2)),
        (14, 14, True, (1, 15)),
        # S-9.2 §B, speed table: CSSSS 00000 stop, 00010 step 1, 11111 step 28
        (28, 0, None, (0, 0)),
        (28, 1, None, (0, 2)),
        (28, 2, None, (1, 2)),
        (28, 28, None, (1, 15)),
    ],
)
def test_steps_have_the_codes_of_the_tables(
    steps: int, step: int, headlight: bool | None, code: tuple[int, int]
) -> None:
    """C and SSSS of the first and the last step, and of stop."""
    run = SpeedAndDirection.at(step=step, steps=steps, forward=True, headlight=headlight)
    assert (run.c, run.speed) == code
    assert run.step(steps) == step


@pytest.mark.parametrize(
    ("make", "given", "field", "bound"),
    [
        (SpeedAndDirection.at, {"step": -1, "steps": 28}, "step", "0 to 28"),
        (SpeedAndDirection.at, {"step": 29, "steps": 28}, "step", "0 to 28"),
        (SpeedAndDirection.at, {"step": -1, "steps": 14, "headlight": True}, "step", "0 to 14"),
        (SpeedAndDirection.at, {"step": 15, "steps": 14, "headlight": True}, "step", "0 to 14"),
        (SpeedAndDirection.at, {"step": 1.0, "steps": 28}, "step", "0 to 28"),
        (SpeedAndDirection.at, {"step": 1, "steps": 27}, "steps", "14 or 28"),
        (SpeedAndDirection.at, {"step": 1, "steps": 128}, "steps", "14 or 28"),
        (SpeedStepControl128.at, {"step": -1}, "step", "0 to 126"),
        (SpeedStepControl128.at, {"step": 127}, "step", "0 to 126"),
    ],
)
def test_steps_outside_their_bounds_are_refused(
    make: Any, given: dict[str, Any], field: str, bound: str
) -> None:
    """Field and bound stand in the error."""
    with refused(FieldError, field=field, bound=bound):
        make(forward=True, **given)


@pytest.mark.parametrize("headlight", [None, 1])
def test_14_steps_need_a_headlight(headlight: object) -> None:
    """Because it shares the byte; a number is none."""
    with refused(FieldError, field="headlight", value=headlight):
        SpeedAndDirection.at(step=1, steps=14, forward=True, headlight=headlight)


@pytest.mark.parametrize(
    ("speed", "words"),
    [
        (0, "no step: the code of a stop"),
        (1, "no step: the code of a stop"),
        (2, "28 steps: step 1; 14 steps: step 1"),
        (15, "28 steps: step 27; 14 steps: step 14"),
    ],
)
def test_a_restricted_speed_says_both_readings(speed: int, words: str) -> None:
    """The codes of a stop limit nothing (X15)."""
    assert RestrictedSpeedStep(True, 0, speed).in_words() == words


LONG_STATE = "the short form is the one for binary states 1 to 127 (X21)"
LONG_FORM = "S-9.2.1 §C, Binary State Control, long form"
FACTORY = "a factory test is never sent in normal operation"
REQUEST = "the standard prints the acknowledgement request with D = 1 only (X10)"
LAST_CV = "the text gives CV 1 to 1023, the ten bits reach CV 1024 (P3)"
OWN_ADDRESS = "CV {} holds a decoder's address: write it with caution"


@pytest.mark.parametrize(
    ("one", "remark"),
    [
        (BinaryStateLongForm(True, 0), None),
        (BinaryStateLongForm(True, 1), ("discouraged", LONG_STATE, LONG_FORM)),
        (BinaryStateLongForm(True, 127), ("discouraged", LONG_STATE, LONG_FORM)),
        (BinaryStateLongForm(True, 128), None),
        (FactoryTest(0), ("discouraged", FACTORY, "S-9.2.1 §C, Factory Test")),
        (
            DecoderAcknowledgementRequest(0),
            ("open", REQUEST, "S-9.2.1 §C, Decoder Acknowledgement Request"),
        ),
        (DecoderAcknowledgementRequest(1), None),
        (LegacyAccessoryCvAccess(512, 0), None),
        (
            LegacyAccessoryCvAccess(513, 0),
            ("caution", OWN_ADDRESS.format(513), "S-9.2.1 Appendix A"),
        ),
        (LegacyAccessoryCvAccess(514, 0), None),
        (LegacyAccessoryCvAccess(520, 0), None),
        (
            LegacyAccessoryCvAccess(521, 0),
            ("caution", OWN_ADDRESS.format(521), "S-9.2.1 Appendix A"),
        ),
        (LegacyAccessoryCvAccess(522, 0), None),
        (DirectByteAccess(VERIFY, 1023, 0), None),
        (DirectByteAccess(VERIFY, 1024, 0), ("open", LAST_CV, "S-9.2.3 §E, Direct Mode")),
        (DirectBitManipulation(VERIFY, 1023, 0, 0), None),
        (DirectBitManipulation(VERIFY, 1024, 0, 0), ("open", LAST_CV, "S-9.2.3 §E, Direct Mode")),
    ],
    ids=str,
)
def test_remarks_begin_and_end_where_the_text_says(
    one: Any, remark: tuple[str, str, str] | None
) -> None:
    """Reason, sentence and clause, at each limit and beside it."""
    said = [(each.reason.value, each.message, each.clause) for each in one.remarks()]
    assert said == ([remark] if remark else [])


@pytest.mark.parametrize(
    ("address", "pair", "field", "bound"),
    [
        (AccessoryAddress(1), -1, "pair", "0 to 3"),
        (AccessoryAddress(1), 4, "pair", "0 to 3"),
        (AccessoryAddress(511), 0, "accessory address", "0 to 510"),
        (AccessoryAddress(0), 3, "number of accessory 0", "1 or more"),
        (ExtendedAccessoryAddress(4), 0, "pair", "None with an extended address"),
        (ExtendedAccessoryAddress(2047), None, "extended-accessory address", "0 to 2046"),
        (ExtendedAccessoryAddress(3), None, "number of extended-accessory 3", "1 or more"),
    ],
)
def test_what_has_no_number_is_refused(
    address: Any, pair: int | None, field: str, bound: str
) -> None:
    """Counted from decoder address 1 (V9): pairs 0 to 3, no broadcast, nothing below number 1."""
    with refused(FieldError, field=field, bound=bound):
        number_of_pair(address, pair, numbering=PairNumbering.FROM_DECODER_ONE)


@pytest.mark.parametrize(
    ("find", "highest", "ends"),
    [
        (
            pair_of_number,
            2040,
            [(AccessoryAddress(1), 0), (AccessoryAddress(510), 3)],
        ),
        (
            extended_of_number,
            2043,
            [ExtendedAccessoryAddress(4), ExtendedAccessoryAddress(2046)],
        ),
    ],
)
def test_numbers_end_below_the_broadcast(find: Any, highest: int, ends: list) -> None:
    """510 decoders of four pairs from address 1 on; 2047 extended addresses but the first four."""
    numbering = PairNumbering.FROM_DECODER_ONE
    assert [find(number, numbering=numbering) for number in (1, highest)] == ends
    for number in (0, highest + 1, True):
        with refused(FieldError, field="number of the pair", bound=f"1 to {highest}"):
            find(number, numbering=numbering)
