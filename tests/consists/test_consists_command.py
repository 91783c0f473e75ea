"""Consists of TOML text, and the command `dccwire consist`."""

from __future__ import annotations

import io
import json
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import DccwireError, LongAddress, Packet, ShapeError, ShortAddress
from dccwire.consists import (
    Consist,
    Unit,
    by_consist_control,
    by_writes,
    consist_from_toml,
    way_out,
)
from dccwire.plan import read_plan
from refusals import refused

HARBOUR = """\
consist = 10
others = ["short 31"]

[[unit]]
address = "short 21"
position = "lead"
functions = { headlight = "FL-forward", bell = "F1", horn = "F2" }

[[unit]]
address = "long 1205"
position = "trailing"
reversed = true
steps = 128
on = ["F4"]
[unit.functions]
"rear light" = "FL-reverse"
bell = "F1"
[unit.obeys]
bell = false
"""


@pytest.fixture
def harbour(tmp_path: Path) -> str:
    """A file of it."""
    path = tmp_path / "harbour.toml"
    path.write_text(HARBOUR, "utf-8")
    return str(path)


def test_every_key_has_its_field() -> None:
    """By hand."""
    assert consist_from_toml(HARBOUR) == Consist(
        10,
        (
            Unit(
                ShortAddress(21),
                "lead",
                {"headlight": "FL-forward", "bell": "F1", "horn": "F2"},
            ),
            Unit(
                LongAddress(1205),
                "trailing",
                {"rear light": "FL-reverse", "bell": "F1"},
                reversed=True,
                steps=128,
                obeys={"bell": False},
                on=frozenset({"F4"}),
            ),
        ),
        frozenset({ShortAddress(31)}),
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "steps = 128",
            "stesp = 28",
            "unit[1].stesp: a known key expected, 28 given; perhaps steps; line 13 of quay.toml",
        ),
        (
            "steps = 128",
            "steps = 27",
            "steps: 14, 28 or 128 expected, 27 given; in unit[1].steps; line 13 of quay.toml",
        ),
        (
            '"short 21"',
            '"shrot 21"',
            "'shrot 21', position 0: no address kind 'shrot'; such as 'short 3'; the kinds: "
            "broadcast, idle, short, long, reserved, accessory-byte, accessory, "
            "extended-accessory, programming-track; in unit[0].address; line 5 of quay.toml",
        ),
        (
            '"long 1205"',
            '"accessory 5"',
            "address: a short or a long address expected, 'accessory 5' given; in "
            "unit[1].address; line 10 of quay.toml",
        ),
        (
            '"F2"',
            "2",
            "unit[0].functions.horn: a text expected, 2 given; line 7 of quay.toml",
        ),
        (
            "bell = false",
            "bell = 0",
            "unit[1].obeys.bell: true or false expected, 0 given; line 19 of quay.toml",
        ),
        (
            "bell = false",
            "bel = false",
            "obeys: what one of its functions does expected, 'bel' given; perhaps bell; in "
            "unit[1].obeys; line 18 of quay.toml",
        ),
        (
            'horn = "F2"',
            '"a\\u001b[31m" = "F2"',
            "functions: words that can be printed expected, 'a\\x1b[31m' given; in "
            "unit[0].functions; line 7 of quay.toml",
        ),
        (
            'on = ["F4"]',
            "functions = 3\n[other]\n",
            "unit[1].functions: a table expected, 3 given; line 14 of quay.toml",
        ),
        (
            "[unit.functions]",
            "[functions]",
            "functions: a known key expected, {'rear light': 'FL-reverse', 'bell': 'F1'} given; "
            "known are consist, unit, others; line 15 of quay.toml",
        ),
        (
            'position = "lead"\n',
            "",
            "unit[0]: a key position expected, ['address', 'functions'] given; line 4 of quay.toml",
        ),
        (
            "consist = 10",
            "",
            "the consist: a key consist expected, ['others', 'unit'] given; line 1 of quay.toml",
        ),
        (
            "consist = 10",
            "consist = 10240",
            "consist: 0 to 10239 expected, 10240 given; in consist; line 1 of quay.toml",
        ),
        (
            '["short 31"]',
            '"short 31"',
            "others: a list expected, 'short 31' given; line 2 of quay.toml",
        ),
    ],
)
def test_a_wrong_file_says_line_and_key(old: str, new: str, told: str) -> None:
    """What is wrong, where, and what is near."""
    text = HARBOUR.replace(old, new, 1)
    if new.startswith("functions = 3"):
        text = text.partition("[other]")[0]
    with pytest.raises(DccwireError) as caught:
        consist_from_toml(text, "quay.toml")
    assert "; ".join((str(caught.value), *caught.value.__notes__)) == told


def test_a_file_without_units_is_no_consist() -> None:
    """No key, or an empty list."""
    with refused(ShapeError, path="the consist", expected="a key unit"):
        consist_from_toml("consist = 10")
    with refused(ShapeError, path="unit", expected="a table or more"):
        consist_from_toml("consist = 10\nunit = []")


@given(
    st.text() | st.sampled_from(HARBOUR.splitlines()).map(lambda line: HARBOUR.replace(line, ""))
)
def test_any_text_is_a_consist_or_refused(text: str) -> None:
    """By an error of this library."""
    with suppress(DccwireError):
        assert isinstance(consist_from_toml(text), Consist)


