"""The commands for recordings: what they print, how they end, and bad input in one line."""

import gzip
import io
import json
import re
import sys
from itertools import groupby
from pathlib import Path

import pytest

from dccwire import Packet, cli
from dccwire.cli import main
from dccwire.errors import RecordingError
from dccwire.plan import read_plan
from dccwire.recordings import read
from dccwire.recordings.recording import UNIT_HINT, UNITS_NS
from dccwire.wording import either

RECORDINGS = Path(__file__).parent.parent / "vectors" / "recordings"
MORNING, STORM = RECORDINGS / "harbour-morning.vcd", RECORDINGS / "harbour-storm.vcd"
TRUTH = {
    path: json.loads(path.with_suffix(".json").read_text("utf-8")) for path in (MORNING, STORM)
}
BOTH = pytest.mark.parametrize("path", [MORNING, STORM], ids=lambda path: path.stem)


def objects(out: str) -> list[dict]:
    """One JSON object a line."""
    return [json.loads(line) for line in out.splitlines()]


@BOTH
def test_packets_finds_what_was_sent_and_nothing_else(run, path) -> None:
    """Bytes, preambles and the order are those written beside the recording."""
    status, out, _ = run("packets", "--json", str(path))
    events = objects(out)
    assert status == 0
    received = [(one["bytes"], one["preamble"]) for one in events if one["event"] == "packet"]
    assert [
        {"bytes": key[0], "preamble": key[1], "times": len(list(group))}
        for key, group in groupby(received)
    ] == TRUTH[path]["packets"]
    others = [
        {"event": one["event"], "reason": one.get("reason", ""), "bytes": one["bytes"]}
        for one in events
        if one["event"] != "packet"
    ]
    assert others == TRUTH[path]["not_packets"]


MISREAD = ["03", "03 77 74 FF"]
"""What the two packets with an inverted bit read as; worked from S-9.2 §A.

`03 77 74` with its second start bit sent as 1 ends after `03`; with its end bit sent as 0 it goes
on into what precedes the next packet: one byte FF, and the next one ends it.
"""


@BOTH
def test_what_is_written_beside_a_recording_is_what_its_plan_sends(path) -> None:
    """In order, without the receiver: but for what a planted fault takes away or makes misread."""
    plan = path.with_suffix(".plan").read_text("utf-8").splitlines()
    sent, swallowed = [], False
    for each in read_plan(plan):
        spoiled = each.flip is not None or each.preamble < 10 or each.pulse_ns >= 4_000
        if not spoiled and not swallowed:
            sent.append((each.data.hex(" ").upper(), each.preamble))
        # An end bit sent as 0 takes nine ones of the next preamble: 16 - 9 are too few to be read.
        swallowed = each.flip == 9 * len(each.data)
    told = [
        (one["bytes"], one["preamble"])
        for one in TRUTH[path]["packets"]
        for _ in range(one["times"])
    ]
    assert [data for data, _ in told if data in MISREAD] == MISREAD * (path is STORM)
    kept = [one for one in told if one[0] not in MISREAD]
    assert [data for data, _ in kept] == [data for data, _ in sent]
    # A lost packet leaves the ones at its end, its end bit included, to the preamble behind it:
    # 83 leaves 3, 65 leaves 2, 64 leaves 1, and FF leaves 9.
    longer = [(ones, own) for (_, ones), (_, own) in zip(kept, sent, strict=True) if ones != own]
    by_hand = [(16 + 3, 16), (16 + 2, 16), (16 + 1, 16), (16 + 9, 16)]
    assert longer == by_hand * (path is STORM)


@BOTH
def test_check_finds_every_planted_fault_and_nothing_else(run, path) -> None:
    """Which rules fail, and how often, as counted by hand from the plan."""
    status, out, _ = run("check", "--json", "--rules", "1-5,13-19,27,28", str(path))
    *rules, summary = objects(out)
    failed = {str(one["rule"]): one["failed"] for one in rules if one["verdict"] == "fail"}
    assert failed == TRUTH[path]["failed_rules"]
    assert status == (1 if failed else 0)
    assert summary["verdict"] == ("fail" if failed else "pass")
    assert {one["verdict"] for one in rules} <= {"pass", "fail", "not decidable"}
    assert summary["packets"] == sum(one["times"] for one in TRUTH[path]["packets"])


