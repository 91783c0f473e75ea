"""The plugin for pytest: a fixture and two assertions, in test runs of their own."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dccwire import Packet
from dccwire.conformance import Session, Verdict, read_session
from dccwire.errors import FieldError
from dccwire.pytest_plugin import assert_conforms, assert_sent, track_recording  # noqa: F401
from dccwire.recordings import write_vcd
from dccwire.signal import Timing
from dccwire.synthesis import Sending, synthesize
from refusals import refused

pytest_plugins = ["pytester"]

PROJECT = Path(__file__).parent.parent / "pyproject.toml"
MORNING = Path(__file__).parent.parent / "vectors/recordings/harbour-morning.vcd"


def edges(*packets: str, timing: Timing = Timing()) -> list[int]:  # noqa: B008 - a frozen value
    """Edge times in ns of packets in hex."""
    return list(synthesize([Sending(bytes.fromhex(one), 16, timing) for one in packets]))


GOOD = edges("FF 00 FF", "37 74 43", "FF 00 FF")


def test_the_fixture_reads_a_file(track_recording) -> None:  # noqa: F811 - the fixture
    """With the arguments of `read`."""
    recording = track_recording(MORNING, resolution=250)
    assert (recording.format, recording.resolution_ns) == ("VCD", 250)


def test_a_signal_that_conforms_gives_its_report() -> None:
    """Edges, a path, a recording: the report is there to look on."""
    assert assert_conforms(GOOD).packets == 3
    assert assert_conforms(iter(GOOD), rules=(1, 16)).verdict is Verdict.PASS
    assert assert_conforms(MORNING, rules=range(1, 20)).packets == 63
    assert assert_conforms(str(MORNING), session=Session(every_30_ms=False)).packets == 63


@pytest.mark.parametrize(
    ("signal", "options", "told"),
    [
        (edges("FF 00 FE"), {}, "exclusive OR of all bytes"),
        (edges("FF 00 FF", timing=Timing(62_000, 100_000)), {}, "each half of a 1: 55 to 61 us"),
        (edges("EA 40 AA"), {"strict": True}, "first byte 232 to 253"),
        (edges("FF 00 FF", timing=Timing(61_000, 99_000)), {"certain": True}, "each half of a 1"),
        ([58_000 * place for place in range(200)], {}, "0 packets"),
    ],
)
def test_a_signal_that_does_not_conform_fails_with_the_report(
    signal: list[int], options: dict[str, bool], told: str
) -> None:
    """What is derived fails when strict, what is undecided when certainty is asked for."""
    given: dict[str, object] = {"resolution_ns": 1000, "rules": (1, 3, 16, 28), **options}
    with pytest.raises(pytest.fail.Exception) as caught:
        assert_conforms(signal, **given)  # type: ignore[arg-type] # by name
    assert told in str(caught.value)
    if options:
        assert assert_conforms(signal, resolution_ns=1000, rules=(1, 3, 16, 28)).packets == 1


@pytest.mark.parametrize("rules", ["86", [49], (49, 86)])
def test_rules_of_which_none_was_judged_do_not_pass(rules: Collection[int] | str) -> None:
    """Whoever names them is told what it would take; among others they may stay open."""
    with pytest.raises(pytest.fail.Exception, match=r"not exercised|needs the session: power_on_s"):
        assert_conforms(GOOD, rules=rules)
    assert assert_conforms(GOOD, rules=[16, 49, 86]).verdict is Verdict.PASS


@pytest.mark.parametrize(
    "packet",
    [
        "short 55: SpeedAndDirection forward=yes c=1 speed=4",
        bytes.fromhex("37 74 43"),
        Packet.from_text("short 55: SpeedAndDirection step=6 steps=28 forward=yes"),
    ],
)
def test_a_packet_that_was_sent(packet: Packet | bytes | str) -> None:
    """By its text, its bytes, or as a value; where, and how often."""
    start = assert_sent(GOOD, packet).times_ns[0] / 1e9
    assert assert_sent(GOOD, packet, between=(start - 1e-6, start + 1e-6)).count == 1
    assert assert_sent(GOOD, packet, times=1, between=(0, start + 1e-6)).count == 1
    assert assert_sent(GOOD, packet, times=0, between=(0, start - 1e-6)).count == 0
    assert assert_sent(GOOD, "idle: Idle", times=2).count == 2


@pytest.mark.parametrize(
    ("packet", "options", "told"),
    [
        ("short 3: FunctionGroupOne functions=FL", {}, "1 or more, 0 s to the end; 0 seen"),
        ("short 55: SpeedAndDirection forward=yes c=1 speed=5", {}, "differs in byte 1 bit 0"),
        ("idle: Idle", {"times": 1}, "idle: Idle, exactly 1, 0 s to the end; 2 seen"),
        ("idle: Idle", {"between": (0.006, 0.007)}, "1 or more, 0.006 to 0.007 s; 0 seen; nearest"),
    ],
)
def test_a_packet_that_was_not_sent_fails_with_the_nearest(
    packet: str, options: dict[str, object], told: str
) -> None:
    """And says what was expected, and how many were seen."""
    with pytest.raises(pytest.fail.Exception) as caught:
        assert_sent(GOOD, packet, **options)  # type: ignore[arg-type] # by name
    assert told in str(caught.value)


def test_what_cannot_be_asked_for_is_refused() -> None:
    """Fewer than none; an end before its begin."""
    with pytest.raises(FieldError):
        assert_sent(GOOD, "idle: Idle", times=-1)
    with pytest.raises(FieldError):
        assert_sent(GOOD, "idle: Idle", between=(2, 1))
    for wrong in ((-0.1, 1), (0, float("nan")), (0, float("inf")), ("0", 1)):
        with refused(FieldError, field="between", value=wrong):
            assert_sent(GOOD, "idle: Idle", between=wrong)  # type: ignore[arg-type] # on purpose


def test_the_plugin_is_known_to_pytest(pytester: pytest.Pytester) -> None:
    """A test uses the fixture; failures show the report's words and no lines of the plugin."""
    pytester.makepyfile(
        f"""
        from dccwire.pytest_plugin import assert_conforms, assert_sent

        def test_reads(track_recording):
            recording = track_recording({str(MORNING)!r})
            assert_conforms(recording, rules=range(1, 20))
            assert_sent(recording, "idle: Idle")

        def test_fails(track_recording):
            assert_sent(track_recording({str(MORNING)!r}), "idle: Idle", times=0)
        """
    )
    entry = tomllib.loads(PROJECT.read_text("utf-8"))["project"]["entry-points"]["pytest11"]
    assert entry == {"dccwire": "dccwire.pytest_plugin"}
    result = pytester.runpytest_subprocess("-p", "no:dccwire", "-p", entry["dccwire"])
    result.assert_outcomes(passed=1, failed=1)
    result.stdout.fnmatch_lines(["expected idle: Idle, none, 0 s to the end; * seen, at *"])
    assert "pytest_plugin.py" not in result.stdout.str()


