"""The commands for single packets: what they print, where, and how they end."""

import io
import json
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

import dccwire
from dccwire.cli import main
from dccwire.cli.printing import say

SPEED = """\
short 55: SpeedAndDirection forward=yes c=1 speed=4
# 28 steps: step 6; 14 steps: step 3, headlight on
"""


@pytest.mark.parametrize(
    "arguments",
    [
        ("37", "74", "43"),
        ("37 74 43",),
        ("377443",),
        ("37", "7443"),
        ("37\u00a074\t43",),
        ("0x37", "0x74", "0x43"),
        ("37,74,43",),
        ("37,", "74,", "43,"),
        ("0X37, 0x74, 0x43",),
        ("0x377443",),
    ],
)
def test_bytes_are_read_with_or_without_blanks_commas_and_0x(run, arguments) -> None:
    """One packet, however it is split into arguments."""
    assert run("decode", *arguments) == (0, SPEED, "")


def test_several_packets_are_several_arguments(run) -> None:
    """Each long enough to be one."""
    for given in (("377443", "ff 00 ff"), ("37,74,43", "FF,00,FF"), ("0x377443", "0xff,0x00,0xff")):
        assert run("decode", *given)[1] == SPEED + "idle: Idle\n"


def test_readings_are_told_beside_the_packet(run) -> None:
    """00 00 00 is the reset packet too (C10)."""
    assert run("decode", "000000") == (
        0,
        "broadcast: DigitalDecoderReset\n# also reset (S-9.2 §B, Reset)\n",
        "",
    )


def test_what_decode_prints_encode_reads(run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Comments and blank lines on standard input are skipped."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(SPEED + "\n# also\nidle: Idle\n"))
    assert run("encode", "-") == (0, "37 74 43\nFF 00 FF\n", "")
    monkeypatch.setattr(sys, "stdin", io.StringIO("37 74 43\nFF00FF\n"))
    assert run("decode", "-") == (0, SPEED + "idle: Idle\n", "")


@pytest.mark.parametrize(
    ("arguments", "lines"),
    [
        (("decode",), {"FF00FF": "idle: Idle", "idle: Idle": "idle: Idle"}),
        (("encode",), {"idle: Idle": "FF 00 FF", "short 3: HardReset": "03 01 02"}),
        (("inspect", "--json"), {"FF00FF": '{"bytes": "FF 00 FF"', "37": '{"bytes": "37"'}),
        (("inspect", "--bits", "--json"), {"0101": '{"bytes": ""'}),
    ],
)
def test_each_line_of_standard_input_is_answered_when_it_comes(arguments, lines) -> None:
    """The answer is there before the next line is written, and before the input ends."""
    command = [sys.executable, "-m", "dccwire", *arguments, "-"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin
        assert process.stdout
        for line, answer in lines.items():
            process.stdin.write(f"{line}\n")
            process.stdin.flush()
            assert process.stdout.readline().startswith(answer)
        process.stdin.close()


@pytest.mark.parametrize(
    ("command", "lines", "words"),
    [
        (
            "decode",
            ("FF00FF", "FF00FE"),
            "FF00FE: error byte: FF expected, FE given; 'dccwire insp",
        ),
        ("decode", ("FF00FF", "FF0"), "odd number of hex digits"),
        ("decode", ("FF00FF", "11111111 00000000"), "look like bits"),
        ("encode", ("idle: Idle", "idle Idle"), "no colon"),
        ("encode", ("idle: Idle", "{"), "JSON"),
        ("encode", ("idle: Idle", "short 300: HardReset"), "1 to 127 expected, 300 given"),
        ("inspect", ("FF00FF", "3g"), "is no hex digit"),
        ("explain", ("FF00FF", "3g"), "is no hex digit"),
    ],
)
def test_a_bad_line_is_told_with_its_number_and_the_others_come(
    run, monkeypatch, command, lines, words
) -> None:
    """Comments and blank lines count; the status is 1 at the end."""
    good, bad = lines
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"# first\n\n{good}\n{bad}\n{good}\n"))
    once = run(command, good)[1]
    status, out, err = run(command, "-")
    assert status == 1
    assert out.replace("\n\n", "\n").count(once.replace("\n\n", "\n")) == 2
    assert err.startswith("dccwire: line 4: ")
    assert words in err
    assert err.count("\n") == 1


def test_standard_input_stands_alone(run) -> None:
    """Not beside packets."""
    status, out, err = run("decode", "FF00FF", "-")
    assert (status, out) == (2, "")
    assert "- alone, or no -" in err


