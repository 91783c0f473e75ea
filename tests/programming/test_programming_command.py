"""The command for durations: what it prints, and how it ends."""

import json
from pathlib import Path

import pytest

from dccwire.programming import (
    TIMINGS,
    Assumptions,
    Block,
    DirectCv,
    PagedCv,
    estimate,
    packet_ns,
    read_job,
)

SHOWN = ("nominal", "least", "most")


def test_the_time_of_a_packet(run) -> None:
    """20 ones before packets of service mode, 14 before others."""
    assert run("duration", "short 3: HardReset") == (
        0,
        "short 3: HardReset\n"
        "  42 bits, a preamble of 14 included: 19 ones, 23 zeros\n"
        "     6.804 ms  nominal: halves of 58 µs (one) and 100 µs (zero)\n"
        "     6.460 ms  least: halves of 55 µs (one) and 95 µs (zero)\n"
        "     6.918 ms  most: halves of 61 µs (one) and 100 µs (zero)\n",
        "",
    )
    assert (
        "48 bits, a preamble of 20" in run("duration", "service programming-track: PagePreset")[1]
    )
    assert "44 bits, a preamble of 16" in run("duration", "--preamble", "16", "idle: Idle")[1]


def test_the_time_of_packets_as_json(run) -> None:
    """One object a line, the packet as decode gives it."""
    status, out, _ = run("duration", "--json", "idle: Idle", "short 3: HardReset")
    lines = [json.loads(line) for line in out.splitlines()]
    assert status == 0
    assert [line["packet"]["bytes"] for line in lines] == ["FF 00 FF", "03 01 02"]
    assert (lines[0]["preamble"], lines[0]["ones"], lines[0]["zeros"]) == (14, 31, 11)
    for name in SHOWN:
        expected = packet_ns(bytes.fromhex("FF00FF"), 14, TIMINGS[name])
        assert lines[0]["duration_ns"][name] == expected


@pytest.mark.parametrize(
    ("arguments", "first", "preamble"),
    [
        (["7C 1C 26 46"], "short 124: Reserved data=1C26", 14),
        (["7C", "1C", "26", "46"], "short 124: Reserved data=1C26", 14),
        (["--service", "7C", "1C", "26", "46"], None, 20),
        (["--service", "7c1c2646"], None, 20),
        (["--service", "--preamble", "25", "7C1C2646"], None, 25),
        (["FF00FF"], "idle: Idle", 14),
        (["--service", "FF 00 FF"], "service idle: Idle", 20),
        (["short", "3:", "HardReset"], "short 3: HardReset", 14),
    ],
)
def test_bytes_in_hex_are_timed_as_the_packet_they_are(run, arguments, first, preamble) -> None:
    """With or without blanks, in one argument or many, of operations or of service mode."""
    first = first or "service programming-track: DirectByteAccess operation=write cv=29 value=38"
    status, out, err = run("duration", *arguments)
    assert (status, err) == (0, "")
    assert out.splitlines()[0] == first
    assert f"a preamble of {preamble} included" in out
    assert (status, out) == run("duration", "--preamble", str(preamble), first)[:2]


def test_bytes_that_are_no_packet_are_one_line_and_status_1(run) -> None:
    """As for decode; the others are timed."""
    status, out, err = run("duration", "37 74 42", "FF 00 FF", "00" * 2500)
    assert (status, out.splitlines()[0]) == (1, "idle: Idle")
    first, second = err.splitlines()
    hint = "'dccwire inspect' reads what it can"
    assert first == f"dccwire: 37 74 42: error byte: 43 expected, 42 given; {hint}"
    assert second.startswith(f"dccwire: {'0' * 57}...: 3 to 6 bytes expected")