def test_what_is_shown(run, harbour: str) -> None:
    """CVs, the table, what is to be known; nothing blames it, so all is well."""
    status, out, err = run("consist", harbour)
    assert (status, err) == (0, "")
    assert out == (
        "consist 10, 2 units\n"
        "short 21      CV 19 = 10, CV 21 = 3, CV 22 = 1\n"
        "long 1205     CV 19 = 138, CV 21 = 0, CV 22 = 1\n"
        "\n"
        "              short 21              long 1205\n"
        "              lead, forward         trailing, reversed\n"
        "speed         C -                   C -\n"
        "direction     C -                   C - turned\n"
        "FL-forward    C O headlight         C O rear light\n"
        "FL-reverse    - O                   - O\n"
        "F1            C O bell              - O bell\n"
        "F2            C O horn              - O\n"
        "F3-F28        - O                   - O\n"
        "C obeyed at the consist's address, O at the unit's own, - at neither; FL forward\n"
        "and reverse are as the unit itself runs, lights as they face in the consist\n"
        "\n"
        "- left-on: F4 of long 1205, on now, goes off at its own address alone; switch\n"
        "  off what should not stay on (S-9.2.2, CV 21 and 22)\n"
        "all of this goes together\n"
    )


def test_what_blames_is_exit_status_1(run, harbour: str) -> None:
    """In every form; each line fits 80 columns."""
    text = HARBOUR.replace("bell = false", "bell = true")
    Path(harbour).write_text(text, "utf-8")
    status, out, err = run("consist", harbour)
    assert (status, err) == (1, "")
    assert "- sounded-twice: short 21 and long 1205 sound the bell;" in out
    assert "all of this goes together" not in out
    assert max(map(len, out.splitlines())) <= 80
    assert run("consist", harbour, "--json")[0] == 1
    status, out, _ = run("consist", harbour, "--packets", "control")
    assert status == 1
    assert "# sounded-twice: short 21 and long 1205 sound the bell;" in out


def test_json_has_a_line_a_unit_and_a_line_a_conflict(run, harbour: str) -> None:
    """With what the text tells."""
    status, out, _ = run("consist", harbour, "--json")
    lead, trailing, conflict = map(json.loads, out.splitlines())
    assert status == 0
    assert lead["cvs"] == {"19": 10, "21": 3, "22": 1}
    assert (trailing["unit"], trailing["position"]) == (
        {"kind": "long", "number": 1205},
        "trailing",
    )
    assert (lead["reversed"], trailing["reversed"]) == (False, True)
    assert trailing["obeys"]["F1"] == {"consist": False, "own": True}
    assert conflict["conflict"]["reason"] == "left-on"


@pytest.mark.parametrize(
    ("way", "made"), [("control", by_consist_control), ("writes", by_writes), ("out", way_out)]
)
def test_packets_are_a_plan_with_cautions(run, harbour: str, way: str, made) -> None:
    """As text, which compose reads, and as JSON."""
    packets = made(consist_from_toml(HARBOUR))
    status, out, err = run("consist", harbour, "--packets", way)
    assert (status, err) == (0, "")
    assert [one.data for one in read_plan(out.splitlines())] == [bytes(one) for one in packets]
    notes = " ".join(line[2:] for line in out.splitlines() if line.startswith("# "))
    for caution in (
        "Writing a CV on the main changes every decoder at that address.",
        "at a standstill",
        "closed loop or against a stop block",
        "does not obey a stop, nor an emergency stop, to its own address",
        "no packet is a safety device",
    ):
        assert caution in notes
    assert max(len(line) for line in out.splitlines() if line.startswith("#")) <= 80
    status, out, _ = run("consist", harbour, "--packets", way, "--json")
    lines = [json.loads(line) for line in out.splitlines()]
    assert [Packet.from_dict(one["packet"]) for one in lines] == [*packets]
    assert {(one["repeat"], one["preamble"]) for one in lines} == {(1, 14)}


def test_what_cannot_be_used_is_one_line(run, harbour: str, tmp_path: Path, monkeypatch) -> None:
    """No file, no TOML, a wrong key, an address that a way does not reach; standard input is."""
    status, out, err = run("consist", str(tmp_path / "none.toml"))
    assert (status, out) == (2, "")
    assert err.endswith("none.toml: No such file or directory; check the path and the folder\n")
    monkeypatch.setattr("sys.stdin", io.StringIO("consist ="))
    status, _, err = run("consist", "-")
    assert status == 2
    assert err.startswith("dccwire: -: is no TOML: ")
    Path(harbour).write_text(HARBOUR.replace("consist = 10", "consist = 200"), "utf-8")
    status, out, err = run("consist", harbour, "--packets", "control")
    assert (status, out) == (2, "")
    assert err == (
        "dccwire: consist: 1 to 127 expected, 200 given; writes of CV 19 and 20 reach the higher "
        "ones (from memory)\n"
    )
    assert run("consist", harbour, "--packets", "writes")[0] == 0
    Path(harbour).write_text(HARBOUR.replace("others", "other"), "utf-8")
    status, _, err = run("consist", harbour)
    assert status == 2
    assert err == (
        "dccwire: other: a known key expected, ['short 31'] given; perhaps others; line 2 of "
        f"{harbour}\n"
    )
