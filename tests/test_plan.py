"""Plans: every option, every line that cannot be read."""

from __future__ import annotations

import pytest

from dccwire.errors import FieldError, Reason, TextError
from dccwire.notation import parse_hex
from dccwire.plan import read_plan
from dccwire.signal import Timing
from dccwire.synthesis import Sending
from refusals import refused

IDLE = bytes.fromhex("FF00FF")


def test_lines_that_say_nothing() -> None:
    """Empty lines and comments send nothing, and neither does a packet repeated no times."""
    assert list(read_plan(["", "  \n", "# 37 74 43", "   # more", "repeat=0 | FF 00 FF"])) == []


@pytest.mark.parametrize(
    "line", ["FF 00 FF", "  ff00ff\n", "| FF 00 FF", "idle: Idle", " | idle: Idle \n"]
)
def test_packets_as_text_or_hex(line: str) -> None:
    """A packet is its text, or its bytes in hex, with or without a bar before it."""
    assert list(read_plan([line])) == [Sending(IDLE)]


@pytest.mark.parametrize(
    ("options", "sending"),
    [
        ("preamble=20", Sending(IDLE, preamble=20)),
        ("flip=3", Sending(IDLE, flip=3)),
        ("flip=0", Sending(IDLE, flip=0)),
        ("drop=7", Sending(IDLE, drop=7)),
        ("one=57.5", Sending(IDLE, timing=Timing(one=57_500))),
        ("one-last=59", Sending(IDLE, timing=Timing(one_last=59_000))),
        ("zero=99.999", Sending(IDLE, timing=Timing(zero=99_999))),
        ("zero-last=5000", Sending(IDLE, timing=Timing(zero_last=5_000_000))),
        ("pulse=1.5", Sending(IDLE, pulse_ns=1_500)),
        ("gap=0.25", Sending(IDLE, gap_ns=250_000)),
        (
            "  preamble=9 one=60\tzero=120 gap=12 ",
            Sending(IDLE, preamble=9, timing=Timing(one=60_000, zero=120_000), gap_ns=12_000_000),
        ),
    ],
)
def test_options(options: str, sending: Sending) -> None:
    """Each option sets what it names, times in µs, the gap in ms."""
    assert list(read_plan([f"{options}| FF 00 FF"])) == [sending]


def test_service_mode_packets_have_its_preamble() -> None:
    """20 ones (S-9.2.3 §E) before a packet whose text says service, unless the line says less."""
    lines = ["service broadcast: DigitalDecoderReset", "broadcast: DigitalDecoderReset", "000000"]
    lines.append("preamble=12 | service programming-track: PagePreset")
    assert [one.preamble for one in read_plan(lines)] == [20, 14, 14, 12]


def test_repeats_and_order() -> None:
    """Packets come in the order of the lines, each as often as asked for."""
    found = list(read_plan(iter(["repeat=3 | 00 00 00", "37 74 42"])))
    assert [one.data.hex() for one in found] == ["000000"] * 3 + ["377442"]


OPTIONS = (
    "OPTION=NUMBER of repeat, preamble, flip, drop, "
    "one, one-last, zero, zero-last, half:N, pulse, gap"
)


@pytest.mark.parametrize(
    ("line", "position", "problem"),
    [
        ("speed=3 | FF 00 FF", 0, "'speed=3' is no option"),
        ("  repeat=2 loud | FF 00 FF", 11, "'loud' is no option"),
        ("repeat= | FF 00 FF", 0, "'' is no number"),
        ("repeat=1.5 | FF 00 FF", 0, "'1.5' is no number"),
        (f"drop={'1' * 19} | 00", 0, f"'{'1' * 19}' is a number of more than 18 digits"),
        ("zero=1234567890 | FF 00 FF", 0, "'1234567890' is a number of more than 9 digits"),
        ("one=58 preamble=-1 | FF 00 FF", 7, "'-1' is no number"),
        ("one=5e1 | FF 00 FF", 0, "'5e1' is no number"),
        ("gap=٣ | FF 00 FF", 0, "'٣' is no number"),
    ],
)
def test_options_that_cannot_be_read(line: str, position: int, problem: str) -> None:
    """An option that is unknown or no number is refused with its place in the line."""
    with refused(
        TextError, Reason.TEXT, text=line, position=position, problem=problem, hint=OPTIONS
    ):
        list(read_plan([line]))


