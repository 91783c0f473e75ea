"""The command `drive`: a plan on standard output, one line for what cannot be used."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from dccwire.plan import read_plan
from dccwire.station import perform

SCRIPT = """\
# an engine leaves the shed
0     add long 1205 steps=128
0     add short 3 steps=14
0     add short 9 steps=28
10    couple short 9 long 1205 short 3
20    on long 1205 FL F21 F22 F23 F24 F25 F26 F27 F28
200   drive short 9 step=4 forward=yes
260   operate accessory 31: BasicAccessory active=yes pair=0 output=1
300   write long 1205 cv=3 value=12
400   stop
450   end
"""


@pytest.fixture
def script(tmp_path: Path) -> str:
    """A file with the script."""
    path = tmp_path / "shed.txt"
    path.write_text(SCRIPT, "utf-8")
    return str(path)


@pytest.mark.parametrize("running", [False, True])
def test_what_is_printed_reads_back_as_the_packets(run, script, running) -> None:
    """As a plan, with the same bytes and 14 ones before each; within 80 columns."""
    status, out, err = run("drive", script, *["--running"] * running)
    assert (status, err) == (0, "")
    packets = [bytes(one) for one in perform(SCRIPT.splitlines(), new=not running)]
    sent = [*read_plan(out.splitlines())]
    assert [one.data for one in sent] == packets
    assert {one.preamble for one in sent} == {14}
    assert packets[:20] != [bytes(3)] * 20 or not running
    assert max(map(len, out.splitlines())) <= 80
    assert out.isascii()


def test_packets_of_a_kind_in_a_row_are_one_line(run, script) -> None:
    """The caution comes first, then the start."""
    status, out, _ = run("drive", script)
    assert status == 0
    lines = out.splitlines()
    caution = [one for one in lines if one.startswith("#")]
    assert lines[: len(caution)] == caution
    assert "an emergency stop neither" in " ".join(one[2:] for one in caution)
    assert lines[len(caution) :][:3] == [
        "repeat=20 | broadcast: DigitalDecoderReset",
        "repeat=10 | idle: Idle",
        "long 1205: SpeedStepControl128 forward=yes speed=0",
    ]


def test_lines_come_from_standard_input(run, script, monkeypatch) -> None:
    """The same as from a file."""
    from_file = run("drive", script)
    monkeypatch.setattr("sys.stdin", io.StringIO(SCRIPT))
    assert run("drive", "-") == from_file


def test_what_it_prints_can_be_composed_and_checked(run, script, tmp_path) -> None:
    """The way that docs/station.md tells, to the end."""
    plan, recording, session = (str(tmp_path / name) for name in ("plan", "made.vcd", "s.toml"))
    Path(plan).write_text(run("drive", script)[1], "utf-8")
    assert run("compose", plan, recording)[0] == 0
    Path(session).write_text("new = true\npower_on_s = [0]\nevery_30_ms = true\nconsists = [9]\n")
    status, out, _ = run("check", recording, "--session", session, "--strict", "--all")
    assert status == 0
    assert "\nfail\n" not in out


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0 fly\n", "position 2: 'fly' is no wish"),
        ("0 add short 3 steps=28\n5 drive short 3 step=29 forward=yes\n", "step: 0 to 28 expected"),
        ("0 add short 3 steps=many\n", "steps: an integer expected, 'many' given"),
        ("0 end\n20 stop\n", "position 0: behind the end, where nothing is sent"),
    ],
)
def test_a_script_that_cannot_be_used_ends_with_2(run, tmp_path, text, told) -> None:
    """One line on standard error: what is wrong, the number of the line, the file; no packets."""
    path = tmp_path / "shed.txt"
    path.write_text(text)
    status, out, err = run("drive", str(path))
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert told in err
    assert err.endswith(f"line {text.count(chr(10))} of {path}\n")


@pytest.mark.parametrize("text", ["", "# later\n", "0 end\n"])
def test_a_script_without_a_packet_ends_with_2(run, tmp_path, text) -> None:
    """And says where the wishes are listed."""
    path = tmp_path / "shed.txt"
    path.write_text(text)
    told = f"dccwire: {path}: has nothing to send; a wish a line, as 'dccwire drive --help'"
    assert run("drive", str(path)) == (2, "", f"{told} lists them\n")


def test_a_file_that_is_none_ends_with_2(run, tmp_path) -> None:
    """It is not there, or no text; nothing given at all is a call that cannot be used."""
    path = tmp_path / "shed.txt"
    status, out, err = run("drive", str(path))
    assert (status, out) == (2, "")
    assert str(path) in err
    path.write_bytes(b"\xff\xfe\x00")
    status, out, err = run("drive", str(path))
    assert (status, out) == (2, "")
    assert "is no UTF-8 text" in err
    status, out, err = run("drive")
    assert (status, out) == (2, "")
    assert "SCRIPT" in err


def test_the_help_tells_every_wish_within_80_columns(run) -> None:
    """And that no packet is a safety device."""
    status, out, _ = run("drive", "--help")
    assert status == 0
    assert max(map(len, out.splitlines())) <= 80
    for wish in [
        "add",
        "drive",
        "on",
        "off",
        "operate",
        "write",
        "stop",
        "couple",
        "uncouple",
        "remove",
        "end",
    ]:
        assert f" {wish} " in out.replace("\n", " ")
    assert "No packet is a safety device." in " ".join(out.split())