@BOTH
def test_a_plan_makes_the_recording_that_is_shipped(run, path, tmp_path) -> None:
    """The command in the plan's second line writes the same file, byte by byte."""
    plan = path.with_suffix(".plan")
    words = plan.read_text("utf-8").splitlines()[1].split()
    made = tmp_path / "made.vcd"
    options = words[words.index("--jitter") :]
    assert run("compose", str(plan), str(made), *options) == (0, "", "")
    assert made.read_bytes() == path.read_bytes()


def test_packets_text_has_time_ones_bytes_and_meaning(run) -> None:
    """Events that are no packets have a line too."""
    status, out, err = run("packets", str(STORM))
    assert (status, err) == (0, "")
    lines = out.splitlines()
    place = lines.index(
        "     38.124   16  37 74 42           short 55: SpeedAndDirection forward=yes c=1"
    )
    assert lines[place + 1].split("#")[0].split() == ["speed=4"]
    assert "step 6 of 28" in lines[place + 1]
    assert (
        "                  ! error-byte: error byte 42, where the bytes before it give 43" in lines
    )
    short = "     73.064    6  ! short-preamble: too few ones before a packet start bit, "
    place = lines.index(f"{short}03")
    assert lines[place + 1] == f"{'':20}80 83 read"
    assert "    303.998       of no packet: half-bits for 2.020 ms" in lines
    assert "    458.500       gap: no signal for 25.006 ms" in lines
    assert any(line.startswith("    299.718   16  ! half-bits: ") for line in lines)
    assert any(line.endswith("  no packet") for line in lines)


