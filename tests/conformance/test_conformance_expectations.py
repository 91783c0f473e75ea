"""Expectations: what was to be sent, how many, when; and the packet that came nearest."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conformance_helpers import PLAIN, edges_of, lengths_of

from dccwire import Address, LongAddress, Packet, ShortAddress
from dccwire.conformance import (
    Expectation,
    ExpectationResult,
    Session,
    Verdict,
    check,
    read_session,
)
from dccwire.errors import DccwireError, FieldError, Reason, TextError
from dccwire.recordings import Chunk, write_vcd
from refusals import refused

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
THREE = ShortAddress(3)
LIGHT, DARK = "03 90 93", "03 80 83"
"""S-9.2.1 §C, Function Group One: FL alone, and nothing."""


def found(sent: list[int], *expected: Expectation) -> tuple[ExpectationResult, ...]:
    """What becomes of expectations on half-bits."""
    report = check([edges_of(sent)], rules=(27,), session=Session(expectations=expected))
    failing = any(one.verdict is FAIL for one in report.expectations)
    assert (report.failed, report.verdict is FAIL) == (failing, failing)
    return report.expectations


@pytest.mark.parametrize(
    ("to", "what", "count"),
    [
        *[(THREE, "FL=on", 2), (THREE, "F0=on", 2), (THREE, "FL=off", 1), (THREE, "F1=off", 3)],
        *[(THREE, "", 4), (None, "", 6), (LongAddress(3), "", 0), (ShortAddress(55), "", 1)],
        *[(THREE, "FunctionGroupOne", 3), (None, "SpeedAndDirection", 2)],
        *[(None, "SpeedAndDirection speed=4", 1), (None, "SpeedAndDirection forward=yes", 2)],
        *[(None, "Idle", 1), (None, "Reset", 0), (None, "FunctionGroupTwoF5F8", 0)],
        *[(None, "SpeedAndDirection forward=yes speed=4 c=1", 1)],
    ],
)
def test_packets_that_meet_it_are_counted(to: Address | None, what: str, count: int) -> None:
    """By address, by a function, by an instruction and some of its fields."""
    sent = lengths_of(LIGHT, DARK, LIGHT, "03 74 77", "FF 00 FF", "37 70 47")
    (one,) = found(sent, Expectation(to, what, at_least=0, at_most=9))
    assert (one.verdict, one.count, one.note) == (PASS, count, "")


@pytest.mark.parametrize(
    ("least", "most", "verdict"),
    [
        *[(1, None, PASS), (2, None, PASS), (3, None, FAIL), (0, 0, FAIL), (0, 1, FAIL)],
        *[(0, 2, PASS), (2, 2, PASS), (3, 3, FAIL), (0, None, PASS)],
    ],
)
def test_how_many_are_expected(least: int, most: int | None, verdict: Verdict) -> None:
    """At least one if nothing else is said; the first times are told."""
    sent = lengths_of(LIGHT, PLAIN, LIGHT)
    (one,) = found(sent, Expectation(THREE, "FL=on", at_least=least, at_most=most))
    start, packet = 14 * 116_000, sum(lengths_of(LIGHT))
    second = packet + sum(lengths_of(PLAIN)) + start
    assert (one.verdict, one.count, one.times_ns) == (verdict, 2, (start, second))


@pytest.mark.parametrize(
    ("begin", "end", "count"), [(-1, 1, 1), (1, 5, 0), (0, -1, 0), (-1_000_000, 10**9, 1)]
)
def test_packets_count_from_one_time_to_another(begin: int, end: int, count: int) -> None:
    """By their packet start bits, both times included."""
    start = sum(lengths_of(PLAIN)) + 14 * 116_000
    asked = Expectation(THREE, "FL=on", from_ns=start + begin, until_ns=start + max(begin, end))
    if end < begin:
        asked = Expectation(THREE, "FL=on", until_ns=start + end)
    (one,) = found(lengths_of(PLAIN, LIGHT, PLAIN), asked)
    assert (one.count, one.verdict) == (count, PASS if count else FAIL)
    assert ("outside of these times" in one.nearest) is not count


@pytest.mark.parametrize("by", [-999, 0, 999])
def test_a_packet_as_near_to_a_time_as_the_recording_is_exact_may_be_outside(by: int) -> None:
    """A reading is off by less than the resolution, 1 us here (M1)."""
    start = sum(lengths_of(PLAIN)) + 14 * 116_000
    inside = Expectation(THREE, "FL=on", from_ns=start + by)
    none = Expectation(THREE, "FL=on", at_least=0, at_most=0, until_ns=start + by)
    session = Session(expectations=(inside, none))
    edges = edges_of(lengths_of(PLAIN, LIGHT, PLAIN))
    report = check([edges], session=session, resolution_ns=1000)
    assert [one.verdict for one in report.expectations] == [UNDECIDED, UNDECIDED]
    assert "as near to these times as" in report.expectations[0].note
    session = Session(expectations=(Expectation(THREE, "FL=on", from_ns=start - 1000),))
    report = check([edges], session=session, resolution_ns=1000)
    assert report.expectations[0].verdict is PASS


def test_the_packet_that_came_nearest_is_told_with_the_bits_that_differ() -> None:
    """The one with the fewest of them, and when it started."""
    sent = lengths_of("03 90 93", "03 76 75", "03 75 76", "37 74 43")
    light, speed = found(
        sent, Expectation(THREE, "F2=on"), Expectation(THREE, "SpeedAndDirection speed=4 c=1")
    )
    assert light.nearest == (
        "at 1.624 ms short 3: FunctionGroupOne functions=FL [03 90 93] differs in byte 1 bit 1"
    )
    assert "[03 75 76] differs in byte 1 bit 0" in speed.nearest or "bit" in speed.nearest
    assert speed.nearest.count("bit ") == 1


def test_what_is_of_another_address_is_not_near() -> None:
    """Nothing is told where nothing came near."""
    (one,) = found(lengths_of(PLAIN, "37 74 43"), Expectation(LongAddress(9), "FL=on"))
    assert (one.verdict, one.nearest) == (FAIL, "")


@pytest.mark.parametrize(
    ("least", "most", "verdict"), [(1, None, PASS), (2, None, UNDECIDED), (3, None, FAIL)]
)
def test_a_packet_that_could_not_be_read_may_be_one(
    least: int, most: int | None, verdict: Verdict
) -> None:
    """Then too few, or none where none is expected, is not certain."""
    broken = lengths_of(LIGHT)
    broken[60:62] = [75_000, 75_000]
    sent = lengths_of(LIGHT) + broken + lengths_of(PLAIN, PLAIN)
    many, none = found(
        sent,
        Expectation(THREE, "FL=on", at_least=least, at_most=most),
        Expectation(ShortAddress(5), at_least=0, at_most=0),
    )
    assert many.verdict is verdict
    assert (none.verdict, none.note) == (UNDECIDED, "1 that could not be read may be among them")


def test_what_could_not_be_read_outside_of_the_times_does_not_count() -> None:
    """Before, and after."""
    broken = lengths_of(LIGHT)
    broken[60:62] = [75_000, 75_000]
    sent = broken + lengths_of(PLAIN, PLAIN) + broken + lengths_of(PLAIN)
    begin = sum(broken) + 1
    end = begin + 2 * sum(lengths_of(PLAIN)) - 2
    nothing = Expectation(ShortAddress(5), at_least=0, at_most=0, from_ns=begin, until_ns=end)
    assert found(sent, nothing)[0].verdict is PASS


def test_service_mode_packets_are_met_in_service_mode() -> None:
    """Which the reset before them tells: a direct mode verify of CV 29 (S-9.2.3 §E)."""
    verify = "74 1C 06 6E"
    asked = Expectation(None, "DirectByteAccess operation=verify cv=29")
    sent = lengths_of("00 00 00", "00 00 00", "00 00 00", verify, verify, preamble=20)
    assert found(sent, asked)[0].count == 2
    assert found(lengths_of(PLAIN, verify), asked)[0].count == 0


def test_an_expectation_after_the_end_of_the_recording_is_refused() -> None:
    """It could not be met."""
    edges = edges_of(lengths_of(PLAIN))
    late = Expectation(from_ns=int(edges[-1]) + 1)
    with refused(FieldError, field="from_s", bound="0 to 0.006102") as caught:
        check([edges], session=Session(expectations=(late,)))
    assert caught.value.hint == f"the recording ends there, before {late}"
    (at_last,) = found(lengths_of(PLAIN), Expectation(from_ns=int(edges[-1])))
    assert (at_last.verdict, at_last.note) == (FAIL, "")


LENGTH = sum(lengths_of(PLAIN))
"""How long a recording of `PLAIN` alone lasts, in ns."""


@pytest.mark.parametrize(
    ("asked", "late_ns", "verdict"),
    [
        (Expectation(ShortAddress(5), at_least=0, at_most=0), 0, PASS),
        (Expectation(ShortAddress(5), at_least=0, at_most=0), 1, UNDECIDED),
        (Expectation(THREE, at_least=2), 0, FAIL),
        (Expectation(THREE, at_least=2), 1, UNDECIDED),
        (Expectation(THREE, at_least=3), 1, FAIL),
        (Expectation(THREE, at_least=3), 10**9, UNDECIDED),
        (Expectation(THREE, at_least=1), 10**9, PASS),
        (Expectation(THREE, at_least=0, at_most=0), 10**9, FAIL),
    ],
)
def test_a_window_that_reaches_past_the_end_of_the_recording(
    asked: Expectation, late_ns: int, verdict: Verdict
) -> None:
    """What was not recorded may have been one, or as many as there is time for."""
    (one,) = found(lengths_of(PLAIN), replace(asked, until_ns=LENGTH + late_ns))
    open_ = "what comes after 0.006102 s is not recorded, or not judged"
    assert (one.verdict, one.note) == (verdict, open_ if verdict is UNDECIDED else "")


def test_silence_behind_the_last_edge_is_recorded(tmp_path: Path) -> None:
    """A file says how long it lasts."""
    path = tmp_path / "a.vcd"
    head = "$timescale 1 ns $end\n$var wire 1 ! track $end\n$enddefinitions $end\n"
    marks = [f"#{at}\n{place % 2}!\n" for place, at in enumerate(edges_of(lengths_of(PLAIN)))]
    path.write_text(head + "".join(marks) + "#900000000\n")
    nothing = Expectation(ShortAddress(5), at_least=0, at_most=0)
    for until, verdict in ((900_000_000, PASS), (900_000_001, UNDECIDED)):
        asked = replace(nothing, from_ns=800_000_000, until_ns=until)
        report = check(path, session=Session(expectations=(asked,)))
        assert report.expectations[0].verdict is verdict


def test_what_comes_after_the_judging_was_stopped_is_open() -> None:
    """Also where no end is given; what was seen is seen."""
    edges = edges_of(lengths_of(*[PLAIN] * 20))
    asked = (
        Expectation(ShortAddress(5), at_least=0, at_most=0),
        Expectation(ShortAddress(5)),
        Expectation(ShortAddress(5), from_ns=10**12),
        Expectation(THREE),
        Expectation(ShortAddress(5), at_least=0, at_most=0, until_ns=10**6),
    )
    session = Session(expectations=asked)
    report = check([edges[:500], edges[500:]], session=session, progress=lambda: True)
    verdicts = [one.verdict for one in report.expectations]
    assert verdicts == [UNDECIDED, UNDECIDED, UNDECIDED, PASS, PASS]
    assert report.stopped


@pytest.mark.parametrize(
    ("cut", "verdict"),
    [(28, PASS), *((cut, UNDECIDED) for cut in (29, 30, 40, -2))],
)
def test_a_packet_that_the_end_of_the_recording_cuts_may_be_one(cut: int, verdict: Verdict) -> None:
    """As soon as a half of its packet start bit is there."""
    sent = lengths_of(PLAIN) + lengths_of("05 60 65")[:cut]
    (nothing,) = found(sent, Expectation(ShortAddress(5), at_least=0, at_most=0))
    assert nothing.verdict is verdict


@pytest.mark.parametrize("sent", ["05 60 64", "07 60 64"])
def test_a_packet_whose_error_byte_is_wrong_may_be_one(sent: str) -> None:
    """Noise may have changed any of its bytes, so nothing is certain of it."""
    nothing, some = found(
        lengths_of(PLAIN, sent, PLAIN),
        Expectation(ShortAddress(5), at_least=0, at_most=0),
        Expectation(ShortAddress(5)),
    )
    assert (nothing.verdict, some.verdict) == (UNDECIDED, UNDECIDED)
    assert "1 that could not be read may be among them" in nothing.note


def test_a_long_stretch_without_a_level_may_hide_many_packets() -> None:
    """As many as there is time for, within the times that are asked for."""
    one, lasts = edges_of(lengths_of(PLAIN)), 2 * 10**9
    begin = int(one[-1]) + 30_000
    chunks = [Chunk(one, (begin, begin + lasts)), Chunk(edges_of(lengths_of(PLAIN), begin + lasts))]
    many = Expectation(ShortAddress(5), at_least=100)
    early = replace(many, until_ns=begin + 10**8)
    before = replace(many, until_ns=begin - 1)
    session = Session(expectations=(many, early, before))
    found = check(chunks, resolution_ns=1, session=session).expectations
    assert [one.verdict for one in found] == [UNDECIDED, FAIL, FAIL]
    assert found[0].note == "a stretch without a level may hide some"


@pytest.mark.parametrize(
    ("what", "position", "hint"),
    [
        ("F2=maybe", 0, "such as F2=on, FL=off"),
        ("F99=on", 0, "such as F2=on, FL=off"),
        ("Speed", 0, "'dccwire encode --types' lists all"),
        (
            "SpeedStepControl128 step=40",
            27,
            "SpeedStepControl128 takes the fields forward, speed; or step, forward",
        ),
    ],
)
def test_what_names_nothing_is_refused(what: str, position: int, hint: str) -> None:
    """With where, and what there is."""
    with refused(TextError, Reason.TEXT, text=what, position=position, hint=hint):
        Expectation(THREE, what)


def test_a_speed_step_can_be_expected() -> None:
    """As `dccwire encode --types` lists it, and as a packet prints it."""
    by_step, by_code = (
        Expectation(THREE, f"SpeedStepControl128 {one}")
        for one in ("step=40 forward=no", "forward=no speed=41")
    )
    fast = "03 3F 29 15"
    for expected in (by_step, by_code):
        report = check([edges_of(lengths_of(fast))], session=Session(expectations=(expected,)))
        assert report.expectations[0].count == 1


@pytest.mark.parametrize(
    "wrong",
    [
        *[{"at_least": -1}, {"at_least": 1.0}, {"from_ns": -1}, {"at_most": 0}],
        *[{"from_ns": 5, "until_ns": 4}, {"until_ns": "x"}, {"what": "SpeedAndDirection speed=99"}],
    ],
)
def test_bounds_of_an_expectation(wrong: dict[str, object]) -> None:
    """Whole numbers, an end that is not before its begin, values that fields can have."""
    with pytest.raises(DccwireError):
        Expectation(THREE, **wrong)  # type: ignore[arg-type] # wrong on purpose


@pytest.mark.parametrize(
    ("one", "text"),
    [
        (Expectation(), "any packet, 1 or more, 0 s to the end"),
        (Expectation(THREE, at_least=0, at_most=0), "short 3, none, 0 s to the end"),
        (Expectation(THREE, "F1=on", 2, 4, 10**9, 2 * 10**9), "short 3: F1=on, 2 to 4, 1 to 2 s"),
    ],
)
def test_an_expectation_in_words(one: Expectation, text: str) -> None:
    """As the report and its JSON show it."""
    assert str(one) == text
    (seen,) = found(lengths_of(*[PLAIN] * 330), one)
    assert seen.to_dict() == {
        "expectation": text,
        "at_least": one.at_least,
        "at_most": one.at_most,
        "from_ns": one.from_ns,
        "until_ns": one.until_ns,
        "verdict": seen.verdict.value,
        "count": seen.count,
        "times_ns": list(seen.times_ns),
        "nearest": seen.nearest,
        "note": "",
    }


@pytest.mark.parametrize(
    ("text", "count", "nearest"),
    [
        ("short 3: FunctionGroupOne functions=FL", 2, ""),
        ("short 3: FunctionGroupOne functions=F1", 0, "[03 80 83] differs in byte 1 bit 0"),
        ("short 3: FunctionGroupOne functions=F1,FL", 0, "[03 90 93] differs in byte 1 bit 0"),
        ("short 4: FunctionGroupOne functions=FL", 0, ""),
        ("short 3: SpeedStepControl128 forward=yes speed=1", 0, ""),
    ],
)
def test_one_packet_alone(text: str, count: int, nearest: str) -> None:
    """Of its address, those of its length are near."""
    (one,) = found(lengths_of(LIGHT, DARK, LIGHT), Expectation(packet=Packet.from_text(text)))
    assert (one.count, one.verdict) == (count, PASS if count else FAIL)
    assert nearest in one.nearest
    assert bool(nearest) is bool(one.nearest)
    assert str(one.expectation) == f"{text}, 1 or more, 0 s to the end"


def test_a_packet_says_its_address_and_what_it_is() -> None:
    """So neither may stand beside it."""
    packet = Packet.from_text("idle: Idle")
    for wrong in ({"to": THREE}, {"what": "Idle"}):
        with refused(FieldError, field="packet", value=packet):
            Expectation(packet=packet, **wrong)  # type: ignore[arg-type] # wrong on purpose
    session = Session.from_dict({"expect": [{"packet": "idle: Idle"}]})
    assert session.expectations == (Expectation(packet=packet),)


@pytest.mark.parametrize(
    ("undefined", "lasts_ms", "verdict"),
    [(True, 20, UNDECIDED), (True, 1, PASS), (False, 20, PASS)],
)
def test_a_stretch_without_a_level_may_hide_a_packet(
    undefined: bool, lasts_ms: int, verdict: Verdict
) -> None:
    """If it is long enough for one; silence is nothing that was sent."""
    one = edges_of(lengths_of(PLAIN))
    begin = int(one[-1]) + 30_000
    end = begin + lasts_ms * 10**6
    two = edges_of(lengths_of(PLAIN), end)
    chunks = [Chunk(one, (begin, end)), Chunk(two)] if undefined else [np.append(one, two)]
    nothing = Expectation(ShortAddress(5), at_least=0, at_most=0)
    report = check(chunks, resolution_ns=1, session=Session(expectations=(nothing,)))
    assert report.expectations[0].verdict is verdict


SENT_FOR_3_S = lengths_of(*[PLAIN] * 330, "03 82 81", *[PLAIN] * 40, "03 82 81", *[PLAIN] * 130)
"""F2 is switched on twice between 2 and 3 s, and nothing goes to address 5."""

ISSUED = """
[[expect]]
to = "short 3"
what = "F2=on"
from_s = 2
until_s = 3
at_least = 2