@pytest.mark.parametrize("options", [[], ["-p", "dccwire.pytest_plugin"]], ids=["entry", "named"])
def test_nothing_is_loaded_in_a_run_that_does_not_use_it(
    pytester: pytest.Pytester, options: list[str]
) -> None:
    """What pytest loads is the plugin and what `import dccwire` loads, however it comes to it."""
    pytester.makepyfile(
        """
        import subprocess, sys

        def test_modules():
            ours = {one for one in sys.modules if one.split(".")[0] == "dccwire"}
            code = "import sys, dccwire; print(*(one for one in sys.modules if 'dccwire' in one))"
            run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
            core = set(run.stdout.split())
            assert ours == core | {"dccwire.pytest_plugin"}
            assert core == {"dccwire"}
            assert not {"numpy", "dccwire.recordings", "dccwire.conformance"} & {*sys.modules}
        """
    )
    command = ["-p", "no:dccwire", *options] if options else []
    run = pytester.runpytest_subprocess(*command, "-p", "no:hypothesispytest", "-p", "no:xdist")
    run.assert_outcomes(passed=1)


@pytest.mark.parametrize(
    "signal",
    [
        GOOD,
        tuple(GOOD),
        iter(GOOD),
        (edge for edge in GOOD),
        np.array(GOOD),
        np.array(GOOD, np.uint64),
        [np.int64(edge) for edge in GOOD],
    ],
    ids=["list", "tuple", "iterator", "generator", "array", "unsigned", "numbers of numpy"],
)
def test_edges_come_as_they_are(signal: Iterable[int]) -> None:
    """From whatever the capture code gives."""
    assert assert_sent(signal, "idle: Idle", times=2).count == 2


