"""Every rule has recordings that pass, fail and are on the edge; two generators agree on them.

One is the library's; the other is `Track`, which knows nothing of it.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conformance_helpers import result
from rule_table import NAMES, TABLE, Case, Why
from track_signal import Signal, Timing, Track

from dccwire.conformance import RULES, Report, Session, Verdict, check
from dccwire.faults import PLANTINGS
from dccwire.plan import read_plan
from dccwire.synthesis import Sending, synthesize

COLUMNS = {"passes": Verdict.PASS, "fails": Verdict.FAIL, "edge": Verdict.UNDECIDED}
CASES = [
    pytest.param(number, getattr(row, column), verdict, id=f"{number} {column}")
    for number, row in TABLE.items()
    for column, verdict in COLUMNS.items()
    if isinstance(getattr(row, column), Case)
]
BEGIN_NS = 200_000
PERIOD_NS = 100


def items(case: Case) -> Iterator[tuple[int, str, dict[str, str]]]:
    """Count, bytes in hex, and options of what a script sends."""
    around = "" if case.alone else "2 idle"
    for item in filter(None, (around, *str(case.script).split(", "), around)):
        found = re.fullmatch(r"(?:(\d{1,2}) )?(\S+)((?: \S+)*)", item)
        assert found is not None
        options = dict(one.split("=") for one in found[3].split())
        yield int(found[1] or 1), NAMES.get(found[2], found[2]), {"preamble": "20", **options}


def sendings(case: Case) -> list[Sending]:
    """What the library sends of a script, or of a fault among packets."""
    assert isinstance(case.script, str)
    if not case.script.startswith("@"):
        lines = []
        for count, data, options in items(case):
            words = [f"{key}={value}" for key, value in {"repeat": count, **options}.items()]
            lines.append(f"{' '.join(words)} | {data}")
        return list(read_plan(lines))
    planting = PLANTINGS[case.script[1:]]
    assert planting.send is not None
    idle, other = (Sending(bytes.fromhex(one), 16) for one in (NAMES["idle"], "056065"))
    around = [idle, other] * 3
    return planting.send(around, 3 if planting.at is None else planting.at)[0]


def ours(case: Case) -> Report:
    """The library's signal, judged."""
    edges = [*synthesize(sendings(case), start_ns=BEGIN_NS, sampling_ns=PERIOD_NS)]
    return judged(np.array(edges), case)


def judged(recording: Any, case: Case) -> Report:
    """A signal, judged in the session of the case."""
    session = Session.from_dict(tomllib.loads(case.session))
    chunks = recording if isinstance(recording, Path) else [recording]
    return check(chunks, session=session, resolution_ns=PERIOD_NS)


def theirs(case: Case, path: Path, phase: float) -> Report:
    """The other generator's signal, sampled and written to a file, judged."""
    return judged(by_track(case).sampled(PERIOD_NS, phase).write_vcd(path / "track.vcd"), case)


def by_track(case: Case) -> Signal:
    """Bit by bit what is sent, by `Track` alone; of a fault, from the numbers it is made of."""
    track = Track(level=0)
    if not isinstance(case.script, str):
        track.packet(bytes.fromhex(NAMES["idle"])).packet(bytes.fromhex(NAMES["idle"]))
        case.script(track)
        return track.signal()
    track.halves(BEGIN_NS / 1000)
    held = 0.0
    for data, preamble, timing, flip, lengths, gap in parts(case):
        track.timing = timing
        if held:  # the last level holds longer
            level, last = track.spans.pop()
            track.spans.append((level, last + held))
            track.now += held
        track.packet(data, preamble=preamble, flip=flip, lengths=lengths)
        held = gap
    return track.halves(1).signal()  # whose first edge is that which ends the last packet


Part = tuple[bytes, int, Timing, int | None, dict[int, float], float]


def parts(case: Case) -> Iterator[Part]:
    """Bytes, ones, halves of a bit, the inverted bit, halves of other lengths, and silence, ns."""
    if str(case.script).startswith("@"):
        for one in sendings(case):
            zero, bit = one.timing.halves
            yield (
                *(one.data, one.preamble, halved(*zero, *bit), one.flip),
                *({place: ns / 1000 for place, ns in one.other_halves}, float(one.gap_ns)),
            )
        return
    for count, data, options in items(case):
        one, zero = options.get("one", "58"), options.get("zero", "100")
        halves = zero, options.get("zero-last", zero), one, options.get("one-last", one)
        timing = halved(*(1000 * float(half) for half in halves))
        lengths = {int(key[5:]): float(us) for key, us in options.items() if key[:5] == "half:"}
        how = (None, lengths, 1e6 * float(options.get("gap", 0)))
        yield from [(bytes.fromhex(data), int(options["preamble"]), timing, *how)] * count


def halved(zero: float, zero_last: float, one: float, one_last: float) -> Timing:
    """Halves in ns as `Track` asks for them."""
    return lambda bit: (one / 1000, one_last / 1000) if bit else (zero / 1000, zero_last / 1000)


def test_the_table_has_every_rule_and_no_other() -> None:
    """A new rule needs its recordings, or its reasons."""
    assert TABLE.keys() == RULES.keys()
    for row in TABLE.values():
        assert all(isinstance(one, Case) or (isinstance(one, Why) and len(one) > 20) for one in row)


def test_most_rules_that_levels_can_show_have_all_that_there_is() -> None:
    """A rule without a failing recording is one that never fails, or is not decided here."""
    without = {number for number, row in TABLE.items() if isinstance(row.fails, Why)}
    told = {number for number, row in TABLE.items() if isinstance(row.passes, Why)}
    assert without == {*told - {39}, 13, 41, 45, 60, 79}


def test_every_fault_is_of_a_rule_of_the_page() -> None:
    """And names it by its number."""
    assert {one.rule for one in PLANTINGS.values()} - {None} <= RULES.keys()


@pytest.mark.parametrize(("number", "case", "verdict"), CASES)
def test_a_rule_has_its_verdict_on_either_signal(
    number: int, case: Case, verdict: Verdict, tmp_path: Path
) -> None:
    """Made by the library, and by what knows nothing of it; and all other verdicts agree."""
    other = theirs(case, tmp_path, 0)
    assert result(other, number).verdict is verdict, other.text()
    if isinstance(case.script, str):
        report = ours(case)
        assert [one.verdict for one in report.results] == [one.verdict for one in other.results]
        assert counts(report) == counts(other)


def counts(report: Report) -> Sequence[tuple[int, int, int]]:
    """What was counted of each rule."""
    return [(one.measured, one.failed, one.undecided) for one in report.results]