@pytest.mark.parametrize("command", ["encode", "decode", "inspect", "explain"])
@pytest.mark.parametrize(
    "text",
    [
        "short 3: FunctionGroupOne functions=F1",
        "broadcast: DigitalDecoderReset",
        "service programming-track: PagePreset",
        "long 3:",
    ],
)
def test_a_packets_text_needs_no_quotes(run, command, text) -> None:
    """The words of one packet, each an argument, are that packet."""
    assert run(command, *text.split()) == run(command, text)
    assert run(command, *text.split())[0] < 2


def test_json_goes_both_ways(run) -> None:
    """One object a line; what comes out goes in."""
    status, out, _ = run("decode", "--json", "377443", "FF00FF")
    lines = out.splitlines()
    assert status == 0
    assert [json.loads(line)["bytes"] for line in lines] == ["37 74 43", "FF 00 FF"]
    assert json.loads(lines[0]) == dccwire.decode(bytes.fromhex("377443")).to_dict()
    assert run("encode", *lines) == (0, "37 74 43\nFF 00 FF\n", "")


def test_a_refused_packet_is_status_1_and_the_others_are_still_read(run) -> None:
    """The line says what is wrong and what reads on."""
    status, out, err = run("decode", "377442", "FF00FF")
    assert (status, out) == (1, "idle: Idle\n")
    assert err == (
        "dccwire: 377442: error byte: 43 expected, 42 given; 'dccwire inspect' reads what it can\n"
    )


def test_bits_come_out_in_groups_that_go_in_again(run) -> None:
    """Preamble, start bits, bytes, end bit (S-9.2 §A)."""
    status, out, _ = run("encode", "--bits", "short 55: HardReset")
    assert (status, out) == (0, "11111111111111 0 00110111 0 00000001 0 00110110 1\n")
    service = run("encode", "--bits", "service programming-track: PagePreset")[1]
    assert service == "11111111111111111111 0 01111101 0 00000001 0 01111100 1\n"
    assert run("inspect", "--bits", *out.split()) == (
        0,
        "37 01 36: short 55: HardReset\n  after a preamble of 14 ones\n  nothing to remark\n",
        "",
    )
    assert run("explain", "--bits", out)[1].startswith("37 01 36: short 55: HardReset\n")


def test_inspect_tells_each_finding_and_ends_with_1(run) -> None:
    """Reason, sentence, clause, bit."""
    assert run("inspect", "030407") == (
        1,
        "03 04 07: short 3: Reserved data=04\n"
        "  ! bits 8-15: reserved: code 04 is reserved (S-9.2.1 §C, Decoder Control)\n",
        "",
    )
    status, out, _ = run("inspect", "--json", "377442", "377443")
    assert status == 1
    assert json.loads(out.splitlines()[0])["unverified"]["bytes"] == "37 74 43"


def test_inspect_tells_other_readings_too(run) -> None:
    """As decode does."""
    assert run("inspect", "000000") == (
        0,
        "00 00 00: broadcast: DigitalDecoderReset\n  # also reset (S-9.2 §B, Reset)\n"
        "  nothing to remark\n",
        "",
    )


@pytest.mark.parametrize(
    ("bits", "odd"),
    [
        ("11111111111111 0 0000011 0 01110100 0 01110111 1", [(3, "0000011")]),
        ("1111_0_00000011_0_011101000_0_0111011_1", [(5, "011101000"), (7, "0111011")]),
        ("11111111111111 0 00000011 0 01110100 0 01110111 1", []),
        ("1111 0 000001 0 0111010000 0 0000 0011", []),
        ("1111 1 0000011", []),
        ("0000011", []),
    ],
)
@pytest.mark.parametrize("command", ["inspect", "explain"])
def test_a_group_of_bits_with_a_digit_less_or_more_is_named(run, command, bits, odd) -> None:
    """After a start bit of its own; beneath the findings, but for JSON on standard error."""
    _, out, err = run(command, "--bits", *bits.split())
    told = [f"group {at}, {group}, has {len(group)} digits; a byte has 8" for at, group in odd]
    mark = "  ! " if command == "inspect" else "! "
    assert "digits" not in out.removesuffix("".join(f"{mark}{line}\n" for line in told))
    assert all(f"\n{mark}{line}\n" in out for line in told)
    assert err == ""
    _, out, err = run("inspect", "--json", "--bits", bits)
    assert err == "".join(f"dccwire: {line}\n" for line in told)
    assert json.loads(out)


