"""Each fault that can be planted is found where it stands; what is no fault fails nothing."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from conformance_helpers import result

from dccwire.conformance import Report, Session, Verdict, check
from dccwire.faults import PLANTINGS, Planted, plant
from dccwire.plan import read_plan

STATION = """
FF 00 FF
03 60 63
FF 00 FF
C3 E8 60 4B
FF 00 FF
81 F8 79
"""
PLAN = [*read_plan(f"preamble=16 | {line}" for line in STATION.split("\n") if line)] * 6
FAULTS = [name for name, one in PLANTINGS.items() if one.rule is not None]
CONDITIONS = [name for name, one in PLANTINGS.items() if one.rule is None]

OTHERWISE = {
    # Told without a verdict, or open for the reason that its note gives.
    **dict.fromkeys(
        ["means-apart", "unequal-zero", "reset", "accessory-broadcast", "old-accessory-cv"],
        Verdict.OBSERVED,
    ),
    **dict.fromkeys(["state-again", "resets-behind-verify", "hard-reset-alone"], Verdict.OBSERVED),
    **dict.fromkeys(
        ["silence-within", "lone-change", "accessory-output", "first-byte-254"], Verdict.UNDECIDED
    ),
}


def judged(*names: str, seed: int = 0, sampling_ns: int = 100) -> tuple[Planted, Report]:
    """A station with faults and conditions, in the session that the first asks for."""
    how = {"start_ns": 200_000, "jitter_ns": 100, "sampling_ns": sampling_ns, "seed": seed}
    planted = plant(PLAN, *names, **how)
    first = PLANTINGS[names[0].partition("@")[0]].session if names else ""
    session = Session.from_dict(tomllib.loads(first))
    edges = np.array(planted.edges)
    return planted, check([edges], session=session, resolution_ns=sampling_ns)


def failing(report: Report) -> set[int]:
    """The numbers of the rules that fail."""
    return {one.rule.number for one in report.results if one.verdict is Verdict.FAIL}


@pytest.mark.parametrize("sampling_ns", [1, 100, 1000])
def test_a_clean_station_passes(sampling_ns: int) -> None:
    """With no finding; at 1 us only rules of half-bits may stay undecided."""
    _, report = judged(sampling_ns=sampling_ns)
    assert not failing(report)
    assert report.verdict is (Verdict.UNDECIDED if sampling_ns == 1000 else Verdict.PASS)
    undecided = {one.rule.number for one in report.results if one.verdict is Verdict.UNDECIDED}
    assert undecided <= ({1, 2, 3} if sampling_ns == 1000 else set())


@pytest.mark.parametrize("name", FAULTS)
@pytest.mark.parametrize("seed", range(3))
def test_a_fault_is_found_where_it_stands(name: str, seed: int) -> None:
    """Its rule fails there, or is told or open as it must be; nothing fails elsewhere."""
    usual = PLANTINGS[name].at
    wish = name if usual is not None else f"{name}@{7 + 5 * seed}"
    planted, report = judged(wish, seed=seed)
    (mark,) = planted.marks
    rule = PLANTINGS[name].rule
    assert rule is not None
    expected = OTHERWISE.get(name, Verdict.FAIL)
    found = result(report, rule)
    assert found.verdict is expected
    assert bool(found.first_times_ns) is (expected is Verdict.FAIL)
    for one in report.results:
        for time in one.first_times_ns:
            assert mark.begin_ns - 200 <= time <= mark.end_ns + 200, one.rule.number


@pytest.mark.parametrize("name", CONDITIONS)
@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("sampling_ns", [100, 1000])
def test_a_condition_fails_nothing(name: str, seed: int, sampling_ns: int) -> None:
    """Wherever it stands."""
    _, report = judged(f"{name}@{3 * seed + 2}", seed=seed, sampling_ns=sampling_ns)
    assert not failing(report)


@pytest.mark.parametrize("condition", ["ringing", "clock-100-ppm-off", "cutout", "spurious-pulse"])
@pytest.mark.parametrize("name", ["wrong-error-byte", "short-preamble", "two-of-speed"])
def test_a_condition_hides_no_fault(name: str, condition: str) -> None:
    """Neither elsewhere in the recording."""
    rule = PLANTINGS[name].rule
    assert rule is not None
    planted, report = judged(f"{name}@20", f"{condition}@8", seed=3)
    found = result(report, rule)
    assert found.verdict is Verdict.FAIL
    (time,) = found.first_times_ns
    mark = next(one for one in planted.marks if one.name == name)
    late = mark.end_ns // 10_000 if condition == "clock-100-ppm-off" else 0
    assert mark.begin_ns - 200 <= time <= mark.end_ns + 200 + late