@pytest.mark.parametrize(
    ("reason", "read", "rest"),
    [
        (Reason.HEX, "repeat=2 | FF 0", "x FF"),
        (Reason.HEX, " FF 00 ", "F"),
        (Reason.HEX, "preamble=16|", ""),
        (Reason.TEXT, "repeat=2 | ", "shirt 3: HardReset"),
        (Reason.TEXT, "one=60 | short 3: HardReset;", " SoftReset"),
        (Reason.TEXT, "  short 3 : HardReset;", " SoftReset"),
    ],
)
def test_packets_that_cannot_be_read(reason: Reason, read: str, rest: str) -> None:
    """The error of a packet tells its place in the whole line, the problem and a hint."""
    with refused(TextError, reason, ": .+; .+", text=read + rest, position=len(read)):
        list(read_plan([read + rest + "  \n"]))


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("one=0 | FF 00 FF", "one", 0),
        ("zero-last=0.0001 | FF 00 FF", "zero_last", 0),
        ("flip=28 | FF 00 FF", "flip", 28),
        ("drop=56 | FF 00 FF", "drop", 56),
        ("pulse=99.999 | FF 00 FF", "pulse_ns", 99_999),
        ("preamble=10001 | FF 00 FF", "preamble", 10_001),
        ("preamble=999999999 | FF 00 FF", "preamble", 999_999_999),
        ("repeat=1000001 | FF 00 FF", "repeat", 1_000_001),
        ("repeat=999999999999999999 | FF 00 FF", "repeat", 10**18 - 1),
        ("preamble=1000000000000 | FF 00 FF", "preamble", 10**12),
        ("flip=1000000000000 | FF 00 FF", "flip", 10**12),
        ("drop=1000000000000 | FF 00 FF", "drop", 10**12),
    ],
)
def test_values_out_of_bounds(line: str, field: str, value: int) -> None:
    """A number that no signal can have is refused with its field and value."""
    with refused(FieldError, field=field, value=value):
        list(read_plan([line]))


def test_the_most_there_can_be() -> None:
    """A million repeats of one packet take no memory; a preamble may last a second."""
    assert sum(1 for _ in read_plan(["repeat=1000000 | FF 00 FF"])) == 1_000_000
    for ones in (9_999, 10_000):
        assert [one.preamble for one in read_plan([f"preamble={ones} | FF 00 FF"])] == [ones]


def test_lines_before_an_error_are_read() -> None:
    """A plan is read line by line: what stands before a wrong line comes out first."""
    plan = read_plan(["FF 00 FF", "FF 00 F"])
    assert next(plan) == Sending(IDLE)
    with refused(TextError, Reason.HEX, text="FF 00 F"):
        next(plan)


@pytest.mark.parametrize(
    "text",
    [
        "377443",
        "37 74 43",
        " 3774\n43\t",
        "0x37, 0X74,43",
        "37,74,43",
        "0x377443",
        "37\u00a074\u200243",
    ],
)
def test_parse_hex(text: str) -> None:
    """Blanks of any kind between bytes say nothing."""
    assert parse_hex(text) == bytes.fromhex("377443")


@pytest.mark.parametrize(
    ("text", "position", "problem", "hint"),
    [
        ("37 7g", 4, "'g' is no hex digit", "as in '37 74 43'"),
        ("37 0x", 4, "'x' is no hex digit", "as in '37 74 43'"),
        ("37;74", 2, "';' is no hex digit", "as in '37 74 43'"),
        ("37,7,4", 3, "odd number of hex digits in '7'", "two digits a byte"),
        ("٣٧", 0, "'٣' is no hex digit", "as in '37 74 43'"),
        ("37 744 3", 3, "odd number of hex digits in '744'", "two digits a byte"),
        ("", 0, "no bytes", "as in '37 74 43'"),
        (" \n", 0, "no bytes", "as in '37 74 43'"),
    ],
)
def test_parse_hex_refuses(text: str, position: int, problem: str, hint: str) -> None:
    """What is no hex is refused with its place."""
    with refused(TextError, Reason.HEX, text=text, position=position, problem=problem, hint=hint):
        parse_hex(text)