def test_a_recording_cut_in_a_packet_says_so_and_is_no_fault(run, tmp_path) -> None:
    """Cut-off ends: an event with what was seen, status 0."""
    cut = tmp_path / "cut.vcd"
    text = MORNING.read_text()
    cut.write_text(text[: len(text) * 3 // 4].rsplit("\n", 1)[0] + "\n")
    status, out, _ = run("packets", str(cut))
    assert status == 0
    assert out.splitlines()[-1][18:].startswith("cut off: ")
    status, out, _ = run("packets", "--json", str(cut))
    last = objects(out)[-1]
    assert (last["event"], last["packet"]) == ("cut-off", None)
    assert run("check", str(cut))[0] == 0


def test_a_zipped_recording_from_standard_input_reads_the_same(run, monkeypatch) -> None:
    """`-` is standard input, gzip of anything is read."""
    zipped = io.BytesIO(gzip.compress(MORNING.read_bytes()))
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(zipped))
    assert run("packets", "-")[1] == run("packets", str(MORNING))[1]


@pytest.mark.parametrize(
    ("after_ns", "verdict"),
    [
        (-1_000_000, "pass"),
        (10_000, "fail"),
        (25_900, "fail"),
        (26_100, "pass"),
        (40_000, "pass"),
        (500_000, "pass"),
    ],
)
def test_gaps_without_a_level_are_told(run, tmp_path, after_ns: int, verdict: str) -> None:
    """A stretch of z in a VCD is a gap; rule 17 asks for 26 us from an end bit to it (C14)."""
    events = objects(run("packets", "--json", str(MORNING))[1])
    end = next(one["end_ns"] for one in events[10:] if one["event"] == "packet")
    head, _, body = MORNING.read_text().partition("$end\n#1")
    before, after = [], []
    for time, level in re.findall(r"#(\d+)\n(\S+)", f"#1{body}"):
        gone = int(time) > end + after_ns
        (after if gone else before).append(f"#{int(time) + 5_000_000 * gone}\n{level}\n")
    gap = f"#{end + after_ns}\nz!\n"
    changed = tmp_path / "gap.vcd"
    changed.write_text("".join([head, "$end\n", *before, gap, *after]))
    status, out, _ = run("packets", "--json", str(changed))
    assert status == 0
    assert [one["event"] for one in objects(out)].count("gap") == 1
    *rules, _ = objects(run("check", "--json", "--rules", "17", str(changed))[1])
    assert rules[0]["verdict"] == verdict


def test_rules_and_strict_and_uncertainty(run) -> None:
    """A choice of rules; uncertainty that leaves jitter undecided; strict adds nothing here."""
    *rules, _ = objects(run("check", "--json", "--rules", "1-2,16", str(STORM))[1])
    assert [one["rule"] for one in rules] == [1, 2, 16]
    assert run("check", "--rules", "17", "--strict", str(STORM))[0] == 0
    *rules, summary = objects(
        run("check", "--json", "--rules", "1", "--uncertainty", "3000", str(MORNING))[1]
    )
    assert rules[0]["verdict"] == "undecided"
    assert summary["uncertainty_ns"] == 3000


def test_text_report_fits_80_columns(run) -> None:
    """As the README shows it."""
    status, out, err = run("check", str(STORM))
    assert (status, err) == (1, "")
    assert max(map(len, out.splitlines()[1:])) <= 80
    assert out.splitlines()[0] == f"fail: {STORM}"


def test_a_recording_without_a_packet_is_status_1_with_what_was_seen(run, tmp_path) -> None:
    """How many edges, and how far apart."""
    path = tmp_path / "ones.csv"
    path.write_text("Time [us],level\n" + "".join(f"{58.1 * i:.1f},{i % 2}\n" for i in range(200)))
    for command in ("packets", "check"):
        status, _, err = run(command, str(path), "--signal", "level")
        assert status == 1
        assert "no packet; it begins with 199 edges 58.1 to 58.1 us apart, median 58.1" in err
        assert err.count("\n") == 1 or "dccwire: signal" in err
    path.write_text("Time [us],level\n0,0\n58,1\n60,1\n")
    status, _, err = run("packets", str(path), "--signal", "level", "--resolution", "10")
    assert status == 1
    assert "no packet; it begins with 1 edge; another --signal" in err


BAD = {
    "no such file": ("none.vcd", None, ()),
    "empty": ("empty.vcd", b"", ()),
    "rubbish": ("rubbish.vcd", bytes(range(256)) * 4, ()),
    "no usable signal": (
        "quiet.vcd",
        b"$timescale 1 us $end\n$var wire 1 ! quiet $end\n$enddefinitions $end\n#0\n0!\n#9\n",
        (),
    ),
    "no number": ("row.csv", b"Time [us],track\n0,0\n58,1\nx,0\n", ()),
    "backwards": ("back.csv", b"Time [us],track\n0,0\n158,1\n100,0\n", ()),
    "no rate": ("samples.raw", bytes(range(256)), ("--bit", "0")),
    "no unit": ("unit.csv", b"time,track\n0,0\n58,1\n116,0\n", ()),
    "unknown signal": ("row2.csv", b"Time [us],track\n0,0\n58,1\n116,0\n", ("--signal", "trick")),
    "no json": ("x.json", b'{"a": 1}', ()),
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("command", ["packets", "check"])
def test_bad_recordings_are_one_line_and_status_2(run, tmp_path, command, name) -> None:
    """What, where, what would help; nothing on standard output."""
    file, content, options = BAD[name]
    path = tmp_path / file
    if content is not None:
        path.write_bytes(content)
    status, out, err = run(command, str(path), *options)
    assert (status, out) == (2, "")
    assert err.startswith(f"dccwire: {path}")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("rubbish", "if it holds raw samples, give --rate HZ and --bit N"),
        ("no usable signal", "--signal 'quiet' takes it nevertheless"),
        ("no rate", "give it with --rate HZ"),
        ("no unit", "give it with --unit s|ms|us|ns|ps|fs, or in the header, such as Time [s]"),
        ("unknown signal", "choose one of them with --signal NAME"),
    ],
)
def test_a_hint_names_what_its_reader_has(run, tmp_path, name, hint) -> None:
    """The option of the command, the argument of the function; a path stays as it is."""
    file, content, options = BAD[name]
    path = tmp_path / f"rate=5 bit={file}"
    path.write_bytes(content)
    _, _, err = run("check", str(path), *options)
    assert err.startswith(f"dccwire: {path}: ")
    assert err.endswith(f"; {hint}\n")
    given = dict(zip((one[2:] for one in options[::2]), options[1::2], strict=True))
    with pytest.raises(RecordingError) as caught:
        read(path, **given)
    argument = re.sub("--([a-z]+) ", r"\1=", hint)
    assert str(caught.value).endswith(f"; {argument}")