LONG = "9" * 5000
MANY = "9" * 4000
"""More digits than Python reads as a number by default, and fewer."""


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (
            [f"--{name}", sign + digits, *rest],
            2,
            f"argument --{name}: number: a whole number of one",
        )
        for name, rest in (("preamble", ["idle: Idle"]), ("answer", ["--cvs", "1"]))
        for digits in (LONG, MANY, "9" * 10, "٣", "", "1.5", "0x5", "x")
        for sign in ("", "-")
    ]
    + [
        (["--cvs", LONG], 2, "; as in 1-256,257-512x4"),
        (["--cvs", f"1-{MANY}"], 2, "; as in 1-256,257-512x4"),
        (["--cvs", f"1x{LONG}"], 2, "; as in 1-256,257-512x4"),
        ([f"short {LONG}: Idle"], 2, "position 5"),
        ([f"short {MANY}: Idle"], 2, "short"),
        ([f"short 3: CvAccessLongForm operation=write cv={LONG} value=3"], 2, "cv"),
        ([f"short 3: CvAccessLongForm operation=write cv=3 value={MANY}"], 2, "value"),
        ([f"long 3: {LONG}"], 2, "position"),
        ([LONG], 1, "3 to 6 bytes expected"),
        ([f"{LONG}9"], 2, "odd number of hex digits"),
    ],
)
def test_numbers_of_thousands_of_digits_are_one_short_line(run, arguments, status, words) -> None:
    """No traceback, and nothing on standard output."""
    option, value, *rest = [*arguments, ""] if len(arguments) == 1 else arguments
    given = [f"{option}={value}", *rest] if option.startswith("--") else arguments
    ended, out, err = run("duration", *given)
    assert (ended, out) == (status, "")
    assert words in err
    assert err.count("\n") == 1
    assert len(err) < 400


def test_the_longest_numbers_that_are_taken_are_timed(run) -> None:
    """Nine digits, without the memory that so many bits would take."""
    status, out, _ = run("duration", "--json", "--preamble", "9" * 9, "idle: Idle")
    plain = json.loads(out)
    assert (status, plain["preamble"], plain["ones"]) == (0, 999_999_999, 999_999_999 + 17)
    assert plain["duration_ns"]["nominal"] == (999_999_999 + 17) * 116_000 + 11 * 200_000
    assert run("duration", "--cvs", "1", "--answer", "9" * 9)[0] == 0


def test_the_time_of_reading_cvs(run) -> None:
    """A table for each timing: packets, seconds, minutes at best, on average, at worst."""
    status, out, err = run("duration", "--cvs", "1-300")
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "reading CV 1-300 in direct mode: 300 values"
    found = estimate([Block(1, 300)])
    for name, cost in (("best", found.best), ("mean", found.mean), ("worst", found.worst)):
        shown = next(line.split() for line in lines if line.split()[:1] == [name])
        assert shown[1:] == [str(cost.packets), f"{cost.ns / 1e9:.1f}", f"{cost.ns / 60e9:.1f}"]
    assert "acknowledged steps end at packet 2; the decoder has all these CVs" in lines
    assert "index pages" not in out


def test_index_pages_and_modes_and_late_answers(run) -> None:
    """All are said; JSON holds each timing and case."""
    status, out, _ = run(
        "duration", "--cvs", "1-256,257-512x4", "--mode", "paged", "--answer", "99"
    )
    assert status == 0
    assert out.startswith("reading CV 1-256,257-512x4 in paged mode: 1280 values\n")
    assert "acknowledged steps end no earlier" in out
    assert "index pages: CV 31 = 16, CV 32 from 0" in out
    status, out, _ = run("duration", "--cvs", "257-260x4", "--mode", "paged", "--json")
    plain = json.loads(out)
    assert (plain["mode"], plain["answer"], plain["values"]) == ("paged", 2, 16)
    for name in SHOWN:
        blocks = read_job("257-260x4")
        found = estimate(blocks, PagedCv, assumptions=Assumptions(timing=TIMINGS[name]))
        assert plain["durations"][name] == {
            case: {"packets": cost.packets, "ns": cost.ns}
            for case, cost in (("best", found.best), ("mean", found.mean), ("worst", found.worst))
        }


