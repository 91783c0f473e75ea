"""The command for durations: what it prints, and how it ends."""

import json

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


def test_one_value_is_one_value(run) -> None:
    """Address-only mode reads CV 1."""
    out = run("duration", "--cvs", "1", "--mode", "address-only")[1]
    assert out.startswith("reading CV 1 in address-only mode: 1 value\n")


def test_calls_that_cannot_be_used_are_one_line_and_status_2(run) -> None:
    """Nothing is printed but that line."""
    for arguments, words in (
        ((), "duration: packets or --cvs, one of them expected"),
        (("--cvs", "1", "idle: Idle"), "duration: packets or --cvs, one of them expected"),
        (("--cvs", "1-5,x"), "position 4: 'x' is no list of CVs; as in 1-256,257-512x4"),
        (("--cvs", "1025"), "first cv: 1 to 1024 expected, 1025 given"),
        (("--cvs", "5", "--mode", "register"), "cv: 1 to 4, 7, 8 or 29 in register mode expected"),
        (("--cvs", "5", "--answer", "1"), "answer: 2 or more (S-9.2.3 §D) expected, 1 given"),
        (("--cvs", "5", "--mode", "fast"), "invalid choice: 'fast'"),
        (("--preamble", "-1", "idle: Idle"), "preamble: 0 or more expected, -1 given"),
        (("idle: Idle", "short 3"), "no colon after the address"),
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
    assert "Common practice, no source" in text