def test_the_units_are_told_alike(run) -> None:
    """The help, the refusal of another one, and the hint where one is missing."""
    units = either(UNITS_NS)
    assert f"of times: {units}" in " ".join(run("check", "--help")[1].split())
    assert f"unit: {units} expected" in run("check", str(MORNING), "--unit", "min")[2]
    assert "|".join(UNITS_NS) in UNIT_HINT


def test_a_directory_is_no_recording(run, tmp_path) -> None:
    """One line, status 2."""
    status, out, err = run("check", str(tmp_path))
    assert (status, out, err.count("\n")) == (2, "", 1)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("check", str(MORNING), "--rules", "1-"), "rules: "),
        (("check", str(MORNING), "--rules", "99"), "rules: "),
        (("packets", str(MORNING), "--rate", "fast"), "invalid number value: 'fast'"),
        (("packets", str(MORNING), "--rate", "0"), "rate: a positive number of Hz expected"),
        *(
            ((*call, option, value), f"argument {option}: invalid number value: '{value}'")
            for call, options in (
                (("check", str(MORNING)), ("--rate", "--resolution", "--uncertainty")),
                (("compose", "a.plan", "b.vcd"), ("--jitter", "--sampling", "--noise")),
            )
            for option in options
            for value in ("nan", "inf", "1e999")
        ),
        (("packets", str(MORNING), "--rate", "9" * 500_000 + "x"), "invalid number value"),
        (("packets", str(MORNING), "--signal", "tracks"), "track"),
        (("packets", str(MORNING), "--resolution", "10000"), "too coarse"),
        (("packets", str(MORNING), "--uncertainty", "20000"), "resolution_ns"),
        (("packets", str(MORNING), "--uncertainty", "-5"), "uncertainty"),
        (("compose", "none.plan", "x.vcd"), "none.plan: No such file or directory"),
        (("compose", str(MORNING.with_suffix(".plan")), "x.wav"), "ends in .vcd or .csv"),
        (("compose", str(MORNING.with_suffix(".plan")), "x.vcd", "--jitter", "-1"), "jitter_ns"),
    ],
)
def test_options_out_of_bounds_are_one_line_and_status_2(run, arguments, words) -> None:
    """The option or field, its bound, and what was given."""
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


