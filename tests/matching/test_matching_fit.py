"""The tables and trims: against every voltage tried one by one on motors that the test knows."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matching_helpers import (
    FORWARD,
    LINEAR,
    REVERSE,
    between,
    nearest,
    pair,
    readings,
    straight,
    unit,
)

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv import CvSet, SpeedTable
from dccwire.decoder import Direction
from dccwire.errors import FieldError
from dccwire.matching import Measurements, Reading, Shape, Unit, match
from refusals import refused


def slow(voltage: float) -> float:
    return 0.9 * (voltage - 4)


def fast(voltage: float) -> float:
    return 1.5 * (voltage - 6)


def test_each_point_is_the_voltage_that_is_nearest_to_the_common_speed() -> None:
    """Two straight motors: from 4.5 mm/s, the faster one's least, to 225.9, the slower one's most.

    0.9 × (9 - 4) = 4.5 and 1.5 × (9 - 6) = 4.5; 0.9 × (255 - 4) = 225.9.
    """
    found = match(pair(slow, fast))
    target = straight(4.5, 225.9)
    assert found.target == pytest.approx(target)
    for motor, one in zip((slow, fast), found.units, strict=True):
        expected = [nearest(motor, speed, range(9, 256)) for speed in target]
        assert list(one.table.points) == expected
        (run,) = one.runs
        assert run.after == pytest.approx([motor(point) for point in expected])
        assert run.before == pytest.approx([motor(voltage) for voltage in LINEAR])
    assert (found.scale, found.shape) == (87, Shape.STRAIGHT)
    assert (found.lowest_by, found.highest_by) == ("short 3", "short 3")


def test_what_is_left_is_the_span_of_all_units_and_directions() -> None:
    """Step by step, in mm/s, and in km/h at the scale: mm/s × 87 × 3600 / 10^6."""
    found = match(Measurements(87, (unit(3, slow, slow), unit(5, fast), unit(7, slow))))
    runs = [run for one in found.units for run in one.runs]
    assert [run.direction for run in runs] == [Direction.FORWARD, Direction.REVERSE] + [
        Direction.FORWARD
    ] * 2
    for step in range(28):
        speeds = [run.after[step] for run in runs]
        assert found.remaining[step] == max(speeds) - min(speeds)
        assert found.remaining_scale_km_h[step] == pytest.approx(found.remaining[step] * 0.3132)
        known = [run.before[step] for run in runs]
        assert found.before[step] == max(known) - min(known)


RISING = st.lists(st.floats(0.5, 40), min_size=28, max_size=28).map(
    lambda rises: between(zip(LINEAR, (sum(rises[: at + 1]) for at in range(28)), strict=True))
)
"""Motors that rise by 0.5 to 40 mm/s from one voltage that is measured to the next."""


@given(RISING, RISING)
def test_any_two_motors_are_as_near_as_one_voltage_of_each_allows(first, second) -> None:
    """Tables rise, stay within what was measured, and miss the target by half of a voltage's rise.

    Unless the motors have no speed in common.
    """
    low, high = max(first(9), second(9)), min(first(255), second(255))
    if low >= high:
        with pytest.raises(FieldError, match="least speed of short"):
            match(pair(first, second))
        return
    found = match(pair(first, second))
    target = straight(low, high)
    assert found.target == pytest.approx(target)
    for motor, one in zip((first, second), found.units, strict=True):
        points = one.table.points
        assert all(before <= after for before, after in pairwise(points))
        assert points[0] >= 9
        assert points[-1] <= 255
        rise = max(motor(voltage + 1) - motor(voltage) for voltage in range(9, 255))
        for point, speed in zip(points, target, strict=True):
            best = min(abs(motor(voltage) - speed) for voltage in range(9, 256))
            assert abs(motor(point) - speed) == pytest.approx(best, abs=1e-6)
            assert best <= rise / 2 + 1e-6


@given(RISING, RISING, st.floats(0.6, 1.4))
def test_tables_rise_with_two_directions_and_the_mean_shape_too(first, second, share) -> None:
    """Whatever the second direction does; each point is the best of all by squares."""
    units = unit(3, first, lambda voltage: share * first(voltage)), unit(5, second)
    try:
        found = match(Measurements(160, units), "mean")
    except FieldError as error:
        found, told = None, error.field
    if found is None:
        assert told.startswith(("least speed of short", "readings of short"))
        return
    assert all(before <= after + 1e-9 for before, after in pairwise(found.target))
    for one in found.units:
        assert not one.table.falls
        assert min(one.forward_trim, one.reverse_trim) >= 1
        assert max(one.forward_trim, one.reverse_trim) == 128
    table, trims = found.units[0].table, (found.units[0].forward_trim, found.units[0].reverse_trim)

    def squares(point: int, speed: float) -> float:
        ahead, back = (point * trim / 128 for trim in trims)
        return (first(ahead) - speed) ** 2 + (share * first(back) - speed) ** 2

    legal = [one for one in range(256) if all(9 <= one * trim / 128 <= 255 for trim in trims)]
    for point, speed in zip(table.points, found.target, strict=True):
        best = min(squares(one, speed) for one in legal)
        assert squares(point, speed) == pytest.approx(best, abs=1e-5)


@given(st.integers(80, 128), st.booleans())
def test_a_trim_that_makes_the_directions_alike_is_found(trim: int, forward: bool) -> None:
    """A motor that goes as fast with trim / 128 of the voltage in one direction: this trim.

    2 × voltage one way, and 2 × voltage × 128 / trim the other way.
    """
    plain, faster = (lambda voltage: 2 * voltage), (lambda voltage: 2 * voltage * 128 / trim)
    motors = (faster, plain) if forward else (plain, faster)
    found = match(Measurements(87, (unit(3, *motors), unit(5, slow)))).units[0]
    assert (found.forward_trim, found.reverse_trim) == ((trim, 128) if forward else (128, trim))
    ahead, back = found.runs
    assert ahead.after == pytest.approx(back.after)


def test_the_trim_is_the_best_of_all_that_there_are() -> None:
    """By squares of the speeds that are left, where no factor makes the directions alike."""

    def ahead(voltage: float) -> float:
        return 1.1 * max(voltage - 8, 0)

    def back(voltage: float) -> float:
        return 0.9 * voltage

    found = match(Measurements(87, (unit(3, ahead, back), unit(5, slow)))).units[0]
    speeds = [motor(voltage) for motor in (ahead, back) for voltage in LINEAR]
    common = sorted({one for one in speeds if 8.1 <= one <= 229.5})  # 0.9 × 9 and 0.9 × 255
    apart = {}
    for trim in range(1, 129):
        # 0.9 × u = v gives the voltage in reverse; below 9 nothing is known, so 9 counts there.
        apart[trim, 128] = sum((ahead(max(one / 0.9 * trim / 128, 9)) - one) ** 2 for one in common)
        apart[128, trim] = sum(
            (back(max((one / 1.1 + 8) * trim / 128, 9)) - one) ** 2 for one in common
        )
    assert (found.forward_trim, found.reverse_trim) == min(apart, key=apart.__getitem__)


def test_trims_stay_where_one_direction_was_measured() -> None:
    """Those that the unit has, 128 where they are not known; its voltages have them in."""
    cvs = CvSet({29: 18, 66: 64, 95: 100})
    one = Unit(ShortAddress(3), readings(slow), cvs, LINEAR)
    found = match(Measurements(87, (one, unit(5, fast)))).units
    assert [(each.forward_trim, each.reverse_trim) for each in found] == [(64, 100), (128, 128)]
    # With 64 / 128 the motor got half of each voltage: slow(LINEAR) at LINEAR / 2.
    halved = between(zip((one / 2 for one in LINEAR), map(slow, LINEAR), strict=True))
    assert found[0].runs[0].after == pytest.approx(
        [halved(point / 2) for point in found[0].table.points]
    )


def test_a_trim_that_is_not_implemented_is_not_written() -> None:
    """0 in CV 66 (S-9.2.2): the table alone, chosen for both directions; the other trim stays."""
    cvs = CvSet({29: 2, 66: 0, 95: 120})
    found = match(Measurements(87, (unit(3, slow, fast, cvs=cvs), unit(5, fast)))).units[0]
    assert (found.forward_trim, found.reverse_trim) == (0, 120)
    assert 66 not in found.to_cvs()
    assert found.to_cvs()[95] == 120


def test_the_mean_shape_is_that_of_the_units() -> None:
    """One straight, one by squares: half of each, between the least and the most in common."""
    squared = between((voltage, 0.004 * voltage**2) for voltage in LINEAR)
    found = match(pair(lambda voltage: voltage, squared), Shape.MEAN)
    for step, voltage in enumerate(LINEAR):
        line = (voltage - 9) / (255 - 9)
        square = (voltage**2 - 9**2) / (255**2 - 9**2)
        assert found.target[step] == pytest.approx(9 + (255 - 9) * (line + square) / 2)
    assert found.shape is Shape.MEAN


def test_the_mean_shape_takes_the_end_of_a_range_for_steps_beyond() -> None:
    """A unit measured at steps 4 to 24 alone, whose table falls at one point."""
    points = (*LINEAR[:10], LINEAR[11], LINEAR[10], *LINEAR[12:])
    some = readings(slow, steps=range(4, 25), voltages=points)
    one = Unit(ShortAddress(3), some, points=points)
    found = match(Measurements(87, (one, unit(5, slow))), "mean")
    least, most = slow(36), slow(219)
    shares = [(min(max(slow(one), least), most) - least) / (most - least) for one in LINEAR]
    whole = [(voltage - 9) / (255 - 9) for voltage in LINEAR]
    for step in range(28):
        share = (shares[step] + whole[step]) / 2
        assert found.target[step] == pytest.approx(least + (most - least) * share)


def test_nothing_is_taken_for_known_beyond_what_was_measured() -> None:
    """Steps 5 to 20 alone: no voltage beyond theirs, and no speed before at the others."""
    one = Unit(ShortAddress(3), readings(slow, steps=range(5, 21)))
    found = match(Measurements(87, (one, unit(5, fast))))
    points = found.units[0].table.points
    assert (points[0], points[-1]) == (46, 182)
    before = found.units[0].runs[0].before
    assert [step for step in range(1, 29) if before[step - 1] is None] == [
        *(1, 2, 3, 4),
        *(21, 22, 23, 24, 25, 26, 27, 28),
    ]
    assert [one is None for one in found.before] == [one is None for one in before]
    assert (found.lowest_by, found.highest_by) == ("short 3", "short 3")


def test_step_one_moves_every_unit() -> None:
    """A unit that stands still at steps 1 to 3 gets no voltage at which it was not seen to move."""
    standing = readings(lambda _: 0, steps=(1, 2, 3))
    one = Unit(ShortAddress(3), (*standing, *readings(slow, steps=range(4, 29))))
    found = match(Measurements(87, (one, unit(5, fast))))
    assert found.units[0].table.points[0] == 36
    assert found.units[0].runs[0].before[:3] == (0, 0, 0)
    assert min(run.after[0] for each in found.units for run in each.runs) > 0


def test_one_wrong_reading_among_three_changes_nothing() -> None:
    """The median of a step counts."""
    wrong = [Reading(step, FORWARD, 900.0) for step in (3, 20)]
    again = [*readings(slow, steps=(3, 20))]
    noisy = Unit(ShortAddress(3), (*readings(slow), *wrong, *again))
    found = match(Measurements(87, (noisy, unit(5, fast))))
    plain = match(pair(slow, fast))
    assert found.target == plain.target
    assert [one.table for one in found.units] == [one.table for one in plain.units]


@given(st.lists(st.floats(0.97, 1.03), min_size=84, max_size=84))
def test_noise_of_three_per_cent_leaves_less_than_four(noise: list[float]) -> None:
    """Three readings of a step, each within 3 %: the true motors are then that near or nearer.

    A median is within 3 %; a target, too; with half a voltage's rise of each, 0.45 + 0.75 mm/s.
    """
    noisy = []
    for number, motor in ((3, slow), (5, fast)):
        some = tuple(
            Reading(step, FORWARD, motor(LINEAR[step - 1]) * noise[(step - 1) * 3 + again])
            for step in range(1, 29)
            for again in range(3)
        )
        noisy.append(Unit(ShortAddress(number), some))
    first, second = (one.table.points for one in match(Measurements(87, tuple(noisy))).units)
    for one, other in zip(first, second, strict=True):
        ahead, behind = slow(one), fast(other)
        assert abs(ahead - behind) <= 0.07 * max(ahead, behind) + 1.5


def test_the_table_is_written_before_the_bit_that_makes_it_count() -> None:
    """CV 29 as it is, with bit 4 (S-9.2.2), comes last; without its value it is left alone."""
    cvs = CvSet({1: 5, 29: 6})
    one = match(Measurements(87, (unit(5, fast, cvs=cvs), unit(3, slow)))).units
    assert one[0].to_cvs() == CvSet(
        {66: 128, 95: 128, 29: 22} | {67 + n: p for n, p in enumerate(one[0].table.points)}
    )
    told = [packet.instructions[0] for packet in one[0].packets_on_main()]
    assert [each.cv for each in told] == [*range(66, 96), 29]
    assert {packet.address for packet in one[0].packets_on_main()} == {ShortAddress(5)}
    assert 29 not in one[1].to_cvs()


def test_points_that_stay_are_not_written() -> None:
    """The packets are those of CVs that change."""
    held = Unit(LongAddress(900), readings(slow), points=LINEAR)
    found = match(Measurements(87, (held, unit(3, slow)))).units[0]
    assert found.table.points != LINEAR
    changed = {67 + at for at in range(28) if found.table.points[at] != LINEAR[at]}
    told = {packet.instructions[0].cv for packet in found.packets_on_main()}
    assert told == changed | {66, 95}  # which are not known
    assert held.held == CvSet(SpeedTable(LINEAR).to_cvs().items())


def test_units_without_a_speed_in_common_are_refused() -> None:
    """The message names both, and what would help."""
    with refused(
        FieldError,
        field="least speed of short 5",
        bound="less than the 225.9 mm/s that short 3 did at most",
        value=300.0,
        hint="measure short 5 at slower steps",
    ):
        match(pair(slow, lambda voltage: 291 + voltage))


def test_too_few_readings_are_refused() -> None:
    """One step, one speed, or no movement make no curve."""
    for some, moving in (
        (readings(slow, steps=(7,)), 1),
        (readings(lambda _: 5.0), 1),
        (readings(lambda _: 0.0), 0),
        (readings(lambda voltage: 300 - voltage), 1),
    ):
        one = Unit(ShortAddress(3), some)
        with refused(
            FieldError, field="readings of short 3 forward", value=moving, match="two steps or more"
        ):
            match(Measurements(87, (one, unit(5, fast))))


def test_directions_without_a_voltage_in_common_are_refused() -> None:
    """Forward at slow steps alone, reverse at fast ones alone."""
    some = (*readings(slow, steps=(1, 2)), *readings(slow, REVERSE, steps=(27, 28)))
    with refused(FieldError, field="readings of short 3", value=4, match="in common"):
        match(Measurements(87, (Unit(ShortAddress(3), some), unit(5, fast))))


def test_cvs_that_do_not_tell_the_voltages_are_refused() -> None:
    """The message names the unit."""
    with refused(FieldError, field="short 3: CV 5", bound="a value", value=None, match="together"):
        match(Measurements(87, (unit(3, slow, cvs=CvSet({2: 9, 6: 0})), unit(5, fast))))


def test_a_shape_that_is_none_is_refused() -> None:
    """With those that there are."""
    with refused(FieldError, field="shape", value="round", match="'straight' or 'mean'"):
        match(pair(slow, fast), "round")


SOME = st.lists(
    st.builds(
        Reading,
        st.integers(1, 28),
        st.sampled_from(Direction),
        st.sampled_from([0.0, 1e-9, 1.0, 5.0, 5.0, 9999.0]) | st.floats(0, 500),
    ),
    min_size=1,
    max_size=30,
)
CVS = st.dictionaries(st.sampled_from([2, 5, 6, 25, 66, 95]), st.integers(0, 255))
POINTS = st.none() | st.lists(st.integers(0, 255), min_size=28, max_size=28).map(tuple)


@given(st.lists(st.tuples(SOME, CVS, POINTS), min_size=2, max_size=3), st.sampled_from(Shape))
def test_whatever_was_measured_gives_tables_that_rise_or_is_refused(some, shape: Shape) -> None:
    """Readings without sense, tables that fall, any trims."""
    units = tuple(
        Unit(ShortAddress(number), tuple(found), CvSet(cvs), points)
        for number, (found, cvs, points) in enumerate(some, 1)
    )
    try:
        found = match(Measurements(87, units), shape)
    except FieldError:
        return
    assert all(before <= after for before, after in pairwise(found.target))
    assert all(speed >= 0 for speed in found.remaining)
    for one in found.units:
        assert not one.table.falls
        for run in one.runs:
            assert all(0 < before <= after for before, after in pairwise(run.after))
    assert max(map(len, found.text().splitlines())) <= 80
    assert found.svg().endswith("</svg>\n")


def test_readings_that_differ_are_told() -> None:
    """More than a tenth of the median apart; 10 mm/s of 100 are not more."""
    speeds = {1: (0.0, 0.0, 4.0), 5: (50.0, 56.0), 9: (100.0, 95.0, 105.0), 28: (300.0, 300.0)}
    some = [Reading(step, REVERSE, one) for step, three in speeds.items() for one in three]
    found = match(Measurements(87, (Unit(ShortAddress(3), tuple(some)), unit(5, fast))))
    assert found.doubts == (
        "short 3 reverse, step 1: readings differ from standing; measure it again",
        "short 3 reverse, step 5: readings differ by 11 %; measure it again",
    )
    assert [line for line in found.text().splitlines() if line.startswith("!")] == [
        f"!  {words}" for words in found.doubts
    ]
    assert found.to_dict()["doubts"] == list(found.doubts)


def test_a_trim_fits_where_the_slower_unit_runs() -> None:
    """Faster speeds of a strong engine, which its partner never lets it reach, do not count."""
    steps = (1, 2, 4, 8, 12, 16, 20, 24, 28)

    def measured(address: int, forward, reverse) -> Unit:
        readings = [
            Reading(step, direction, max(0.0, motor(round(255 * step / 28))))
            for step in steps
            for direction, motor in ((Direction.FORWARD, forward), (Direction.REVERSE, reverse))
        ]
        return Unit(ShortAddress(address), tuple(readings))

    strong = measured(3, lambda v: 2.0 * (v - 4), lambda v: 2.1 * (v - 24))
    weak = measured(4, lambda v: 1.0 * (v - 8), lambda v: 1.0 * (v - 8))
    trims = match(Measurements(87, (strong, weak))).units[0]
    assert trims.forward_trim in range(104, 113)  # by trying every trim with every voltage: 108
    assert trims.reverse_trim == 128


@pytest.mark.parametrize(("configuration", "trim"), [(6, 128), (22, 64)])
def test_trims_that_did_not_count_are_not_kept(configuration: int, trim: int) -> None:
    """One direction measured: those in force stay (CV 29 bit 4), others are 128."""
    readings = tuple(Reading(step, "forward", 10.0 * step) for step in (1, 14, 28))
    table = {cv: 9 * (cv - 66) for cv in range(67, 95)} if configuration & 16 else {}
    cvs = CvSet({2: 9, 5: 255, 6: 0, 29: configuration, 66: 64, 95: 64} | table)
    other = Unit(ShortAddress(4), readings)
    found = match(Measurements(87, (Unit(ShortAddress(3), readings, cvs), other))).units[0]
    assert (found.forward_trim, found.reverse_trim) == (trim, trim)


def test_a_speed_that_falls_is_told() -> None:
    """An engine that stood at a high step, or raced at a low one."""
    for speeds, step in (((6.0, 140.0, 100.0), 28), ((200.0, 140.0, 290.0), 1)):
        pairs = zip((1, 14, 28), speeds, strict=True)
        odd = Unit(ShortAddress(3), tuple(Reading(at, "forward", mm_s) for at, mm_s in pairs))
        right = zip((1, 14, 28), (6.0, 140.0, 290.0), strict=True)
        even = Unit(ShortAddress(4), tuple(Reading(at, "forward", mm_s) for at, mm_s in right))
        doubts = match(Measurements(87, (odd, even))).doubts
        assert any(f"short 3 forward, step {step}: " in one for one in doubts)
        assert not any("short 4" in one for one in doubts)