@pytest.mark.parametrize(
    ("signal", "shown"),
    [
        ([edge / 1e9 for edge in GOOD], GOOD[0] / 1e9),
        ([*GOOD, GOOD[-1] + 0.5], GOOD[-1] + 0.5),
        (np.array(GOOD, np.float64), np.float64(GOOD[0])),
        (["1", "2"], "1"),
        ([None], None),
        ([True, False], True),
    ],
    ids=["seconds", "one of them", "array", "texts", "none", "levels"],
)
def test_edges_that_are_no_whole_ns_are_refused(signal: Any, shown: object) -> None:
    """They would be cut, or taken for another unit, without a word."""
    hint = "seconds become them by round(time * 1e9)"
    for ask in (assert_conforms, lambda given: assert_sent(given, "idle: Idle")):
        with refused(FieldError, field="edges", bound="whole ns", value=shown, hint=hint):
            ask(signal)
    with refused(FieldError, field="edges", bound="a recording, a path or edge times in whole ns"):
        assert_conforms(3)  # type: ignore[arg-type] # wrong on purpose


def test_rules_and_sessions_as_the_command_line_has_them(tmp_path: Path) -> None:
    """Numbers, or a text of them; a session, or its file."""
    wanted = [1, 2, 3, 14]
    for rules in ("1-3,14", wanted, {*wanted}):
        report = assert_conforms(GOOD, rules=rules)
        assert [one.rule.number for one in report.results] == wanted
    with refused(FieldError, field="rules", value="95"):
        assert_conforms(GOOD, rules="1,95")
    with refused(FieldError, field="rules", value=95):
        assert_conforms(GOOD, rules=[95])
    path = tmp_path / "a.toml"
    path.write_text('[[expect]]\nto = "short 9"\n')
    for session in (path, str(path), read_session(path)):
        with pytest.raises(pytest.fail.Exception, match="short 9, 1 or more"):
            assert_conforms(GOOD, session=session)


def test_no_edges_are_no_packets() -> None:
    """Which does not conform, and was not sent."""
    for empty in ([], np.empty(0, np.int64), iter(())):
        with pytest.raises(pytest.fail.Exception, match="0 packets"):
            assert_conforms(empty)


def test_times_that_go_on_behind_the_end_prove_nothing() -> None:
    """None was seen, and none is certain only where all of the time was recorded."""
    nothing = "short 3: FunctionGroupOne functions=FL"
    end = GOOD[-1] / 1e9
    assert assert_sent(GOOD, nothing, times=0, between=(0, end)).count == 0
    with pytest.raises(pytest.fail.Exception, match="is not recorded, or not judged"):
        assert_sent(GOOD, nothing, times=0, between=(0, end + 1))


def test_the_docs_example_passes(pytester: pytest.Pytester) -> None:
    """As it stands, on a recording in which the station starts up."""
    text = (Path(__file__).parent.parent / "docs/session.md").read_text("utf-8")
    codes = (part.split("```")[0] for part in text.split("```python\n")[1:])
    (code,) = (one for one in codes if "pytest_plugin" in one)
    pytester.makepyfile(code)
    start = ["00 00 00"] * 20 + ["FF 00 FF"] * 10
    times = edges(*start)
    write_vcd(pytester.path / "capture.vcd", times, signal="track")
    run = pytester.runpytest_subprocess("-p", "no:dccwire", "-p", "dccwire.pytest_plugin")
    run.assert_outcomes(passed=1)


def test_what_cannot_be_used_is_told_at_the_line_of_the_test(pytester: pytest.Pytester) -> None:
    """A file that is not there, a rule or times that are none: no line of the library."""
    pytester.makepyfile(
        """
        from dccwire.pytest_plugin import assert_conforms, assert_sent

        def test_file():
            assert_conforms("none.vcd")

        def test_rule():
            assert_conforms([0, 58_000], rules="95")

        def test_times():
            assert_sent([0, 58_000], "idle: Idle", between=(3, 2))
        """
    )
    run = pytester.runpytest_subprocess("-p", "no:dccwire", "-p", "dccwire.pytest_plugin")
    run.assert_outcomes(failed=3)
    run.stdout.fnmatch_lines(["E *none.vcd: no such file*", "E *rules: numbers of rules*"])
    frames = [line for line in run.outlines if "/dccwire/" in line]
    assert not frames