def test_compose_reads_standard_input_and_writes_csv(run, tmp_path, monkeypatch) -> None:
    """What it writes holds the packets of the plan."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("repeat=3 | idle: Idle\nshort 3: HardReset\n"))
    path = tmp_path / "made.csv"
    assert run("compose", "-", str(path), "--noise", "20", "--seed", "3") == (0, "", "")
    events = objects(run("packets", "--json", str(path), "--resolution", "1")[1])
    sent = ["FF 00 FF"] * 3 + ["03 01 02"]
    assert [one["bytes"] for one in events if one["event"] == "packet"] == sent


def test_a_plan_that_is_no_text_is_refused(run, tmp_path) -> None:
    """One line, status 2."""
    plan = tmp_path / "a.plan"
    plan.write_bytes(b"\xff\xfe")
    assert run("compose", str(plan), str(tmp_path / "a.vcd")) == (
        2,
        "",
        f"dccwire: {plan}: is no UTF-8 text; save it as such\n",
    )


def test_the_report_says_what_would_decide(run, tmp_path) -> None:
    """Times known better than they are, in one line for all rules; and other uncertainty."""
    plan, path = tmp_path / "a.plan", tmp_path / "a.vcd"
    plan.write_text("repeat=5 | idle: Idle\n")
    sampling = ("--sampling", "1", "--jitter", "0.9")
    assert run("compose", str(plan), str(path), *sampling)[0] == 0
    out = " ".join(run("check", str(path))[1].split())
    assert out.startswith(f"undecided: {path}")
    assert "- rule 2: times known to less than 0.5 us would decide (--resolution NS, if they" in out
    assert run("compose", str(plan), str(path))[0] == 0
    out = " ".join(run("check", str(path), "--uncertainty", "100")[1].split())
    assert "other uncertainty 0.1 us" in out
    assert out.startswith(f"pass: {path}")


def test_compose_writes_nothing_of_a_plan_that_cannot_be_read(run, tmp_path) -> None:
    """The line is quoted, and no file is left."""
    plan, path = tmp_path / "a.plan", tmp_path / "made.vcd"
    plan.write_text("idle: Idle\nrepeat=x | idle: Idle\n")
    status, out, err = run("compose", str(plan), str(path))
    assert (status, out) == (2, "")
    assert "'repeat=x | idle: Idle', position 0: 'x' is no number" in err
    assert err.endswith(f"; line 2 of {plan}\n")
    plan.write_text("preamble=3 | short 300: HardReset\n")
    assert run("compose", str(plan), str(path))[2] == (
        "dccwire: short address: 1 to 127 expected, 300 given; 'short 300: HardReset', position 6; "
        f"line 1 of {plan}\n"
    )
    plan.write_text("# nothing\n")
    assert run("compose", str(plan), str(path))[2] == (
        f"dccwire: {plan}: has nothing to send; a packet a line\n"
    )
    assert list(tmp_path.iterdir()) == [plan]


def test_an_interrupted_run_leaves_nothing_half_written(run, tmp_path, monkeypatch) -> None:
    """Status 130, one line, and the folder as it was."""

    def interrupted(*_: object, **__: object):
        yield 100_000
        raise KeyboardInterrupt

    monkeypatch.setattr("dccwire.synthesis.synthesize", interrupted)
    path = tmp_path / "made.vcd"
    status, out, err = run("compose", str(MORNING.with_suffix(".plan")), str(path))
    assert (status, out, err) == (130, "", "dccwire: interrupted\n")
    assert list(tmp_path.iterdir()) == []


def test_a_signal_from_outside_ends_with_the_status_of_shells() -> None:
    """As an exception, so that what stands open is closed and removed."""
    with pytest.raises(SystemExit) as ended:
        cli._ended(15, None)
    assert ended.value.code == 143


def test_progress_is_shown_on_a_terminal_alone(capsys, monkeypatch) -> None:
    """On standard error, and gone when done; the output stays the same."""
    assert main(["packets", str(MORNING)]) == 0
    plain = capsys.readouterr()
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    assert main(["packets", str(MORNING)]) == 0
    shown = capsys.readouterr()
    assert shown.out == plain.out
    assert plain.err == ""
    assert str(MORNING)[:20] in shown.err
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert main(["packets", str(MORNING)]) == 0
    assert capsys.readouterr().err == ""


def test_the_readers_notes_go_to_standard_error(run, tmp_path) -> None:
    """Which signal was taken of several."""
    text = MORNING.read_text().replace("$upscope", "$var wire 1 % spare $end\n$upscope")
    path = tmp_path / "two.vcd"
    path.write_text(text)
    status, out, err = run("packets", str(path))
    assert status == 0
    assert "track" in err
    assert out == run("packets", str(MORNING))[1]


def test_missing_parts_are_named(run, monkeypatch) -> None:
    """What to install, in one line."""
    monkeypatch.setitem(sys.modules, "dccwire.recordings", None)
    for arguments in (("packets", str(MORNING)), ("compose", "a.plan", "b.vcd")):
        status, _, err = run(*arguments)
        assert status == 2
        assert "pip install 'dccwire[capture]', in a clone" in err


def test_recordings_read_the_same_by_the_library(run) -> None:
    """The command adds nothing to what the packages do."""
    edges = sum(len(chunk.edges) for chunk in read(MORNING))
    *_, summary = objects(run("check", "--json", str(MORNING))[1])
    assert summary["edges"] == edges


@BOTH
def test_packets_says_what_decode_says_within_80_columns(run, path) -> None:
    """A packet's text can be read back from its lines; behind it stands what it means."""
    lines = run("packets", str(path))[1].splitlines()
    assert max(map(len, lines)) <= 80
    blocks: list[str] = []
    for line in lines:
        if line[:37].strip() and line[18:20] != "! ":
            blocks.append(line[37:] if line[18:35].strip() else "")
        elif line[:37] == " " * 37:
            blocks[-1] += " " + line.strip()
    texts = iter([one.split(" # ")[0] for one in blocks])
    events = objects(run("packets", "--json", str(path))[1])
    packets = [Packet.from_dict(one["packet"]) for one in events if one["packet"]]
    assert len(packets) > 40
    assert all(str(one) in texts for one in packets), "in their order"
    assert {Packet.from_text(str(one)) for one in packets} == set(packets)