def test_inspect_reads_bits_from_standard_input(run, monkeypatch) -> None:
    """A line each."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("1111_1111_11\n0101\n"))
    status, out, _ = run("inspect", "--bits", "-")
    assert status == 1
    assert out.count("no bytes: no packet") == 2


def test_explain_separates_packets(run) -> None:
    """A blank line between two; status 1 if one is unwell."""
    status, out, _ = run("explain", "377443", "030407")
    assert status == 1
    assert "\n\n03 04 07: short 3: Reserved data=04\n" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("decode", "37744"), "odd number of hex digits in '37744'; two digits a byte"),
        (("decode", "37 7g 43"), "position 4: 'g' is no hex digit"),
        (("decode", "37 0x 43"), "'x' is no hex digit"),
        (("decode", "37 1x43"), "'x' is no hex digit"),
        (("decode", "0x3 0x90"), "position 2: odd number of hex digits in '3'; two digits a byte"),
        (("decode", "3,90"), "position 0: odd number of hex digits in '3'; two digits a byte"),
        (("decode", "37;74;43"), "';' is no hex digit"),
        (("decode", ""), "no bytes; as in '37 74 43'"),
        (("explain", "zz"), "position 0: 'z' is no hex digit"),
        (("decode", "00110111", "01110100"), "look like bits; 'inspect --bits' and"),
        (("decode", "00110111 01110100"), "look like bits"),
        (("inspect", "00110111_01110100"), "look like bits"),
        (("explain", "00110111"), "look like bits"),
        (("inspect", "--bits", "0102"), "position 3: '2' is no bit; write 0 and 1"),
        (("inspect", "--bits", " _"), "no bits; write 0 and 1"),
        (("encode", "short 3"), "no colon after the address; as in 'idle: Idle'"),
        (("encode", '{"address": 3}'), "packet: an object with address and instructions"),
        (("encode", "{"), "packet: JSON ("),
        (
            ("encode", '{"address": {"kind": "short", "number": 300}, "instructions": []}'),
            "short address: 1 to 127 expected, 300 given",
        ),
        (("encode", "short 3: Idle"), "Idle cannot be sent to short 3; its packets go to"),
        ((), "the following arguments are required: COMMAND; see dccwire --help"),
        (("decode",), "the following arguments are required: HEX; see dccwire decode --help"),
        (
            ("decode", "FF00FF", "--bits"),
            "unrecognized arguments: --bits; see dccwire decode --help",
        ),
        (("encade", "x"), "invalid choice: 'encade'"),
    ],
)
def test_what_cannot_be_used_is_one_line_and_status_2(run, arguments, words) -> None:
    """On standard error: what, where, what would help; nothing else is printed."""
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert err.startswith("dccwire: ")
    assert err.count("\n") == 1


def test_nothing_is_printed_before_all_arguments_are_understood(run) -> None:
    """A wrong second packet keeps the first from being printed."""
    assert run("encode", "idle: Idle", "short 3")[:2] == (2, "")
    assert run("decode", "377443", "FF00F")[:2] == (2, "")


def test_packets_are_read_from_their_text_wherever_bytes_are(run) -> None:
    """explain, inspect and decode take what encode takes; a missing colon is told as such."""
    status, out, _ = run("explain", "short 3: HardReset")
    assert (status, out.splitlines()[0]) == (0, "03 01 02: short 3: HardReset")
    assert run("decode", "short 3 HardReset")[2].startswith(
        "dccwire: 'short 3 HardReset', position 7: no colon after the address"
    )


def test_all_types_can_be_listed(run) -> None:
    """Names, fields, clauses; without packets encode says that it can."""
    status, out, _ = run("encode", "--types")
    assert status == 0
    assert "HardReset: no fields [S-9.2.1 §C, Hard Reset]" in out.splitlines()
    assert "Reserved: data (hex digits, two a byte)" in out.splitlines()
    assert max(map(len, out.splitlines())) <= 80
    assert run("encode", "--types", "HardReset", "Idle")[1].splitlines() == [
        "HardReset: no fields [S-9.2.1 §C, Hard Reset]",
        "Idle: no fields [S-9.2 §B, Idle]",
    ]
    status, out_, err = run("encode", "--types", "HardRest")
    assert (status, out_) == (2, "")
    assert "no instruction 'HardRest'; near it: HardReset" in err
    for form in dccwire.formats.FORMATS:
        assert f"{form.cls.__name__}: " in out
    assert "--types lists what there is" in run("encode")[2]


def test_version_and_help(run) -> None:
    """The version stands alone; the help names the commands and the caution."""
    assert run("--version") == (0, f"dccwire {dccwire.__version__}\n", "")
    status, out, _ = run("--help")
    assert status == 0
    for word in ("decode", "encode", "inspect", "explain", "packets", "check", "compose"):
        assert word in out
    assert "safety device" in out


@pytest.mark.parametrize(
    "stdin",
    [None, io.TextIOWrapper(io.BytesIO(b"\xff\xfe"), encoding="utf-8")],
    ids=["none", "odd"],
)
def test_standard_input_that_cannot_be_read(run, monkeypatch, stdin) -> None:
    """Closed, or no UTF-8: one line, status 2."""
    monkeypatch.setattr(sys, "stdin", stdin)
    status, out, err = run("decode", "-")
    assert (status, out) == (2, "")
    assert err.startswith("dccwire: standard input: cannot be read (")


def test_a_refused_packet_is_told_without_standard_output(monkeypatch, capsys) -> None:
    """There is nothing to print; the status stays 1."""
    monkeypatch.setattr(sys, "stdout", None)
    assert main(["decode", "ff00fe"]) == 1
    monkeypatch.setattr(sys, "stdin", io.StringIO("ff00fe\n"))
    assert main(["decode", "-"]) == 1
    assert capsys.readouterr().err.count("error byte: FF expected, FE given") == 2


def test_standard_output_that_cannot_be_written(run, monkeypatch, capsys) -> None:
    """Closed, or full: one line, status 2; without standard error silence."""
    monkeypatch.setattr(sys, "stdout", None)
    assert main(["decode", "ff00ff"]) == 2
    assert capsys.readouterr().err == "dccwire: cannot be written (standard output is closed)\n"
    monkeypatch.setattr(sys, "stderr", None)
    assert main(["decode", "ff00ff"]) == 2


def test_huge_input_is_refused_in_one_line(run) -> None:
    """Thousands of digits, deep JSON, half a megabyte of anything."""
    for arguments in (
        ("encode", f"short {'9' * 5000}: HardReset"),
        ("encode", f"short 3: FactoryTest d={'9' * 5000}"),
        ("encode", '{"a":' + "[" * 100_000),
        ("encode", '{"a":' + "[" * 50_000 + "]" * 50_000 + "}"),
        ("encode", "[" * 50_000 + "]" * 50_000),
        ("encode", '{"address":{"kind":"short","number":' + "9" * 5000 + "}}"),
        ("encode", '{"address":{"kind":"short","number":' + "9" * 4000 + '},"instructions":[]}'),
        ("encode", '{"' + "x" * 500_000 + '":1,"address":3,"instructions":[]}'),
        ("encode", "short 3: HardReset " + "x" * 500_000 + "=1"),
        ("encode", "x" * 500_000 + ": HardReset"),
        ("encode", "short 3: " + "X" * 500_000),
        ("decode", "x" * 500_000),
        ("decode", "F" * 499_999),
        ("x" * 500_000,),
        ("explain", "--bits", "2" * 500_000),
    ):
        status, out, err = run(*arguments)
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert len(err) < 1100


@pytest.mark.parametrize("depth", [10, 300, 900, 50_000])
def test_values_nested_deeply_are_refused_in_one_line(run, depth) -> None:
    """Whether the JSON reader, the packet or the message is the first that cannot follow."""
    deep = "[" * depth + "]" * depth
    for text in (f'{{"address":{deep},"instructions":[]}}', f'{{"instructions":{deep}}}'):
        status, out, err = run("encode", text)
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert len(err) < 400


def test_consoles_that_show_only_ascii_get_ascii() -> None:
    """Section signs and the like are spelled; anything else is escaped."""
    raw = io.BytesIO()
    console = io.TextIOWrapper(raw, encoding="ascii")
    say("S-9.2 §A, 3 µs, Gleis ä", console)
    console.flush()
    assert raw.getvalue() == b"S-9.2 section A, 3 us, Gleis \\xe4\n"


def test_the_module_is_the_command() -> None:
    """`python -m dccwire` runs it, with its exit status."""
    for arguments, status in ((["decode", "ff00ff"], 0), (["decode", "ff00fe"], 1)):
        done = subprocess.run([sys.executable, "-m", "dccwire", *arguments], capture_output=True)
        assert done.returncode == status
    assert done.stdout == b""


def test_the_module_runs_in_this_process_too(monkeypatch, capsys) -> None:
    """The same as the script that the installation makes."""
    monkeypatch.setattr(sys, "argv", ["dccwire", "decode", "ff00ff"])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(Path(dccwire.__file__).with_name("__main__.py")), run_name="__main__")
    assert ended.value.code == 0
    assert capsys.readouterr().out == "idle: Idle\n"


def test_a_closed_pipe_ends_quietly(run, monkeypatch, tmp_path) -> None:
    """As with `head`: no traceback, status 0, and nothing is flushed into the pipe later."""
    code = (
        "import os, sys; from dccwire.cli import main; r, w = os.pipe(); os.close(r); "
        "sys.stdout = os.fdopen(w, 'w'); sys.exit(main(['explain', '377443']))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")

    def broken(*_: object) -> None:
        raise BrokenPipeError

    monkeypatch.setattr("dccwire.cli.words.say", broken)
    with open(tmp_path / "out", "w") as out:
        monkeypatch.setattr(sys, "stdout", out)
        assert main(["explain", "377443"]) == 0


def test_explain_draws_and_compares(run, tmp_path) -> None:
    """Files for one packet alone; the exit status is 1 where either is not well."""
    svg, html = tmp_path / "a.svg", tmp_path / "a.html"
    status, out, err = run("explain", "377443", "--svg", str(svg), "--html", str(html))
    assert (status, err) == (0, "")
    assert out == run("explain", "377443")[1]
    assert svg.read_text("utf-8") == dccwire.explain(bytes.fromhex("377443")).svg()
    assert html.read_text("utf-8") == dccwire.explain(bytes.fromhex("377443")).html()
    assert "halves us" in run("explain", "377443", "--half-bits")[1]
    told = run("explain", "377443", "--against", "37", "75", "42", "--html", str(html))
    assert told[0] == 0
    both = dccwire.difference(bytes.fromhex("377443"), bytes.fromhex("377542"))
    assert html.read_text("utf-8") == both.html()
    assert run("explain", "377443", "--half-bits", "--html", str(html))[0] == 0
    assert "halves us" in html.read_text("utf-8")
    narrow = run("explain", "377443", "--width", "44")[1]
    assert 40 < max(map(len, narrow.splitlines())) <= 44
    assert "bits 3-0: speed=4, speed=5" in told[1]
    assert run("explain", "377443", "--against", "377543")[0] == 1
    bits = "1" * 14 + "0" + "0".join(f"{one:08b}" for one in bytes.fromhex("377443")) + "1"
    assert run("explain", "--bits", bits, "--against", bits)[1].splitlines()[2:4] == [
        "no bit of the bytes differs",
        "",
    ]
    other = f"{bits[:23]}1{bits[24:-1]}0"
    told = run("explain", "--bits", bits, "--against", other)[1]
    assert "start bit of byte 1: 0, 1\npacket end bit: 1, 0\n" in told
    for option in (["--half-bits"], ["--svg", str(svg)]):
        status, _, err = run("explain", "377443", *option, "--against", "377542")
        assert (status, err.split(":")[1]) == (2, f" {option[0]}")
    status, _, err = run("explain", "377443", "377542", "--svg", str(svg))
    assert (status, err) == (
        2,
        f"dccwire: packets: one for {svg} expected, 'more than one' given\n",
    )
    status, _, err = run("explain", "377443", "--html", str(tmp_path / "none" / "a.html"))
    assert status == 2
    assert err.endswith("No such file or directory; check the path and the folder\n")


@pytest.mark.parametrize(
    ("command", "text"),
    [
        (["cv"], '{"cvs": {"29": 6}}'),
        (["cv"], "cv,value\n29,6\n"),
        (["drive"], "0 add short 3 steps=28\n"),
        (["duration", "--plan"], "idle: Idle\n"),
        (["consist"], 'consist = 9\n[[unit]]\naddress = "short 3"\nposition = "lead"\n'),
    ],
)
def test_a_mark_at_the_begin_of_a_file_is_no_part_of_it(run, tmp_path, command, text) -> None:
    """Some editors put it there; what a file says is the same without."""
    path = tmp_path / "given.txt"
    path.write_text(text, "utf-8")
    expected = run(*command, str(path))
    assert expected[0] == 0
    path.write_text(text, "utf-8-sig")
    assert run(*command, str(path)) == expected


def test_nor_of_the_lines_of_standard_input(run, monkeypatch) -> None:
    """Of the first line alone."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("\ufeff37 74 43\n37 74 43\n"))
    status, out, err = run("decode", "-")
    assert (status, err, out.count("short 55")) == (0, "", 2)
    monkeypatch.setattr(sys, "stdin", io.StringIO("37 74 43\n\ufeff37 74 43\n"))
    assert run("decode", "-")[0] == 1