[[expect]]
to = "short 5"
at_least = 0
at_most = 0

[[expect]]
what = "DirectByteAccess operation=verify cv=29"
"""


def test_what_a_session_file_expects_of_three_seconds(tmp_path: Path) -> None:
    """A function within times, nothing to an address, a mode of CV access: met, and not met."""
    path = tmp_path / "a.toml"
    path.write_text(ISSUED)
    session = read_session(path)
    read = lengths_of(*["00 00 00"] * 3, "74 1C 06 6E", "74 1C 06 6E", preamble=20)
    good = [*SENT_FOR_3_S, *read]
    bad = [*lengths_of(*[PLAIN] * 330, "03 82 81", *[PLAIN] * 170, "05 74 71")]
    bad += lengths_of("00 00 00", "74 1D 06 6F", "7C 1C 06 66", preamble=20)
    for halves, verdict, counts in ((good, PASS, (2, 0, 2)), (bad, FAIL, (1, 1, 0))):
        report = check([edges_of(halves)], resolution_ns=1000, session=session)
        assert [one.verdict for one in report.expectations] == [verdict] * 3
        assert tuple(one.count for one in report.expectations) == counts
    function, nothing, direct = report.expectations
    assert all(2e9 <= time <= 3e9 for time in function.times_ns)
    assert nothing.times_ns
    assert "[74 1D 06 6F] differs in byte 1 bit 0" in direct.nearest


@pytest.mark.parametrize(
    ("least", "most", "verdict"),
    [
        *[(0, 0, FAIL), (0, 1, FAIL), (0, 2, UNDECIDED), (0, None, PASS), (2, None, PASS)],
        *[(3, None, UNDECIDED), (2, 2, UNDECIDED), (3, 3, UNDECIDED)],
    ],
)
@pytest.mark.parametrize("beyond", [-1, 0, 1])
def test_times_that_are_over_behind_the_end(
    least: int, most: int | None, verdict: Verdict, beyond: int
) -> None:
    """What may yet come is not known, unless it cannot matter; up to the end all is known."""
    edges = edges_of(lengths_of(LIGHT, PLAIN, LIGHT, PLAIN))
    end = int(edges[-1])
    asked = Expectation(THREE, "FL=on", least, most, until_ns=end + beyond)
    (one,) = check([edges], resolution_ns=1000, session=Session(expectations=(asked,))).expectations
    if beyond <= 0:
        assert one.verdict is (PASS if least <= 2 <= (9 if most is None else most) else FAIL)
        assert one.note == ""
    else:
        assert one.verdict is verdict
        told = f"what comes after {end / 1e9:g} s is not recorded, or not judged"
        assert one.note == told * (verdict is UNDECIDED)


def test_the_end_of_a_file_counts_and_not_its_last_edge(tmp_path: Path) -> None:
    """Silence is recorded, too."""
    edges = edges_of(lengths_of(PLAIN, PLAIN)).tolist()
    path = tmp_path / "a.vcd"
    write_vcd(path, edges)
    end = edges[-1] + 5_000_000
    for until, verdict in ((end, PASS), (end + 1, UNDECIDED)):
        with path.open("a") as file:
            file.write(f"#{end}\n" * (until == end))
        nothing = Expectation(ShortAddress(5), at_least=0, at_most=0, until_ns=until)
        assert check(path, session=Session(expectations=(nothing,))).expectations[0].verdict is (
            verdict
        )


def test_where_judging_was_stopped_nothing_is_certain_behind() -> None:
    """Neither that none came, nor that too few did; what was met stays met."""
    edges = edges_of(lengths_of(*[LIGHT] * 9))
    asked = Expectation(ShortAddress(5), at_least=0, at_most=0), Expectation(THREE, "FL=on", 3)
    more, late = Expectation(THREE, "FL=on", 9), Expectation(THREE, from_ns=10**12)
    done = Expectation(ShortAddress(5), at_least=0, at_most=0, until_ns=1_000_000)
    session = Session(expectations=(*asked, more, late, done))
    parts = [edges[: len(edges) // 2], edges[len(edges) // 2 :]]
    report = check(parts, resolution_ns=1000, session=session, progress=lambda: True)
    verdicts = [one.verdict for one in report.expectations]
    assert verdicts == [UNDECIDED, PASS, UNDECIDED, UNDECIDED, PASS]


def test_what_could_not_be_read_and_what_was_not_recorded_are_both_told() -> None:
    """Each says why it is open."""
    broken = lengths_of(LIGHT)
    broken[60:62] = [75_000, 75_000]
    nothing = Expectation(ShortAddress(5), at_least=0, at_most=0, until_ns=10**12)
    (one,) = found([*broken, *lengths_of(PLAIN, PLAIN)], nothing)
    assert one.verdict is UNDECIDED
    assert one.note.startswith("1 that could not be read may be among them; what comes after")


TWO = "[[expect]]\nto = 'short 3'\nwhat = 'F2=on'\nfrom_s = 2\nuntil_s = 3\nat_least = 2\n"
NOTHING = "[[expect]]\nto = 'short 5'\nat_least = 0\nat_most = 0\n"
DIRECT = "[[expect]]\nwhat = 'DirectByteAccess operation=verify cv=29'\n"
F2, F1 = "03 82 81", "03 81 82"
RESETS, VERIFY = "00 00 00, 00 00 00, 00 00 00, ", "74 1C 26 4E"
"""S-9.2.1 §C, Function Group One; S-9.2.3 §E, Direct Mode."""


@pytest.mark.parametrize(
    ("session", "sent", "verdict", "count", "nearest"),
    [
        (TWO, {2.0: F2, 2.5: F2}, PASS, 2, ""),
        (TWO, {1.0: F2, 2.5: F2}, FAIL, 1, "functions=F2 outside of these times"),
        (TWO, {2.0: F2, 2.5: F1}, FAIL, 1, f"[{F1}] differs in byte 1 bit 1"),
        (TWO, {2.0: "05 82 87", 2.5: "04 82 86"}, FAIL, 0, ""),
        (NOTHING, {2.0: F2, 2.5: "C5 05 82 42"}, PASS, 0, ""),
        (NOTHING, {2.0: F2, 2.5: "05 82 87"}, FAIL, 1, ""),
        (DIRECT, {2.0: RESETS + VERIFY}, PASS, 1, ""),
        (DIRECT, {2.0: RESETS + "78 1C EB 8F"}, FAIL, 0, ""),
        (DIRECT, {2.0: RESETS + "74 1B 26 49"}, FAIL, 0, "differs in byte 1 bit 2, "),
        (DIRECT, {2.0: RESETS + "7C 1C 26 46"}, FAIL, 0, "differs in byte 0 bit 3"),
    ],
)
def test_what_a_session_file_expects(
    session: str, sent: dict[float, str], verdict: Verdict, count: int, nearest: str
) -> None:
    """A function between two times, nothing to an address, a CV that is read in direct mode."""
    idle, signal = lengths_of("FF 00 FF"), list[int]()
    for at, packets in {**sent, 3.5: ""}.items():
        signal += idle * (int((at * 1e9 - sum(signal)) // sum(idle)) + 1)
        signal += lengths_of(*filter(None, packets.split(", ")), preamble=20)
    (one,) = found(signal, *Session.from_dict(tomllib.loads(session)).expectations)
    assert (one.verdict, one.count, len(one.times_ns)) == (verdict, count, count)
    assert nearest in one.nearest
    assert bool(nearest) is bool(one.nearest)