@pytest.mark.parametrize(
    ("data", "meaning"),
    [
        ("C4 B5 3F 29 67", "step 40 of 126, reverse"),
        ("9F F8 67", "pair 121"),
        ("00 41 41", "emergency stop to all"),
    ],
)
def test_packets_says_what_a_packet_means(run, tmp_path, data: str, meaning: str) -> None:
    """The step, the operator's number, an emergency stop: not the raw fields alone."""
    plan, path = tmp_path / "a.plan", tmp_path / "a.vcd"
    plan.write_text(f"repeat=3 | {data}\n")
    assert run("compose", str(plan), str(path))[0] == 0
    assert " ".join(run("packets", str(path))[1].split()).count(meaning) >= 2


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (["--to", "short 3"], ["03 74 77", "03 80 83", "03 74 77", "03 75 76"]),
        (["--to", "long 1205"], []),
        (["--kind", "functions"], ["03 80 83"]),
        (["--kind", "accessory"], ["81 F1 70"]),
        (["--changes", "--to", "short 3"], ["03 74 77", "03 80 83", "03 75 76"]),
        (["--changes"], ["FF 00 FF", "03 74 77", "03 80 83", "81 F1 70", "03 75 76"]),
        (["--from", "0.03", "--kind", "speed"], ["03 74 77", "03 75 76"]),
        (["--until", "0.01", "--kind", "speed"], ["03 74 77"]),
    ],
)
def test_packets_are_chosen(run, tmp_path, options: list[str], expected: list[str]) -> None:
    """By address, by kind, by time, and those alone that say something new."""
    plan, path = tmp_path / "a.plan", tmp_path / "a.vcd"
    sent = ["FF 00 FF", "03 74 77", "03 80 83", "FF 00 FF", "81 F1 70", "03 74 77", "03 75 76"]
    plan.write_text("".join(f"{one}\n" for one in sent))
    assert run("compose", str(plan), str(path))[0] == 0
    status, out, _ = run("packets", str(path), "--json", *options)
    assert status == 0
    assert [one["bytes"] for one in objects(out) if one["event"] == "packet"] == expected
    assert all(one["event"] == "packet" for one in objects(out))


def test_times_choose_other_events_too(run, tmp_path) -> None:
    """What is chosen by an address or a kind is packets alone."""
    path = tmp_path / "a.csv"
    path.write_text("Time [us],level\n" + "".join(f"{75 * i},{i % 2}\n" for i in range(200)))

    def count(*options: str) -> int:
        out = run("packets", str(path), "--signal", "level", "--json", *options)[1]
        return len(out.splitlines())

    assert count() == 1
    assert count("--until", "1") == 1
    assert count("--from", "1") == count("--kind", "speed") == 0
    status, _, err = run("packets", str(path), "--signal", "level", "--to", "loco 3")
    assert (status, "'loco 3', position 0" in err) == (2, True)


