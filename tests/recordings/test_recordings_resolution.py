"""The resolution of recordings: of signals sampled here, and written in every number format."""

from __future__ import annotations

import io
from math import ceil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recording_helpers import edges_of

from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.recordings import read
from dccwire.recordings.resolution import ResolutionEstimate
from refusals import refused

PERIODS = [20, 41.667, 62.5, 100, 166.667, 250, 333.333, 334, 437.7, 617.3, 1000, 1033.3, 1500]


def crossings(edges, jitter_ns, seed, halves=(58_000, 58_000, 100_000, 100_000)):
    """Times of a signal of ones and zeros, ns, never rounded: halves of a one, then of a zero."""
    random = np.random.default_rng(seed)
    bits = random.integers(0, 2, edges // 2)
    lengths = np.array(halves, float).reshape(2, 2)[1 - bits].ravel()
    return np.sort(np.cumsum(lengths) + random.normal(0, jitter_ns, lengths.size))


def sampled(times, period, seed=1):
    """The times at which a clock of any phase sees them."""
    phase = np.random.default_rng(seed).random() * period
    return np.ceil((times - phase) / period) * period


def rounded(times, unit):
    return (np.rint(times / unit) * unit).astype(np.int64)


def judged(times, tick=1):
    estimate = ResolutionEstimate(tick)
    estimate.add(times)
    return estimate.result()


@pytest.mark.parametrize("unit", [1, 10, 100])
@pytest.mark.parametrize("period", PERIODS)
def test_a_sampling_period_is_found_below_the_unit_of_the_stamps(period, unit):
    """Whole or not, and however rounded: as long as rounding leaves a trace of it."""
    for seed, edges in enumerate((2_000, 2_000, 20_000)):
        times = sampled(crossings(edges, max(300, period), seed), period, seed)
        resolution, _ = judged(rounded(times, unit), unit)
        if period >= 3.5 * unit:
            assert 0.9 * period <= resolution <= 2 * period
        else:
            assert unit <= resolution <= 2 * max(unit, period)


@pytest.mark.parametrize("unit", [1, 10, 100, 1000])
@pytest.mark.parametrize("jitter", [0, 30, 500, 2_000])
def test_what_is_exact_to_its_unit_stays_so(jitter, unit):
    """Jitter, spurious pulses and gaps of a recorder that is as fine as its stamps are no clock."""
    random = np.random.default_rng(3)
    for seed, edges in enumerate((1_000, 2_000, 20_000)):
        times = crossings(edges, jitter, seed)
        assert judged(rounded(times, unit), unit)[0] == unit
        pulses = random.choice(times, 50) + 20_000
        noisy = np.sort(np.concatenate([times, pulses, pulses + random.random(50) * 3_000]))
        assert judged(rounded(noisy, unit), unit)[0] == unit


@pytest.mark.parametrize(
    ("halves", "resolution"),
    [
        *(
            ((58, 58, 100, 100), 1),
            ((60, 60, 100, 100), 1),
            ((58, 58, 116, 116), 1),
            ((58,) * 4, 1),
        ),
        *(((56, 60, 100, 100), 4000), ((58, 60, 100, 102), 2000), ((58.5, 60, 100, 100), 500)),
        *(((60, 60, 100, 120), 5000), ((57, 60, 100, 100), 1000), ((58.3, 60, 100, 100), 100)),
    ],
)
def test_few_different_durations_say_little_of_a_clock(halves, resolution):
    """Two say nothing; of three or four the divisor counts, as far as it may be a sampling period.

    A simulated signal then loses certainty, but one that was sampled keeps its doubt (M9).
    """
    times = rounded(crossings(4_000, 0, 1, np.array(halves) * 1000), 1)
    assert judged(times)[0] == resolution
    assert judged(times, 1000)[0] == max(resolution, 1000)


def test_five_different_durations_are_the_fewest_with_any_divisor():
    """One fewer may be the halves of a one and of a zero, first and last."""
    durations = np.array([54_000, 58_000, 62_000, 82_000, 86_000])
    assert judged(np.cumsum(durations * 3 // 2))[0] == 3000, "the first of them is no duration"
    source = "greatest common divisor of the edge times"
    assert judged(np.append(0, np.cumsum(durations))) == (2000, source)


@pytest.mark.parametrize(
    "halves", [(56_600, 59_400, 100_000, 100_000), (58_300, 58_300, 100_000, 100_000)]
)
def test_a_clock_of_no_whole_units_shows_without_jitter(halves):
    """Three durations that have no common divisor, but nearly: those of 3 MHz."""
    resolution, source = judged(rounded(sampled(crossings(4_000, 0, 1, halves), 1000 / 3), 1))
    assert (resolution >= 333, source) == (True, "distances of the durations")


@settings(max_examples=30)
@given(cuts=st.lists(st.integers(0, 3_000), max_size=8))
def test_portions_change_nothing(cuts):
    """Edges come in any portions, empty ones too."""
    times = rounded(sampled(crossings(3_000, 500, 2), 333.3), 1)
    estimate = ResolutionEstimate()
    for part in np.split(times, sorted(cuts)):
        estimate.add(part)
    assert estimate.result() == judged(times)


def test_no_edges_and_times_out_of_order():
    """Nothing known is the unit; what runs backwards is told elsewhere."""
    assert judged(np.empty(0, np.int64), 7) == (7, "unit of the times")
    estimate = ResolutionEstimate()
    for part in ([5, 1 << 61, -(1 << 61)], [0], [-(1 << 62)], [(1 << 62) + 1]):
        estimate.add(np.array(part, np.int64))
    assert estimate.result()[0] >= 1


def npy(times):
    buffer = io.BytesIO()
    np.save(buffer, times)
    return buffer.getvalue()


def csv(times, form, unit=1e9):
    rows = (
        form % (time / unit).item() + f",{number % 2}\n" for number, time in enumerate(times, 1)
    )
    return f"Time [{'s' if unit == 1e9 else 'us'}],track\n0,0\n" + "".join(rows)


@pytest.mark.parametrize("period", [100, 333.333, 1000, 1250])
def test_float32_gets_coarser_with_time(period, save):
    """Early times tell the clock, late ones what the numbers hold: the larger of the two counts."""
    times = sampled(crossings(60_000, 500, 4), period) / 1e9
    path = save("a.npy", npy(times.astype(np.float32)))
    found = read(path, unit="s")
    head = found.resolution_ns
    assert edges_of(found)[-1] > 4e9
    spacing = float(np.spacing(np.float32(times[-1]))) * 1e9
    assert max(0.9 * period, spacing) <= found.resolution_ns <= max(2 * period, ceil(spacing))
    assert 0.9 * period <= head <= found.resolution_ns
    found = read(save("b.npy", npy(times)), unit="s")
    assert 0.9 * period <= found.resolution_ns <= 2 * period


@pytest.mark.parametrize(
    ("form", "unit", "jitter", "resolution"),
    [
        ("%.6f", 1e9, 300, 1000),
        ("%.7f", 1e9, 300, 100),
        ("%.9f", 1e9, 300, 1),
        ("%.3e", 1e9, 300, 100_000),
        ("%.6e", 1e9, 300, 1000),
        ("%.0f", 1e3, 300, 1000),
        ("%.2f", 1e3, 300, 10),
        ("%r", 1e9, 300, 1),
    ],
)
def test_digits_of_text(form, unit, jitter, resolution, save):
    """The last digit written is what the text holds, whatever the form of the numbers."""
    times = rounded(crossings(30_000, jitter, 5), 1)
    found = read(save("a.csv", csv(times, form, unit)), signal="track", **({"resolution": 1}))
    assert found.resolution_ns == 1, "the option comes first"
    path = save("a.csv", csv(times, form, unit))
    if resolution >= 10_000:
        with refused(RecordingError, Reason.RESOLUTION, "too coarse"):
            read(path, signal="track").check_resolution()
        return
    found = read(path, signal="track")
    edges_of(found)
    assert found.resolution_ns == resolution


def test_seven_digits_hold_less_and_less(save):
    """`%.7g` from 10 s on holds 10 us: the head can be judged and all be read, but not judged."""
    times = crossings(150_000, 300, 6)
    found = read(save("a.csv", csv(times, "%.7g")), signal="track")
    assert found.resolution_ns == 1000
    assert len(edges_of(found)) > 140_000
    assert (found.resolution_ns, found.resolution_source) == (10_000, "digits of the times")
    with refused(RecordingError, Reason.RESOLUTION, r"10000 ns .digits of the times. is too"):
        found.check_resolution()
    with refused(RecordingError, Reason.RESOLUTION, r"10000 ns .digits of the times. is too"):
        read(save("b.csv", csv(times[:30_000], "%g")), signal="track")


def test_option_timescale_and_many_values(save):
    """An option wins; the unit of the file is the least; a divisor needs many values."""
    head = "$timescale {} $end $var wire 1 ! t $end $enddefinitions $end\n#0 0!\n"
    many = "#58000 1!\n#117000 0!\n#217000 1!\n#318000 0!\n#378000 1!\n#477000 0!\n"
    path = save("a.vcd", head.format("1 ns") + many)
    source = "greatest common divisor of the edge times"
    found = read(path, signal="t")
    assert (found.resolution_ns, found.resolution_source) == (1000, source)
    found = read(path, signal="t", resolution=0.5)
    assert (found.resolution_ns, found.resolution_source) == (1, "option")
    edges_of(found)
    assert (found.resolution_ns, found.resolution_source) == (1, "option")
    path = save("a.vcd", head.format("1 us") + many.replace("000 ", " "))
    found = read(path, signal="t")
    assert (found.resolution_ns, found.resolution_source) == (1000, "unit of the times")
    for unit, resolution in (("us", 1000), ("ps", 1)):
        found = read(save("a.npy", npy(np.array([0, 58_000, 117_000]))), unit=unit)
        assert found.resolution_ns == resolution


def test_too_coarse(save):
    """At 10 us and more a one cannot be told from a zero (S-9.1 §A, Table 1)."""
    path = save("a.csv", "time_us,track\n0,0\n58,1\n116,0\n")
    with refused(
        RecordingError, Reason.RESOLUTION, r"a resolution of 10000 ns .option. is too coarse"
    ):
        read(path, signal="track", resolution=10_000)
    assert read(path, signal="track", resolution=9_999).resolution_ns == 9_999
    for resolution in (0, -1, float("nan"), float("inf")):
        with refused(FieldError, match=r"resolution: a positive number of ns expected"):
            read(path, signal="track", resolution=resolution)
    tens = np.cumsum([60, 50, 100, 60, 110, 90, 120, 50]) * 1000
    with refused(RecordingError, Reason.RESOLUTION, r"10000 ns .greatest common divisor"):
        read(save("a.npy", npy(np.append(0, tens))))
    simulated = np.cumsum([60, 60, 100, 100] * 20) * 1000
    assert read(save("a.npy", npy(simulated))).resolution_ns == 1
