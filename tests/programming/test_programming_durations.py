"""Time on the wire: real bits, exact counts, and what lies between the modes."""

import time
from fractions import Fraction

import pytest
from programming_helpers import IdealDecoder, runs, sent

from dccwire import NOMINAL, Packet, Timing
from dccwire.errors import FieldError
from dccwire.programming import (
    TIMINGS,
    AddressOnly,
    Answer,
    Assumptions,
    Block,
    Cost,
    DirectCounts,
    DirectCv,
    PagedCv,
    Register,
    Setup,
    estimate,
    packet_ns,
    read_cvs,
    read_job,
    reading_time,
    time_on_wire,
    verify_byte,
)
from dccwire.signal import LIMITS, durations
from refusals import refused

MINUTE = 60 * 10**9
BARE = Setup(power_on=False)


@pytest.mark.parametrize("timing", TIMINGS.values(), ids=TIMINGS)
@pytest.mark.parametrize(
    "text", ["idle: Idle", "broadcast: DigitalDecoderReset", "long 5: HardReset"]
)
def test_a_packet_takes_as_long_as_its_half_bits(timing, text) -> None:
    """Counted against the bits themselves, one by one."""
    packet = Packet.from_text(text)
    for preamble in (14, 20):
        expected = sum(durations(packet.to_bits(preamble), timing))
        assert packet_ns(packet, preamble, timing) == expected
        assert packet_ns(bytes(packet), preamble, timing) == expected


def test_the_reset_packet_at_the_limits() -> None:
    """20 + 1 ones and 27 zeros: at 55 and 95 µs, at 58 and 100, at 61 and 100, at 61 and 12 ms."""
    reset = bytes(3)
    times = {name: packet_ns(reset, 20, timing) for name, timing in TIMINGS.items()}
    assert times == {
        "least": 21 * 110_000 + 27 * 190_000,
        "nominal": 21 * 116_000 + 27 * 200_000,
        "most": 21 * 122_000 + 27 * 200_000,
        "stretched": 21 * 122_000 + 27 * 12_000_000,
    }


def test_timings_keep_the_limits() -> None:
    """S-9.1 §A, Table 1: t1, t0, t0total."""
    for timing in TIMINGS.values():
        zero, one = timing.halves
        assert all(LIMITS["t1"].least <= half <= LIMITS["t1"].most for half in one)
        assert all(LIMITS["t0"].least <= half <= LIMITS["t0"].most for half in zero)
        assert sum(zero) <= LIMITS["t0total"].most


@pytest.mark.parametrize("preamble", [-1, -20])
def test_a_preamble_is_not_negative(preamble) -> None:
    """The error names field, bound and value; 0 is a preamble, of the start of a recording."""
    for packet in (bytes(3), Packet.from_text("idle: Idle")):
        with refused(FieldError, field="preamble", bound="0 or more", value=preamble):
            packet_ns(packet, preamble)
    assert packet_ns(bytes(3), 0) == 116_000 + 27 * 200_000


def test_what_a_session_sent_takes_the_sum() -> None:
    """23 resets and five verifies, with the preamble that was sent."""
    outgoing = sent(verify_byte(DirectCv(29), 38))
    one, other = outgoing[0].packet, outgoing[-1].packet
    assert time_on_wire(outgoing) == Cost(28, 23 * one.duration_ns(20) + 5 * other.duration_ns(20))
    assert time_on_wire([]) == Cost(0, 0)


def driven(values, blocks, reach, setup, assumptions) -> Cost:
    """The same by walking the session itself, with an ideal decoder."""
    cvs = {
        key if isinstance(key, int) else (key.high, key.low, key.cv): value
        for key, value in values.items()
    }
    decoder = IdealDecoder({31: 0, 32: 0, **cvs}, writes=assumptions.writes)
    repeated = {}

    def respond(sending) -> Answer:
        """At the packet of a step from which the assumptions take the answer."""
        data = bytes(sending.packet)
        number = repeated.get(data, 0) + 1
        repeated.clear()
        repeated[data] = number
        heard = decoder(sending) is Answer.ACKNOWLEDGED
        length = 7 if reach == Register.of_cv and not data[0] & 8 else 5
        taken = number >= min(assumptions.answer, length)
        return Answer.ACKNOWLEDGED if heard and taken else Answer.SILENCE

    session = read_cvs(blocks, reach, setup)
    outgoing = sent(session, respond)
    assert dict(session.result.values) == values
    return time_on_wire(outgoing, assumptions.timing)


SLOW = Assumptions(timing=TIMINGS["least"], answer=4, writes=False)
ALL = Assumptions(answer=99)
JOBS = [
    ("1-9", DirectCv, BARE, Assumptions()),
    ("1-9", DirectCv, Setup(DirectCounts(between_cvs=2, verifies=6, acknowledged_resets=3)), ALL),
    ("250,257-260x2,3", DirectCv, BARE, SLOW),
    ("1-9,1024", PagedCv, Setup(), Assumptions()),
    ("5-9", PagedCv, Setup(check_page=False), SLOW),
    ("4,257-258x2", PagedCv, BARE, ALL),
    ("1-4,29,7", Register.of_cv, Setup(power_cycle=True), Assumptions()),
    ("1,29", Register.of_cv, BARE, SLOW),
    ("1", AddressOnly.of_cv, BARE, ALL),
]