def test_a_session_and_what_was_expected(run, tmp_path) -> None:
    """An expectation that is not met ends with 1, and its nearest packet is told; so in JSON."""
    plan, path, session = (tmp_path / name for name in ("a.plan", "a.vcd", "a.toml"))
    plan.write_text(
        "".join(f"FF 00 FF\n{n:02X} 74 {n ^ 0x74:02X}\nFF 00 FF\n" for n in range(1, 31))
    )
    assert run("compose", str(plan), str(path))[0] == 0
    session.write_text("[[expect]]\nto = 'short 3'\nwhat = 'SpeedAndDirection speed=5'\n")
    status, out, err = run("check", str(path), "--session", str(session), "--rules", "1-5")
    assert (status, err) == (1, "")
    words = " ".join(out.split())
    assert words.startswith(f"fail: {path}")
    assert "fail short 3: SpeedAndDirection speed=5, 1 or more, 0 s to the end: 0 seen" in words
    assert "differs in byte 1 bit 0" in words
    assert re.search(r"and \d+ more, which --all tells", words)
    every = run("check", str(path), "--all", "--rules", "1-5")[1]
    assert all(f"short {number} " in every for number in range(1, 31))
    *_, expected, summary = objects(run("check", str(path), "--session", str(session), "--json")[1])
    assert (expected["verdict"], summary["verdict"]) == ("fail", "fail")
    session.write_text("expects = []\n")
    status, _, err = run("check", str(path), "--session", str(session))
    assert (status, err.count("\n")) == (2, 1)
    assert "perhaps expect" in err


def test_junit_and_what_is_undecided(run, tmp_path) -> None:
    """With --certain what is undecided ends with 1, and fails its case."""
    plan, path, xml = (tmp_path / name for name in ("a.plan", "a.vcd", "a.xml"))
    plan.write_text("repeat=3 | one=61 | FF 00 FF\n".replace("3 | one", "3 one"))
    assert run("compose", str(plan), str(path), "--sampling", "1")[0] == 0
    options = ("--rules", "1-3", "--resolution", "1000", "--junit", str(xml))
    assert run("check", str(path), *options)[0] == 0
    assert 'failures="0"' in xml.read_text()
    assert run("check", str(path), *options, "--certain")[0] == 1
    assert 'failures="1"' in xml.read_text()


@pytest.mark.parametrize("option", ["--html", "--junit"])
def test_what_is_written_replaces_no_recording(run, tmp_path, option: str) -> None:
    """Nor the other of the two; a folder that is not there is told before anything is judged."""
    path, page = tmp_path / "a.vcd", tmp_path / "a.html"
    path.write_bytes(STORM.read_bytes())
    for given, told in (
        ((option, str(tmp_path / "." / "a.vcd")), "it is a recording that is read"),
        (("--html", str(page), "--junit", str(page)), "it is that of --html, too"),
        ((option, str(tmp_path / "none" / "a")), "a file in a folder that is there expected"),
    ):
        status, out, err = run("check", str(path), *given)
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert told in err
    assert path.read_bytes() == STORM.read_bytes()
    assert not page.exists()


def test_ctrl_c_gives_the_report_so_far(run, monkeypatch) -> None:
    """After the chunk in hand; the status is that of a command that was interrupted."""
    import signal

    from dccwire.recordings import Recording

    read, before = Recording.__iter__, signal.getsignal(signal.SIGINT)

    def interrupted(recording: Recording):
        for chunk in read(recording):
            signal.raise_signal(signal.SIGINT)
            yield chunk

    monkeypatch.setattr(Recording, "__iter__", interrupted)
    status, out, err = run("check", str(STORM), "--rules", "1")
    assert (status, err) == (130, "")
    assert "(so far: it was stopped)" in out
    assert signal.getsignal(signal.SIGINT) is before