@pytest.mark.parametrize(("mode", "longest"), [("direct", 5), ("paged", 5), ("register", 7)])
def test_answers_beyond_the_longest_step_end_none_early(run, mode, longest) -> None:
    """The counts of the mode say which these are."""
    for answer in (longest - 1, longest, longest + 1):
        out = run("duration", "--cvs", "3", "--mode", mode, "--answer", str(answer))[1]
        ends = f"at packet {answer}" if answer <= longest else "no earlier"
        assert f"acknowledged steps end {ends}; " in out


def test_one_value_is_one_value(run) -> None:
    """Address-only mode reads CV 1."""
    out = run("duration", "--cvs", "1", "--mode", "address-only")[1]
    assert out.startswith("reading CV 1 in address-only mode: 1 value\n")


def test_calls_that_cannot_be_used_are_one_line_and_status_2(run) -> None:
    """Nothing is printed but that line."""
    for arguments, words in (
        ((), "duration: packets, --cvs, --decoder"),
        (
            ("--cvs", "1", "idle: Idle"),
            "duration: packets, --cvs, --decoder",
        ),
        (("--cvs", "1-5,x"), "position 4: 'x' is no list of CVs; as in 1-256,257-512x4"),
        (("--cvs", "1025"), "first cv: 1 to 1024 expected, 1025 given"),
        (
            ("--cvs", "5", "--mode", "register"),
            "cv: 1, 2, 3, 4, 7, 8 or 29 in register mode expected",
        ),
        (("--cvs", "5", "--answer", "1"), "answer: 2 or more (S-9.2.3 §D) expected, 1 given"),
        (("--cvs", "5", "--mode", "fast"), "invalid choice: 'fast'"),
        (("--preamble", "-1", "idle: Idle"), "preamble: 0 or more expected, -1 given"),
        (("idle: Idle", "short 3"), "no colon after the address"),
        (("short 3",), "; a packet is its text, as in 'idle: Idle', or hex, as in '37 74 43'"),
        (("idle: Idle", "37 74 4G"), "'G' is no hex digit; as in '37 74 43'; a packet is its text"),
    ):
        status, out, err = run("duration", *arguments)
        assert (status, out) == (2, ""), arguments
        assert words in err
        assert err.count("\n") == 1


def test_the_help_says_what_the_numbers_mean_and_what_to_beware_of(run) -> None:
    """The figures in it are the computed ones."""
    status, out, _ = run("duration", "--help")
    text = " ".join(out.split())
    assert status == 0
    direct, paged = estimate([Block(1, 300)], DirectCv), estimate([Block(1, 300)], PagedCv)
    floor = f"{direct.best.ns / 60e9:.1f} to {direct.worst.ns / 60e9:.1f} minutes in direct mode"
    assert f"CV 1-300 take {floor} and {paged.mean.ns / 60e9:.0f} minutes on average" in text
    for caution in ("250 mA", "may jump at an acknowledgement", "every decoder at its address"):
        assert caution in text
    idles = "An idle packet belongs after each packet of such a write: a decoder need only act on"
    assert idles in text


def test_reading_a_described_decoder_is_timed(run) -> None:
    """All its CVs: 57 of its own, 14 of the standard; two CVs set one index page, once."""
    path = str(Path(__file__).parent.parent.parent / "vectors/setups/harbour-sound.toml")
    status, out, err = run("duration", "--decoder", path)
    assert (status, err) == (0, "")
    assert out.startswith("reading the CVs of harbour sound decoder in direct mode: 71 values\n")
    assert "index pages: those described; each written" in out
    plain = json.loads(run("duration", "--decoder", path, "--json")[1])
    assert (plain["cvs"], plain["values"]) == ("the CVs of harbour sound decoder", 71)
    # The same CVs as a list: 43 plain ones, and 28 of an index page.
    listed = "1-6,17-19,21-22,29,31-32,47-54,112-123,130-138,257-284x1"
    alike = json.loads(run("duration", "--cvs", listed, "--json")[1])
    assert plain["durations"] == alike["durations"]
    assert run("duration", "--decoder", path, "idle: Idle")[0] == 2
    assert run("duration", "--decoder", path, "--cvs", "1")[0] == 2
