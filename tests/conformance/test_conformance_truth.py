"""Verdicts against the truth, of signals whose every fault is known because it was put there."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import pytest
from numpy.typing import NDArray
from track_signal import IDLE, Signal, Timing, Track, checked, steady, within_limits

from dccwire.conformance import check
from dccwire.recordings import read

SPEED, OTHER = checked(0x03, 0x74), checked(0x05, 0x74)
FAIL, UNDECIDED, EITHER = {"fail"}, {"undecided"}, {"fail", "undecided"}

Edges = NDArray[np.int64]
Verdicts = dict[int | str, str]


def verdicts(report) -> Verdicts:
    """The verdict of each rule by its number, and of the "whole"."""
    *rules, whole = report.to_dicts()
    return {"whole": whole["verdict"], **{rule["rule"]: rule["verdict"] for rule in rules}}


def failed(found: Verdicts) -> set[int | str]:
    return {name for name, verdict in found.items() if verdict == "fail"}


def seen(signal: Signal, random: Random, period_ns: float = 100) -> Edges:
    """Edges as one wire and a sampling recorder show them."""
    return signal.one_wire().sampled(period_ns, random.random()).edges()


def any_packet(random: Random) -> bytes:
    """A packet that may be sent whenever none to its address is near (S-9.2, S-9.2.1 §C, §D)."""
    long = [0xC0 | random.randint(1, 0x27), random.randint(0, 255)]
    address = random.choice([[random.randint(1, 99)], long])
    speed = [0x40 | random.randint(0, 0x3F)]
    functions = [random.choice([0x80, 0xA0, 0xB0]) | random.randint(0, 15)]
    steps = [0x3F, random.randint(0, 255)]
    accessory = [0x80 | random.randint(1, 0x3E), 0x88 | random.randint(0, 0x77)]
    rest = random.choice([speed, functions, steps])
    return checked(*random.choice([[*address, *rest], accessory]))


def station(random: Random, count: int, timing: Timing | None = None) -> Track:
    """A faultless station: any packets, 14 to 24 ones, an idle packet after each."""
    track = Track(level=random.randint(0, 1), timing=timing or within_limits(random))
    for _ in range(count):
        track.packet(any_packet(random), preamble=random.randint(14, 24))
        track.packet(IDLE, preamble=random.randint(14, 24))
    return track


# What is not judged must not pass. Each is sent after an idle packet, and given with the verdicts
# that are true, and the rules of which one must fail if the whole does.

HIDDEN: dict[str, tuple[Callable[[Track], Track], set[str], set[int]]] = {
    # S-9.2 §A: 14 ones, the end bit counted (C2); a whole packet with a right exclusive OR follows.
    "no preamble": (lambda t: t.packet(SPEED, preamble=0), EITHER, {14}),
    "1 one": (lambda t: t.packet(SPEED, preamble=1), FAIL, {14}),
    "9 ones": (lambda t: t.packet(SPEED, preamble=9), FAIL, {14}),
    "12 ones": (lambda t: t.packet(SPEED, preamble=12), FAIL, {14}),
    # The end bit does not count across another protocol.
    "70, 30, none": (lambda t: t.halves(70, 30, repeat=60).packet(SPEED, preamble=0), EITHER, {14}),
    "70, 30, nine": (lambda t: t.halves(70, 30, repeat=60).packet(SPEED, preamble=9), FAIL, {14}),
    # A cutout of 442 µs may hide four ones: nine seen and the end bit can be 14.
    "cutout, no ones": (lambda t: t.cutout().packet(SPEED, preamble=0), EITHER, {14}),
    "cutout, 9 ones": (lambda t: t.cutout().packet(SPEED, preamble=9), UNDECIDED, set()),
    "pause, 9 ones": (lambda t: t.halves(450).packet(SPEED, preamble=9), EITHER, {14}),
    # S-9.1 §A, Table 1: 80 µs is half of nothing. 15 whole ones are left of 16, 13 of 14.
    "80, 16 ones": (lambda t: t.packet(SPEED, lengths={-32: 80}), EITHER, {5}),
    "80, 14 ones": (lambda t: t.packet(SPEED, preamble=14, lengths={-28: 80}), EITHER, {5, 14}),
    # S-9.2 §C: other protocols may stand between packets; whether one does cannot be known.
    "800 of 70, 30": (lambda t: t.halves(70, 30, repeat=400).packet(SPEED), UNDECIDED, set()),
    "26, 182": (lambda t: t.halves(26, 182, repeat=36).packet(SPEED), UNDECIDED, set()),
    "56, 75": (lambda t: t.halves(56, 75, repeat=40).packet(SPEED), UNDECIDED, set()),
    "75 alone": (lambda t: t.halves(75).packet(SPEED), UNDECIDED, set()),
    "40 alone": (lambda t: t.halves(40).packet(SPEED), UNDECIDED, set()),
    # S-9.1 §A, Table 1, t0: 9900 µs. From 10 ms on it may be silence instead.
    "zero of 9.95 ms": (lambda t: t.packet(SPEED, lengths={2: 9950}), FAIL, {3}),
    "zero of 10.5 ms": (lambda t: t.packet(SPEED, lengths={3: 10500}), EITHER, {3, 5, 13}),
    "zero of 15 ms": (lambda t: t.packet(SPEED, lengths={2: 15000}), EITHER, {3, 4, 5, 13}),
    "start bit of 10.5 ms": (lambda t: t.packet(SPEED, lengths={0: 10500}), EITHER, {3, 5, 13}),
    # S-9.2 §A: 0 before each further byte, 1 after the last one.
    "first data start bit 1": (lambda t: t.packet(SPEED, flip=9), FAIL, {15, 16, 27}),
    "second data start bit 1": (lambda t: t.packet(SPEED, flip=18), FAIL, {15, 16, 27}),
    "end bit 0": (lambda t: t.packet(SPEED, flip=-1).packet(IDLE, preamble=26), FAIL, {15, 16}),
}


@pytest.mark.parametrize("often", [30, 1], ids=["always", "once"])
@pytest.mark.parametrize("kind", HIDDEN)
def test_what_is_hidden_does_not_pass(kind: str, often: int) -> None:
    """Never a pass; fail where the recording proves it, and then by the rule that was broken."""
    send, allowed, rules = HIDDEN[kind]
    for seed in range(4):
        random, track = Random(seed), Track(level=seed % 2)
        for _ in range(30 - often):
            track.packet(IDLE).packet(SPEED)
        for _ in range(often):
            send(track.packet(IDLE))
        for _ in range(3):
            track.packet(IDLE).packet(OTHER)
        found = verdicts(check([seen(track.signal(random, jitter_us=0.2), random)]))
        assert found["whole"] in allowed, (seed, failed(found))
        assert "fail" not in found.values() or failed(found) & rules, (seed, failed(found))


@pytest.mark.parametrize("level", [0, 1])
def test_a_clean_station_passes(level: int) -> None:
    """The neighbour of all that must not pass: nothing is hidden, and it passes (S-9.1, S-9.2)."""
    random, track = Random(level), Track(level=level)
    for _ in range(30):
        track.packet(IDLE).packet(SPEED).packet(OTHER, preamble=14)
    report = check([seen(track.signal(random, jitter_us=0.2), random)])
    assert verdicts(report)["whole"] == "pass"
    assert report.packets == 89  # the end of the last one is not seen


BETWEEN: dict[str, Callable[[Track, Random], Track]] = {
    "cutout": lambda t, r: t.cutout(r.uniform(26.2, 32), r.uniform(454, 488)),
    "cutout over ones": lambda t, r: t.cutout(r.uniform(26.2, 32), r.uniform(454, 488), over=True),
    "pause": lambda t, r: t.halves(r.uniform(100, 9000)),
    "silence": lambda t, r: t.cutout(30, r.choice([1e3, 7e3, 15e3, 200e3])),
}


@pytest.mark.parametrize("wires", ["one wire", "no signal told"])
@pytest.mark.parametrize("kind", BETWEEN)
def test_what_may_stand_between_packets_does_not_fail(
    kind: str, wires: str, tmp_path: Path
) -> None:
    """From 26 µs after an end bit on, power may be cut, and ones be hidden (S-9.2 §A fn 3, §C)."""
    for seed in range(5):
        random, track = Random(seed), Track(level=seed % 2)
        for _ in range(12):
            for data in (IDLE, any_packet(random)):
                track.packet(data, preamble=random.choice([14, 16, 18, 24]))
                BETWEEN[kind](track, random)
        signal = track.signal(random, jitter_us=0.1)
        signal = signal.one_wire() if wires == "one wire" else signal
        path = signal.sampled(100, random.random()).write_vcd(tmp_path / "track.vcd")
        assert not failed(verdicts(check(path))), seed


@pytest.mark.parametrize(("start", "allowed"), [(20, FAIL), (26, {"pass", "undecided"})])
def test_a_cutout_right_after_the_end_bit_fails(start: float, allowed: set, tmp_path: Path) -> None:
    """The signal goes on for 26 µs after an end bit, where a recording shows it (S-9.2 §A fn 3)."""
    track = Track()
    for _ in range(20):
        track.packet(IDLE).packet(SPEED).cutout(start, 470)
    path = track.signal().sampled(100, 0.3).write_vcd(tmp_path / "track.vcd")
    assert verdicts(check(path))[17] in allowed


# What the station did not do must not fail it.


@pytest.mark.parametrize("what", ["off", "on", "off and on", "off and started"])
def test_power_is_not_the_station(what: str, tmp_path: Path) -> None:
    """Power comes and goes at any moment, and on one wire level 0 is seen without it (S-9.2 §C)."""
    for seed in range(30):
        random = Random(seed)
        track = station(random, 4, steady())
        moment = random.uniform(0.2, 1) * track.now
        back = moment + 1e6 * random.uniform(11, 15)
        windows = {"off": (moment, 1e12), "on": (0, moment), "off and on": (moment, back)}
        if what == "off and started":
            windows[what] = (moment, track.now)
            track.cutout(0, random.uniform(11_000, 300_000)).packet(SPEED).packet(IDLE)
        track.cutout(0, 50_000)
        signal = track.signal(random, jitter_us=0.2).silent([windows[what]]).one_wire()
        path = signal.sampled(100, random.random()).write_vcd(tmp_path / "track.vcd")
        assert not failed(verdicts(check(path))), seed
        assert not failed(verdicts(check([seen(signal, random)]))), seed


@pytest.mark.parametrize("where", ["crossing", "elsewhere"])
@pytest.mark.parametrize("share", [0.02, 0.5])
@pytest.mark.parametrize("width", [0.5, 1, 2, 3, 3.9])
def test_distortion_is_not_the_station(width: float, share: float, where: str) -> None:
    """Short pulses are merged, and which of the edges is the true one is not guessed (M8).

    What the station did wrong they do not hide: 63 µs do not pass.
    """
    for seed in range(4):
        for one in (58, 63):
            random = Random(seed)
            signal = station(random, 12, steady(one)).signal(random, jitter_us=0.2)
            signal = signal.pulsed(random, share, width, where=where)
            found = verdicts(check([seen(signal, random)]))
            assert not failed(found) if one == 58 else found["whole"] in EITHER, (seed, one)


def test_a_probe_is_not_the_station() -> None:
    """What a probe adds to one polarity fails nothing if it is told as uncertainty (M2, M7)."""
    for seed in range(10):
        random = Random(seed)
        edges = seen(station(random, 12).signal().asymmetric(random.uniform(-2, 2)), random)
        assert not failed(verdicts(check([edges], uncertainty_ns=2000))), seed


# Limits, and the resolution.

LIMITS: dict[str, tuple[int, int, Callable[[float], tuple[Timing, dict[int, float]]]]] = {
    # The rule, its error in sampling periods (M2, M4), and the signal so much beyond the limit.
    "t1 min": (1, 1, lambda d: (steady(55 - d), {})),
    "t1 max": (1, 1, lambda d: (steady(61 + d), {})),
    "t1d": (2, 2, lambda d: (steady(56.5 - d / 2, 59.5 + d / 2), {})),
    "t0 min": (3, 1, lambda d: (steady(zero=95 - d), {})),
    "t0 max": (3, 1, lambda d: (steady(), {2: 9900 + d})),
    "t0total": (4, 1, lambda d: (steady(), {2: 6000 + d / 2, 3: 6000 + d / 2})),
}


@pytest.mark.parametrize("period", [100, 1e9 / 3e6, 500, 1000, 1300])
@pytest.mark.parametrize("limit", LIMITS)
def test_a_limit_is_known_to_the_sampling_period(limit: str, period: float, tmp_path: Path) -> None:
    """At a limit or inside never fail, beyond it never pass, by more than the error: fail (M2)."""
    rule, periods, made = LIMITS[limit]
    for seed, beyond in enumerate([-1.5, -0.5, 0, 0.5, 0.9, 1.5]):
        timing, lengths = made(beyond * periods * period / 1000)
        track = Track(level=seed % 2, timing=timing)
        for _ in range(25):
            track.packet(IDLE).packet(SPEED, lengths=lengths)
        np.save(tmp_path / "edges.npy", seen(track.signal(), Random(seed), period))
        found = verdicts(check(read(tmp_path / "edges.npy", resolution=period)))
        if beyond <= 0:
            assert not failed(found), beyond
        else:
            assert found[rule] in (FAIL if beyond > 1 else EITHER), beyond
            assert found["whole"] in {"fail", found[rule]}, beyond


@pytest.mark.parametrize("rate", [1e6, 2e6, 3e6, 6e6, 7e6, 24e6])
def test_stamps_are_not_the_resolution(rate: float) -> None:
    """Stamps of 1 ns do not make a recorder exact to 1 ns, and hide no violation (M9)."""
    period = 1e9 / rate
    for seed in range(4):
        random = Random(seed)
        report = check([seen(station(random, 20).signal(), random, period)])
        assert report.resolution_ns >= int(period)
        assert not failed(verdicts(report)), seed
        track = station(random, 20, steady(61.4 + 1.2 * period / 1000))
        found = verdicts(check([seen(track.signal(random, jitter_us=0.1), random, period)]))
        assert found[1] in EITHER, seed


@pytest.mark.parametrize(
    "kind", ["%g", "single in text", "single, 0 s", "single, 3 s", "single, 12 s"]
)
def test_numbers_are_not_the_resolution(kind: str, tmp_path: Path) -> None:
    """Single precision and six digits hold less than they show, later less than at first (M9)."""
    for timing in (*map(within_limits, map(Random, range(4))), steady(63)):
        signal = station(Random(1), 30, timing).signal().one_wire()
        if kind == "%g":
            recording = read(signal.write_csv(tmp_path / "a.csv", "%g"))
        elif kind == "single in text":
            recording = read(signal.write_csv(tmp_path / "a.csv", "%.9f", np.float32))
        else:
            start = int(re.sub(r"\D", "", kind))
            np.save(tmp_path / "a.npy", (signal.times[1:] / 1e9 + start).astype(np.float32))
            recording = read(tmp_path / "a.npy", unit="s")
        found = verdicts(check(recording))
        # The last station breaks t1 by more than any of these numbers is off.
        assert found[1] in EITHER if timing(1) == (63, 63) else not failed(found)


@pytest.mark.parametrize("timescale", ["1 ns", "100 ps", "1 us"])
@pytest.mark.parametrize(("one", "zero"), [(60, 100), (58, 116), (58, 100)])
def test_a_simulated_signal_is_judged(one: int, zero: int, timescale: str, tmp_path, run) -> None:
    """Durations of two values say nothing about a clock: it is read, and well (S-9.1 §A)."""
    track = Track(timing=steady(one, zero=zero))
    for _ in range(30):
        track.packet(IDLE).packet(SPEED)
    path = str(track.signal().write_vcd(tmp_path / "made.vcd", timescale))
    status, out, err = run("check", path, "--json")
    assert (status, err) == (0, "")
    *rules, whole = map(json.loads, out.splitlines())
    assert (whole["packets"], whole["verdict"] in {"pass", "undecided"}) == (60, True)
    # A zero and a preamble so far from their limits are judged with any unit used here.
    found = {rule["rule"]: rule["verdict"] for rule in rules}
    assert {found[rule] for rule in (3, 4, 14, 15, 16)} == {"pass"}
    status, out, err = run("packets", path)
    assert (status, err, out.count("FF 00 FF")) == (0, "", 30)


@pytest.mark.parametrize("rate", [2e6, 5e5, 1.2e6])
def test_a_wrong_rate_is_not_the_station(rate: float, tmp_path: Path, run) -> None:
    """If all durations are off by one factor, it is told, and the rate asked about (M9)."""
    signal = station(Random(1), 30, steady()).signal(Random(1), jitter_us=0.2)
    path = signal.one_wire().sampled(1000, 0.4).write_samples(tmp_path / "a.bin", 1000)
    _, out, err = run("check", str(path), "--rate", str(rate), "--bit", "0")
    text = " ".join((out + err).split())
    assert not re.search("FAIL|verdict: fail", text)
    (around,) = re.findall(".{,80}factor.{,80}", text)[:1] or ["told no factor"]
    assert "rate" in around
    numbers = [float(number) for number in re.findall(r"\d+(?:\.\d+)?", around)]
    factors = (rate / 1e6, 1e6 / rate)
    assert any(abs(number / factor - 1) < 0.03 for number in numbers for factor in factors), around


@pytest.mark.parametrize("factor", [0.001, 0.5, 0.77, 1.3, 1.7, 1000])
@pytest.mark.parametrize("kind", ["limits", "jitter", "ringing", "cutouts"])
def test_a_wrong_unit_is_not_the_station(kind: str, factor: float, tmp_path: Path) -> None:
    """Whatever else there is in a recording: one factor is told, to what ones may be off (M9)."""
    random = Random(kind)
    track = Track(timing=within_limits(random) if kind == "limits" else steady())
    for _ in range(20):
        track.packet(IDLE).packet(any_packet(random))
        if kind == "cutouts":
            track.cutout()
    signal = track.signal(random, jitter_us=0.8 * (kind == "jitter")).one_wire()
    if kind == "ringing":
        signal = signal.pulsed(random, 0.05, 1.5, where="crossing")
    signal = Signal(signal.times * factor, signal.levels, signal.end * factor)
    report = check(signal.write_vcd(tmp_path / "track.vcd"))
    (note,) = (note for note in report.notes if "factor" in note)
    told = float(note.partition("last ")[2].partition(" ")[0])
    assert abs(told / factor - 1) < 0.055
    assert (report.packets, verdicts(report)["whole"]) == (0, "undecided")


@pytest.mark.parametrize("rate", [0.93, 1.08])
def test_a_cutout_at_a_wrong_rate_is_not_the_station(rate: float, tmp_path: Path) -> None:
    """What is in doubt is every time: 27 us after the end bit are 25, or are 29 and may be 26."""
    track = Track()
    for _ in range(20):
        track.packet(IDLE).packet(SPEED).cutout(27, 471)
    signal = track.signal()
    signal = Signal(signal.times * rate, signal.levels, signal.end * rate)
    assert verdicts(check(signal.write_vcd(tmp_path / "track.vcd")))[17] == "undecided"


@pytest.mark.parametrize("factor", [0.93, 1.08])
def test_a_slow_station_is_not_a_wrong_rate(factor: float) -> None:
    """Ones of 62.6 and zeros of 108 µs may be the clock of either: never a pass (S-9.1 §A)."""
    track = station(Random(1), 20, steady(58 * factor, zero=100 * factor))
    edges = seen(track.signal(Random(1), jitter_us=0.1), Random(1))
    assert verdicts(check([edges]))["whole"] in EITHER


# Packets at the edge of what is described.


def sent(data: bytes) -> Edges:
    track = Track()
    for _ in range(10):
        track.packet(IDLE).packet(data, preamble=22)
    return seen(track.signal(Random(1), jitter_us=0.2), Random(2))


@pytest.mark.parametrize("count", [7, 8, 17])
def test_a_long_packet_breaks_the_rule_of_length(count: int) -> None:
    """More than 6 bytes, framed well, break rule 27 and no other, rule 15 least (S-9.2.1 §C)."""
    found = verdicts(check([sent(checked(0x03, *[0x64] * (count - 2)))]))
    assert failed(found) - {"whole"} == {27}


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("03 3C 83 FF 00 00 00", True),  # speed and functions, 8 bytes in all
        ("03 EC 00 00 1C 05 06", True),  # extended CV access, likewise
        ("FE 01 02", True),  # address 254
        ("FD 01 02", False),
        ("00 C1 1E 0C 01", False),  # model time
        ("03 D8 01", False),  # F29-F36
        ("03 F4 10 05", False),  # CV 17 and 18
        ("81 78", False),  # accessory, no operation
    ],
)
def test_what_is_known_from_memory_does_not_fail(data: str, told: bool) -> None:
    """A form that memory alone knows fails no station; where it breaks a rule, this is told."""
    report = check([sent(checked(*bytes.fromhex(data)))])
    assert not failed(verdicts(report))
    assert not told or "from memory" in report.text(width=500)


def test_a_decoder_lock_is_judged(tmp_path: Path, run) -> None:
    """`00 F9 03 FA` is a packet like others (S-9.2.3, Appendix B), and fails nothing."""
    np.save(tmp_path / "lock.npy", sent(bytes.fromhex("00F903FA")))
    status, out, err = run("check", str(tmp_path / "lock.npy"), "--json")
    assert (status, err) == (0, "")
    assert not [line for line in out.splitlines() if json.loads(line)["verdict"] == "fail"]


# Any station.


@pytest.mark.parametrize("period", [40, 100, 1e9 / 3e6, 500, 1000])
def test_a_faultless_station_never_fails(period: float) -> None:
    """Whatever it sends, within the limits of S-9.1 and S-9.2, and however it is sampled."""
    for seed in range(12):
        random = Random(seed)
        edges = seen(station(random, 12).signal(wander=1e-5), random, period)
        assert not failed(verdicts(check([edges]))), seed


PLANTED: dict[str, tuple[bytes, dict, int, set[int]]] = {
    # The packet, how it is sent, the rule that this breaks, and rules that it may take along.
    # Half-bit 2 opens a 0, half-bit 14 a 1: the address is 3.
    "a half of 53 µs": (SPEED, {"lengths": {14: 53.2}}, 1, {2}),
    "a half of 63 µs": (SPEED, {"lengths": {15: 63}}, 1, {2}),
    "unlike halves": (SPEED, {"lengths": {14: 55.5, 15: 60.5}}, 2, set()),
    "a half of 93 µs": (SPEED, {"lengths": {3: 93}}, 3, set()),
    "a half of 9.95 ms": (SPEED, {"lengths": {3: 9950}}, 3, set()),
    "a zero of 12.5 ms": (SPEED, {"lengths": {2: 6250, 3: 6250}}, 4, set()),
    "a half of 45 µs": (SPEED, {"lengths": {14: 45}}, 5, {1, 2, 15, 16}),
    "a half of 76 µs": (SPEED, {"lengths": {3: 76}}, 5, {1, 3, 15, 16}),
    "12 ones": (SPEED, {"preamble": 12}, 14, set()),
    "5 ones": (SPEED, {"preamble": 5}, 14, set()),
    "a flipped bit": (SPEED, {"flip": 14}, 16, set()),
    "a reserved broadcast": (checked(0x00, 0x20), {}, 18, {30}),
    "idle with data": (checked(0xFF, 0x74), {}, 19, {18}),
    "two bytes": (checked(0x03), {}, 27, set()),
}


@pytest.mark.parametrize("kind", PLANTED)
def test_a_planted_violation_is_found_at_its_place(kind: str) -> None:
    """The whole fails, by the rule that was broken, at the time of the packet."""
    data, how, rule, along = PLANTED[kind]
    for seed in range(8):
        random = Random(seed)
        track = station(random, 4, steady(zero=103)).packet(data, **how)
        place, end = track.place - 24 * 116e3, track.now
        for _ in range(random.randint(2, 8)):
            track.packet(IDLE, preamble=15).packet(any_packet(random))
        signal = track.signal(random, jitter_us=0.05)
        report = check([seen(signal, random, random.choice([25, 50, 100]))])
        found = verdicts(report)
        assert (found["whole"], found[rule]) == ("fail", "fail"), seed
        assert failed(found) <= {"whole", rule, *along}, seed
        (line,) = (line for line in report.to_dicts() if line.get("rule") == rule)
        assert all(place <= time <= end for time in line["first_times_ns"]), seed
        assert line["first_times_ns"], seed


@pytest.mark.parametrize("seed", range(6))
def test_cutting_the_edges_changes_nothing(seed: int) -> None:
    """Chunks of any sizes give the report of the whole, word for word."""
    random = Random(seed)
    track = station(random, 6)
    for kind in random.sample(sorted(HIDDEN), 3):
        HIDDEN[kind][0](track)
    track.packet(IDLE).cutout(30, 15_000).packet(SPEED)
    signal = track.signal().pulsed(random, 0.02, 3, where="crossing")
    edges = seen(signal, random, random.choice([100, 1e9 / 3e6]))
    whole = list(check([edges]).to_dicts())
    cuts = [np.arange(1, edges.size, size) for size in (1, 7, 64)]
    cuts += [np.array(sorted(random.choices(range(edges.size), k=20))) for _ in range(4)]
    for cut in cuts:
        assert list(check(np.split(edges, cut)).to_dicts()) == whole