@pytest.mark.parametrize(("text", "reach", "setup", "assumptions"), JOBS)
@pytest.mark.parametrize("seed", [1, 5])
def test_times_are_those_of_the_session_itself(text, reach, setup, assumptions, seed) -> None:
    """Packets and ns of a job, to the last bit, as walked with an ideal decoder."""
    if setup.counts is not None:
        assumptions = Assumptions(assumptions.timing, 5, assumptions.writes)
    blocks = read_job(text)
    most = 128 if reach == AddressOnly.of_cv else 256
    keys = [key for block in blocks for key in block.keys]
    values = {key: number * 37 * seed % most for number, key in enumerate(keys, 1)}
    assert reading_time(values, blocks, reach, setup, assumptions) == driven(
        values, blocks, reach, setup, assumptions
    )


@pytest.mark.parametrize("cv", [29, 700])
def test_all_values_of_a_cv_in_direct_mode(cv) -> None:
    """Each of the 256 sums of bits, and best, mean and worst over them."""
    blocks = [Block(cv, cv)]
    costs = [reading_time({cv: value}, blocks) for value in range(256)]
    for value in range(0, 256, 3):
        assert costs[value] == driven({cv: value}, blocks, DirectCv, Setup(), Assumptions())
    found = estimate(blocks)
    assert found.cvs == 1
    assert found.best.ns == min(cost.ns for cost in costs)
    assert found.worst.ns == max(cost.ns for cost in costs)
    assert found.best in costs
    assert found.worst in costs
    assert found.mean.ns == round(Fraction(sum(cost.ns for cost in costs), 256))
    assert found.mean.packets == round(Fraction(sum(cost.packets for cost in costs), 256))


def test_more_cvs_add_up() -> None:
    """Best, mean and worst of a job are the sums over its CVs and what it needs once."""

    def extremes(values) -> list[int]:
        return [reading_time(values(v), blocks, PagedCv).ns for v in (0, 255)]

    blocks = read_job("1-8")
    found = estimate(blocks, PagedCv)
    best, worst = extremes(lambda v: dict.fromkeys(range(1, 9), v))
    assert (found.best.ns, found.worst.ns) == (best, worst)
    assert found.cvs == 8
    assert best < found.mean.ns < worst


@pytest.fixture(scope="module")
def three_hundred() -> dict:
    """Estimates for CV 1 to 300, by mode and by the packet at which answers are taken."""
    reaches = {"direct": DirectCv, "paged": PagedCv}
    return {
        (name, answer): estimate([Block(1, 300)], reach, assumptions=Assumptions(answer=answer))
        for name, reach in reaches.items()
        for answer in (2, 3, 99)
    }


def test_common_practice_lies_between_the_direct_floor_and_the_paged_mean(three_hundred) -> None:
    """10 to 13 minutes for 300 CVs: common practice, no source."""
    for answer in (2, 3, 99):
        direct, paged = three_hundred["direct", answer], three_hundred["paged", answer]
        assert direct.best.ns < direct.mean.ns < direct.worst.ns < 10 * MINUTE
        assert 13 * MINUTE < paged.mean.ns < paged.worst.ns
        assert paged.best.ns < direct.best.ns  # all zeros: one compare value for each CV


def test_ending_no_step_early_takes_longer_and_is_still_far_below_practice(three_hundred) -> None:
    """So repeating the minimum in full is not what fills the difference."""
    direct = [three_hundred["direct", answer] for answer in (2, 3, 99)]
    for case in ("best", "mean", "worst"):
        times = [getattr(one, case).ns for one in direct]
        assert times == sorted(times)
        assert times[0] < times[-1] < 3 * MINUTE


def test_planning_300_cvs_is_quick() -> None:
    """Less than a second of this process, without an earlier result to draw on."""
    before = time.process_time()
    found = estimate([Block(1, 300)], assumptions=Assumptions(timing=Timing(one=57_999)))
    assert time.process_time() - before < 1
    assert 8_000 < found.best.packets < found.worst.packets < 13_000


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Assumptions(answer=1), "answer"),
        (lambda: Assumptions(answer=2.5), "answer"),
        (lambda: estimate([]), "cvs"),
        (lambda: estimate([Block(1, 5)], Register.of_cv), "cv"),
        (lambda: reading_time({}, [Block(3, 3)]), "CV 3"),
        (lambda: reading_time({3: 256}, [Block(3, 3)]), "CV 3"),
        (lambda: reading_time({1: 128}, [Block(1, 1)], AddressOnly.of_cv), "CV 1"),
    ],
)
def test_what_cannot_be_timed_is_refused(make, field) -> None:
    """The error names the field."""
    with refused(FieldError, field=field):
        make()


def test_answers_are_taken_at_the_second_packet_or_later() -> None:
    """S-9.2.3 §D, P17: 2 is the least; one that comes past the end of a step ends none early."""
    at = [
        reading_time({3: 255}, [Block(3, 3)], assumptions=Assumptions(answer=n))
        for n in range(2, 8)
    ]
    assert [cost.packets for cost in at] == [50, 59, 68, 77, 77, 77]


def test_the_nominal_timing_is_the_usual_one() -> None:
    """58 µs and 100 µs (S-9.1 §A, Table 1)."""
    assert TIMINGS["nominal"] is NOMINAL
    assert Assumptions().timing is NOMINAL
    assert runs(verify_byte(DirectCv(1), 0, BARE))[0] == ("000000", 3)
