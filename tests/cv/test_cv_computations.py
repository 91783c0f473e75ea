"""Speed tables, acceleration, trims, and the function masks of a consist."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import Packet, cv
from dccwire.cv import COMMON_PRACTICE, Answers, ConsistUnit, UnitPosition, consist_functions
from dccwire.decoder import Decoder, Options
from dccwire.errors import FieldError
from refusals import refused

BYTES = st.integers(0, 255)


def test_the_printed_rate() -> None:
    """CV 3 = 2 at 28 steps is 0.064 s a step (S-9.2.2, CV 3)."""
    assert cv.seconds_per_step(2, 28) == 0.064


@given(BYTES, st.sampled_from([14, 28, 126, 128]))
def test_seconds_follow_the_formula(rate: int, steps: int) -> None:
    """Rate x 0.896 / steps; full speed after as many steps as there are (126 of 128: V2)."""
    one = cv.seconds_per_step(rate, steps)
    assert one == pytest.approx(rate * 0.896 / steps)
    increments = {14: 14, 28: 28, 126: 126, 128: 126}[steps]
    assert cv.seconds_to_full_speed(rate, steps) == pytest.approx(one * increments)


@given(BYTES, st.integers(-127, 127))
def test_adjustments_stay_within_a_byte(rate: int, amount: int) -> None:
    """Signed, clipped at the extremes (V3), for both directions alike."""
    expected = sorted((0, rate + amount, 255))[1]
    up = cv.adjusted_rate(cv.AccelerationRate(rate), cv.AccelerationAdjustment.by(amount))
    down = cv.adjusted_rate(cv.DecelerationRate(rate), cv.DecelerationAdjustment.by(amount))
    assert up == down == expected


def test_the_adjustment_of_the_other_rate_is_refused() -> None:
    """CV 23 belongs to CV 3, CV 24 to CV 4."""
    with refused(FieldError, match="that of CV 23"):
        cv.adjusted_rate(cv.AccelerationRate(1), cv.DecelerationAdjustment.by(1))


def test_seconds_refuse_what_is_out_of_bounds() -> None:
    """The caller must choose 126 or 128; there is no other number."""
    for make, field in [
        (lambda: cv.seconds_per_step(2, 127), "steps"),
        (lambda: cv.seconds_to_full_speed(2, 28.0), "steps"),
        (lambda: cv.seconds_per_step(256, 28), "rate"),
    ]:
        with refused(FieldError, field=field):
            make()


@given(BYTES, BYTES, BYTES, st.integers(2, 27))
def test_lines_pass_their_points_and_never_fall(start, middle, high, point) -> None:
    """Or the error names the point where they would."""
    corners = {"start": start, "middle": middle, "high": high, "middle_point": point}
    if start <= middle <= high:
        points = cv.SpeedTable.linear(**corners).points
        assert (points[0], points[point - 1], points[27]) == (start, middle, high)
        assert list(points) == sorted(points)
        return
    with refused(FieldError, match="^point "):
        cv.SpeedTable.linear(**corners)


@given(BYTES, BYTES, BYTES, st.integers(2, 27))
def test_curves_pass_their_points_and_never_fall(start, middle, high, point) -> None:
    """The middle must lie between the ends."""
    corners = {"start": start, "middle": middle, "high": high, "middle_point": point}
    if start < middle < high:
        points = cv.SpeedTable.curve(**corners).points
        assert (points[0], points[point - 1], points[27]) == (start, middle, high)
        assert list(points) == sorted(points)
        return
    with refused(FieldError, field="middle", value=middle):
        cv.SpeedTable.curve(**corners)


@given(BYTES, BYTES)
def test_a_line_without_a_middle_is_straight(start: int, high: int) -> None:
    """Every point is within half a unit of the line."""
    start, high = sorted((start, high))
    points = cv.SpeedTable.linear(start=start, high=high).points
    for place, point in enumerate(points):
        assert abs(point - (start + (high - start) * place / 27)) <= 0.5


def test_a_curve_is_a_power_of_the_step() -> None:
    """With the middle point on the straight line, it is the straight line."""
    straight = cv.SpeedTable.linear(start=0, high=243)
    assert cv.SpeedTable.curve(start=0, middle=117, high=243, middle_point=14) == straight
    low = cv.SpeedTable.curve(start=0, middle=60, high=243).points
    assert all(a <= b for a, b in zip(low, straight.points, strict=True))


def test_the_middle_stands_at_point_14_if_not_asked_otherwise() -> None:
    """S-9.2.2, CV 25: the default mid step."""
    for make in (cv.SpeedTable.linear, cv.SpeedTable.curve):
        points = make(start=10, middle=36, high=255).points
        assert points[12] < points[13] == 36 < points[14]


def test_tables_refuse_counts_and_falls_by_name() -> None:
    """28 points; the standard demands no order, so only `of` does."""
    with refused(FieldError, match="count of points: 28 expected, 3 given"):
        cv.SpeedTable.of([1, 2, 3])
    with refused(
        FieldError, field="point 3 (CV 69)", bound="5 or more", hint="point 2 has it", value=4
    ):
        cv.SpeedTable.of([0, 5, 4, *range(10, 35)])
    falling = cv.SpeedTable(tuple(range(28, 0, -1)))
    assert falling.falls == tuple(range(2, 29))
    assert "falls at point 2, 3" in falling.in_words()
    assert cv.SpeedTable.linear(start=64, high=64).in_words() == "28 points from 64 to 64"
    for wrong in (1, 28, 14.0):
        with refused(FieldError, match="middle_point: 2 to 27"):
            cv.SpeedTable.linear(start=1, middle=2, high=3, middle_point=wrong)


def test_a_quarter_of_the_full_voltage_is_64_of_256() -> None:
    """As printed, and read with eight digits (V6)."""
    assert cv.SpeedTable((64,) * 28).to_cvs()[67] == 256 // 4 == 0b01000000


def test_trims_multiply_by_value_over_128() -> None:
    """At most 255; 0 is not implemented."""
    table = cv.SpeedTable.linear(start=0, high=200)
    assert cv.ForwardTrim(192).factor == cv.ReverseTrim(192).factor == 1.5
    assert cv.trimmed(table, 1.5).points[-1] == 255
    assert cv.trimmed(table, 1.0) == table
    assert cv.ForwardTrim(0).factor is None
    assert cv.trimmed(table, None) == table
    for wrong in (-0.1, math.nan, math.inf, -math.inf):
        with refused(FieldError, match="factor: 0 or more, and finite expected"):
            cv.trimmed(table, wrong)


def test_time_outs_need_the_makers_unit() -> None:
    """S-9.2.2 gives none for CV 11."""
    assert cv.PacketTimeOut(20).seconds(unit_s=0.5) == 10.0


def test_mid_steps_are_halved_at_14_steps() -> None:
    """Rounded down, not below 1. The default is 14, or 7; up to 127 none is named; 128 is open."""
    expected = {0: None, 1: None, 2: None, 127: None, 128: None, 129: 1, 154: 26, 155: 14, 255: 14}
    halves = {0: None, 1: None, 2: None, 127: None, 128: None, 129: 1, 154: 13, 155: 7, 255: 7}
    for choice, step in expected.items():
        assert cv.SpeedTableChoice(choice).mid_step(28) == step
        assert cv.SpeedTableChoice(choice).mid_step(14) == halves[choice]
        assert cv.SpeedTableChoice(choice).preset == (choice if 2 <= choice <= 127 else None)
    assert [cv.SpeedTableChoice(128 + step).mid_step(14) for step in range(1, 6)] == [1, 1, 1, 2, 2]


ROLES = {"headlight": "FL-forward", "rear light": "FL-reverse", "bell": "F1", "horn": "F2"}


def test_common_practice_for_three_units() -> None:
    """Lead: all but the rear light; middle: no sounds, no lights; trailing: the rear light."""
    units = [ConsistUnit(position, {**ROLES, "smoke": "F3"}) for position in UnitPosition]
    masks = consist_functions(units)
    assert [mask.names_on for mask in masks] == [
        ("F1", "F2", "F3", "FL-forward"),
        ("F3",),
        ("FL-reverse",),
    ]
    assert masks[0].to_cvs() == {21: 7, 22: 1}


@pytest.mark.parametrize("reversed_", [False, True])
@pytest.mark.parametrize(
    ("position", "lit"),
    [(UnitPosition.LEAD, [True, False]), (UnitPosition.TRAILING, [False, True])],
)
def test_lights_of_a_reversed_unit_are_those_of_its_other_end(position, lit, reversed_) -> None:
    """Lead: lit while the consist runs forward; trailing: in reverse, whichever way it stands.

    CV 19 = 5, plus 128 for a reversed unit (S-9.2.2): FL-forward is bit 0 of CV 22, FL-reverse
    bit 1, and they follow the unit's own direction.
    """
    (mask,) = consist_functions([ConsistUnit(position, ROLES, reversed=reversed_)])
    own = "FL-reverse" if reversed_ is (position is UnitPosition.LEAD) else "FL-forward"
    assert [name for name in mask.names_on if name.startswith("FL")] == [own]
    factory = {1: 3, 19: 5 + 128 * reversed_, **mask.to_cvs()}
    found = []
    for way in ("yes", "no"):
        decoder = Decoder(Options(factory=factory))
        for place, text in enumerate(
            [
                f"short 5: SpeedAndDirection step=9 steps=28 forward={way}",
                "short 5: FunctionGroupOne functions=FL",
            ]
        ):
            decoder.take(Packet.from_text(text), place * 10_000_000, place * 10_000_000 + 6_000_000)
        found.append("FL" in decoder.functions)
    assert found == lit


def test_each_unit_brings_its_own_functions_and_practice_can_be_another() -> None:
    """The same role has another function in another decoder."""
    other = {"bell": "F8", "shunting light": "FL"}
    practice = {**COMMON_PRACTICE, UnitPosition.MIDDLE: Answers()}
    masks = consist_functions(
        [ConsistUnit(UnitPosition.LEAD, ROLES), ConsistUnit(UnitPosition.MIDDLE, other)], practice
    )
    assert masks[1].to_cvs() == {21: 128, 22: 3}


def test_functions_above_f12_are_refused_where_they_are_answered() -> None:
    """CV 21 and 22 have no bits for them; the error names role and function."""
    roles = {"dynamic brake": "F17", "rear light": "F5"}
    with refused(
        FieldError,
        field="function of 'dynamic brake'",
        value="F17",
        hint="CV 21 and 22 have no bit for another",
    ):
        consist_functions([ConsistUnit(UnitPosition.LEAD, roles)])
    trailing = ConsistUnit(UnitPosition.TRAILING, roles)
    assert consist_functions([trailing])[0].names_on == ("F5",)


def test_momentum_at_0_is_no_delay_and_at_1_is_one() -> None:
    """CV 3, 4, 23, 24: 0 is none and has no sign; 1 is 0.896 s over the steps."""
    assert cv.AccelerationRate(0).in_words() == cv.DecelerationRate(0).in_words() == "no delay"
    assert cv.seconds_per_step(0, 14) == cv.seconds_to_full_speed(0, 126) == 0
    assert cv.AccelerationRate(1).in_words() == (
        "a step takes 0.064 s at 14 steps, 0.032 s at 28 steps; full speed after 0.896 s"
    )
    for cls in (cv.AccelerationAdjustment, cv.DecelerationAdjustment):
        assert (cls.by(0).subtract, cls.by(0).signed, cls.by(-1).subtract) == (False, 0, True)
        assert cls.by(0).in_words().startswith("+0 to the rate")
    for rate, amount, result in [(0, 0, 0), (0, -1, 0), (1, -1, 0), (0, 1, 1), (254, 1, 255)]:
        adjusted = cv.AccelerationRate(rate), cv.AccelerationAdjustment.by(amount)
        assert cv.adjusted_rate(*adjusted) == result
    assert cv.adjusted_rate(cv.DecelerationRate(255), cv.DecelerationAdjustment.by(1)) == 255


def test_f0_is_read_as_fl_and_turned_with_its_unit() -> None:
    """The trade's name, alone and for one direction; what is shown is FL."""
    both = ConsistUnit("lead", {"headlight": "F0"})
    front = ConsistUnit("lead", {"headlight": "F0-forward"}, reversed=True)
    found = [mask.names_on for mask in consist_functions([both, front])]
    assert found == [("FL-forward", "FL-reverse"), ("FL-reverse",)]
    assert cv.AlternatePowerFunctions.on("F0") == cv.AlternatePowerFunctions.on("FL")
    assert str(cv.value_from_text("ConsistFunctions functions=F0,F1")).split()[1] == (
        "functions=F1,FL-forward,FL-reverse"
    )
    assert cv.OutputLocations().outputs("F0-reverse") == (2,)
    assert cv.OutputLocations().moved("F0-reverse", {5}).outputs("FL-reverse") == (5,)
    for name in ("F0-sideways", "F00", "F0 ", "f0"):
        with refused(FieldError, field="function", value=name):
            cv.ConsistFunctions.on(name)
    with refused(FieldError, match="position: 'lead', 'middle' or 'trailing' expected"):
        consist_functions([ConsistUnit("front", {})])


def test_a_position_that_the_practice_does_not_know_is_refused() -> None:
    """No silent guess."""
    with refused(FieldError, bound="lead", value="middle"):
        consist_functions([ConsistUnit(UnitPosition.MIDDLE, ROLES)], {UnitPosition.LEAD: Answers()})
