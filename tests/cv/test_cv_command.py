"""The command `dccwire cv`: what it prints, and how it ends."""

import json
from pathlib import Path

import pytest

from dccwire.cv import VALUE_TYPES, DecoderKind, describe, explain_cvs
from dccwire.packet import Packet
from dccwire.plan import read_plan


def test_a_value_is_explained(run) -> None:
    """Bit by bit; pairs that belong together come together."""
    assert run("cv", "29", "38") == (0, describe(29, 38).text() + "\n", "")
    status, out, _ = run("cv", "17", "196", "3", "2", "18", "181")
    address, rate = explain_cvs({17: 196, 18: 181, 3: 2})
    assert (status, out) == (0, f"{address.text()}\n\n{rate.text()}\n")
    assert "= ExtendedAddress address=1205" in out
    assert "0.064 s at 28 steps" in out
    assert all(len(line) <= 80 for line in out.splitlines())


@pytest.mark.parametrize(
    ("words", "status"),
    [
        *[("17 196", 0), ("17 255", 1), ("1 72", 0), ("1 200", 1), ("50 200", 0)],
        *[("3 2 1 200", 1), ("1 200 --json", 1), ("29 134", 0), ("--accessory 1 200", 0)],
    ],
)
def test_a_value_that_its_format_refuses_is_not_well(run, words: str, status: int) -> None:
    """Half of a pair, what nobody describes, and what is of another decoder are no fault."""
    assert run("cv", *words.split())[::2] == (status, "")


def test_cv_107_and_108_hold_the_number_that_cv_8_sends_there(run) -> None:
    """S-9.2.2, CV 8 = 238; the next is reserved alone."""
    assert "CV 107, 108" in " ".join(run("cv", "8", "238")[1].split())
    for number in ("107", "108"):
        assert "if CV 8 is 238; else reserved" in " ".join(run("cv", number, "1")[1].split())
    assert "238" not in run("cv", "109", "1")[1]


def test_accessory_decoders_have_their_own_table(run) -> None:
    """`--accessory` chooses it."""
    expected = describe(29, 192, DecoderKind.ACCESSORY).text() + "\n"
    assert run("cv", "--accessory", "29", "192") == (0, expected, "")


def test_the_way_back_gives_the_numbers(run) -> None:
    """First as pairs that the command reads, then laid out."""
    status, out, _ = run("cv", "Configuration", "extended_addressing=yes", "speed_table=yes")
    assert (status, out.splitlines()[:2]) == (0, ["29 48", ""])
    assert run("cv", *out.splitlines()[0].split())[1] == out.partition("\n\n")[2]
    assert run("cv", "ExtendedAddress address=1205")[1].startswith("17 196 18 181\n\n")
    assert run("cv", "ConsistFunctions", "functions=F1,FL-forward")[1].startswith("21 1 22 1\n")
    table = "SpeedTable points=" + ",".join(map(str, range(28)))
    out = run("cv", table)[1]
    assert out.startswith("67 0 68 1 ")
    assert all(len(line) <= 80 for line in out.splitlines())


def test_fields_of_a_value_in_hand_are_changed(run) -> None:
    """What is not named stays as the pairs in front have it; all CVs of the value are needed."""
    status, out, err = run("cv", "29", "6", "Configuration extended_addressing=yes")
    assert (status, out.splitlines()[0], err) == (0, "29 38", "")
    assert run("cv", "29", "102", "Configuration speed_table=yes")[1].startswith("29 118\n")
    unquoted = ("29", "6", "Configuration", "extended_addressing=yes")
    for words in (unquoted, (" ".join(unquoted),), ("29 6", *unquoted[2:])):
        assert run("cv", *words) == (status, out, err)
    assert run("cv", "29 102") == run("cv", "29", "102")
    assert run("cv", "17", "196", "18", "181", "ExtendedAddress")[1].startswith("17 196 18 181\n")
    plain = '{"type": "ConsistAddress", "address": 5}'
    assert run("cv", "19", "201", plain)[1].startswith("19 133\n")
    for words, message in [
        (["3", "6", "Configuration speed_table=yes"], "CV 29: a value expected"),
        (["29", "6", "3", "6", "Configuration"], "CV 3: none but those of Configuration expected"),
        (["29", "134", "Configuration"], "CV 29: bit 7 = 0 expected, 134 given"),
        (["29", "6", "Configuration speed=yes"], "unknown field 'speed'"),
        (["29", "Configuration"], "a CV without its value"),
    ]:
        status, out, err = run("cv", *words)
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert message in err


def test_without_a_value_in_hand_the_other_bits_are_told(run) -> None:
    """On standard error, so that the output stays as it is."""
    _, _, err = run("cv", "Configuration extended_addressing=yes")
    assert err.startswith("dccwire: not named, so 0: direction_reversed, headlight_in_function_gro")
    assert err.endswith("put it first: cv 29 VALUE 'Configuration ...'\n")
    assert "not named, so 0: reversed;" in run("cv", '{"type": "ConsistAddress", "address": 3}')[2]
    assert "not named, so at their defaults: fl_rev" in run("cv", "OutputLocations fl_forward=2")[2]
    assert run("cv", "ExtendedAddress address=1205")[2] == ""


def test_types_are_listed_with_what_their_fields_allow(run) -> None:
    """Each that text names, and its clause."""
    status, out, _ = run("cv", "--types")
    assert (status, max(map(len, out.splitlines())) <= 80) == (0, True)
    out = " ".join(out.split())
    assert all(f"{name}: " in out for name in VALUE_TYPES)
    one = run("cv", "--types", "ExtendedAddress")[1]
    assert one == "ExtendedAddress: address (0 to 10239) [S-9.2.2, CV 17 and 18]\n"
    assert "no CV value 'Zzz'" in run("cv", "--types", "Zzz")[2]
    assert "ExtendedAddress: address (0 to 10239) [S-9.2.2, CV 17 and 18] " in out
    assert "SpeedTable: points (28 numbers from 0 to 255, joined by commas) [" in out
    assert "ConsistAddress: reversed (yes or no), address (0 to 127) [" in out
    assert (
        "PowerSourceConversion: sources (none, or some, joined by commas, of analog radio system-2"
        in out
    )


def test_json_goes_both_ways(run) -> None:
    """One object a line; the value inside is read again."""
    status, out, _ = run("cv", "--json", "19", "201", "50", "3")
    first, second = map(json.loads, out.splitlines())
    assert (status, first["cvs"], second["readings"]) == (0, {"19": 201}, [])
    value = json.dumps(first["readings"][0]["value"])
    assert json.loads(run("cv", "--json", value)[1]) == first
    assert run("cv", value)[1].startswith("19 201\n")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["0", "3"], "cv: 1 to 1024 expected, 0 given"),
        (["1025", "3"], "cv: 1 to 1024 expected, 1025 given"),
        (["29", "256"], "CV 29: 0 to 255 expected, 256 given"),
        (["29", "-"], "CV 29: 0 to 255 expected, '-' given"),
        (["9" * 5000, "3"], "cv: 1 to 1024 expected, '999"),
        (["3", "9" * 5000], "CV 3: 0 to 255 expected, '999"),
        (["2x", "1"], "cv: 1 to 1024 expected, '2x' given"),
        (["29", "1", "29", "2"], "CV 29: one value expected, 2 given"),
        (["29"], "'29', position 2: a CV without its value; expected are CV VALUE pairs"),
        ([], "'', position 0: no CV; expected are CV VALUE pairs"),
        (["ExtendedAddress", "address=10240"], "address: 0 to 10239 expected, 10240 given"),
        (["ExtendedAddress", "address=x"], "position 16: address=x; an integer expected"),
        (["ConsistFunctions", "functions=F29"], "functions=F29; a list of F1, F2, "),
        (["ExtendedAddress"], "field 'address' is missing; ExtendedAddress takes the fields"),
        (
            ["ExtendedAddress", "adress=3"],
            "unknown field 'adress'; ExtendedAddress takes the fields",
        ),
        (["ExtendedAddress", "address"], "'address': FIELD=VALUE expected"),
        (["ExtendedAddress", "address=3", "address=4"], "'address=4': given twice"),
        (["Configuratoin"], "no CV value 'Configuratoin'; near it: Configuration"),
        (["Zzz"], "no CV value 'Zzz'; 'dccwire cv --types' lists all"),
        (["{"], "value: JSON ("),
        (['{"type": "Nothing"}'], "value.type: a type of CV value expected, 'Nothing' given"),
        (['{"type": []}'], "value: an object with a type expected"),
        (['{"type": ' + "[" * 50000], "value: JSON that is not nested so deep expected"),
        (['{"type": NaN}'], "value: JSON (NaN is none) expected"),
        (['{"type": ' + "9" * 5000 + "}"], "value: JSON (a number of so many digits is none)"),
        (['{"type": "ExtendedAddress", "address": 1' + "0" * 18 + "}"], "address: 0 to 10239 exp"),
        (["Configuration", "x" * 100000 + "=1"], "unknown field 'xxx"),
        (["X" * 100000], "no CV value 'XXX"),
        (['{"type": "ExtendedAddress"}'], "value: the fields of ExtendedAddress expected"),
        (['{"type": "ExtendedAddress", "address": "3"}'], "address: an integer expected"),
        (["--packets", "short 3", "29", "6"], "--packets: --compare beside it expected"),
        (["--force", "7", "29", "6"], "--force: --packets beside it expected, [7] given"),
        (["--force", "x", "29", "6"], "argument --force: invalid int value: 'x'; see dccwire cv"),
        (["--types", "--compare", "a", "b"], "argument --compare: not allowed with argument --typ"),
        (["--compare", "a"], "argument --compare: expected 2 arguments; see dccwire cv --help"),
        (["--nothing"], "unrecognized arguments: --nothing; see dccwire"),
        (["29", "-5"], "CV 29: 0 to 255 expected, '-5' given"),
        (["29", "0x26"], "CV 29: 0 to 255 expected, '0x26' given"),
        (["29", ""], "'29', position 2: a CV without its value"),
        (["29=6"], "'29=6', position 4: a CV without its value"),
        (["29", "six"], "'29', position 2: a CV without its value"),
        (["29", "6", "configuration"], "no CV value 'configuration'; near it: Configuration, "),
        (["29", "6", "Configuration", "speed_table", "yes"], "'speed_table': FIELD=VALUE expected"),
    ],
)
def test_what_cannot_be_used_is_one_line_and_status_2(run, words, message: str) -> None:
    """On standard error: field, bound and value."""
    status, out, err = run("cv", *words)
    assert (status, out) == (2, "")
    assert err.startswith("dccwire: ")
    assert err.count("\n") == 1
    assert message in err
    assert len(err) < 600


@pytest.fixture
def sets(tmp_path: Path) -> list[str]:
    """Two files: a set as CSV, another as JSON."""
    (tmp_path / "old.csv").write_text("cv,value\n1,3\n29,6\n3,2\n")
    (tmp_path / "new.json").write_text(
        '{"cvs": {"1": 3, "29": 38, "17": 196, "18": 181},'
        ' "indexed": [{"high": 16, "low": 0, "cv": 257, "value": 5}]}'
    )
    return [str(tmp_path / "old.csv"), str(tmp_path / "new.json")]


def test_sets_are_compared(run, sets: list[str]) -> None:
    """A line a CV; JSON on demand; none is said, and is well."""
    assert run("cv", "--compare", *sets) == (
        0,
        "CV 3: 2 -> none (acceleration rate)\n"
        "CV 17: none -> 196 (extended address)\n"
        "CV 18: none -> 181 (extended address)\n"
        "CV 29: 6 -> 38 (configuration)\n"
        "index 16 0, CV 257: none -> 5 (indexed area)\n",
        "",
    )
    lines = run("cv", "--json", "--compare", *sets)[1].splitlines()
    assert json.loads(lines[3]) == {"cv": "29", "old": 6, "new": 38}
    indexed = {"high": 16, "low": 0, "cv": 257}
    assert json.loads(lines[4]) == {"cv": indexed, "old": None, "new": 5}
    assert run("cv", "--compare", sets[0], sets[0]) == (0, "no differences\n", "")
    assert run("cv", "--json", "--compare", sets[0], sets[0]) == (0, "", "")


def test_packets_that_turn_one_set_into_the_other(run, sets: list[str]) -> None:
    """A plan for the main or the programming track; the caution stands first."""
    status, out, _ = run("cv", "--compare", *sets, "--packets", "short 3")
    assert status == 0
    assert out.startswith("# Writing a CV on the main changes every decoder at that address.")
    sendings = list(read_plan(out.splitlines()))
    assert len(sendings) == 23
    lines = [line for line in out.splitlines() if not line.startswith("#")]
    assert (
        lines[:4] == ["short 3: CvAccessLongForm operation=write cv=31 value=16", "idle: Idle"] * 2
    )
    assert lines[1::2] == ["idle: Idle"] * 11
    assert lines[::4] == lines[2::4]
    assert [line.split("cv=")[1] for line in lines[::4]] == [
        "31 value=16",
        "32 value=0",
        "257 value=5",
        "17 value=196",
        "18 value=181",
        "29 value=38",
    ]
    out = run("cv", "--compare", *sets, "--packets", "programming-track")[1]
    assert "# The track is switched on with the first packet" in out
    lines = [line for line in out.splitlines() if not line.startswith("#")]
    reset = "broadcast: DigitalDecoderReset"
    assert lines[:4] == [
        f"repeat=20 preamble=20 | {reset}",
        f"repeat=3 preamble=20 | {reset}",
        "repeat=5 preamble=20 | service programming-track: DirectByteAccess operation=write "
        "cv=31 value=16",
        f"repeat=6 preamble=20 | {reset}",
    ]
    assert lines[1::3] == [f"repeat=3 preamble=20 | {reset}"] * 6
    assert lines[3::3] == [f"repeat=6 preamble=20 | {reset}"] * 6
    packets = [Packet.from_text(line.split(" | ")[1]) for line in lines[2::3]]
    assert [packet.instructions[0].cv for packet in packets] == [31, 32, 257, 17, 18, 29]
    out = run("cv", "--accessory", "--compare", *sets, "--packets", "programming-track")[1]
    assert "cv=17 value=196" in out


def test_plans_as_json(run, sets: list[str]) -> None:
    """An object a line, the same packets as the text, no comments."""
    for track in ("short 3", "programming-track"):
        call = "cv", "--compare", *sets, "--packets", track
        sendings = read_plan(run(*call)[1].splitlines())
        status, out, err = run(*call, "--json")
        assert (status, err) == (0, "")
        found = []
        for line in map(json.loads, out.splitlines()):
            data = bytes(Packet.from_dict(line["packet"]))
            found += [(data, line["preamble"])] * line["repeat"]
        assert found == [(one.data, one.preamble) for one in sendings]


def test_nothing_to_write_is_a_plan_of_the_caution_alone(run, sets: list[str]) -> None:
    """No power-on cycle for nothing."""
    out = run("cv", "--compare", sets[0], sets[0], "--packets", "programming-track")[1]
    assert {line[0] for line in out.splitlines()} == {"#"}
    assert list(read_plan(out.splitlines())) == []
    assert "switched on" not in out


def test_read_only_cvs_need_to_be_forced(run, tmp_path: Path) -> None:
    """By their number."""
    old, new = tmp_path / "old.csv", tmp_path / "new.csv"
    old.write_text("cv,value\n")
    new.write_text("cv,value\n8,8\n")
    options = ["cv", "--compare", str(old), str(new), "--packets", "programming-track"]
    status, _, err = run(*options)
    assert (
        status,
        "CV 8: no write expected, 8 given; it is read-only" in err,
    ) == (2, True)
    out = run(*options, "--force", "8")[1]
    assert "cv=8 value=8" in out
    assert "# 8 in CV 8 is a factory reset" in out
    new.write_text("cv,value\n8,9\n")
    assert "factory reset" not in run(*options, "--force", "8")[1]
    new.write_text("cv,value\n520,8\n")  # the old number of an accessory decoder's CV 8
    assert "# 8 in CV 8 is a factory reset" in run(*options, "--accessory", "--force", "520")[1]
    assert "factory reset" not in run(*options)[1]


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (["--packets", "accessory 3"], "address: a short or a long address expected"),
        (["--packets", "somewhere"], "no address kind 'somewhere'"),
        (
            ["--packets", "short 99"],
            "short 3 by CV 1 = 3 and CV 29 = 6 expected, 'short 99' given",
        ),
        (["--accessory", "--packets", "short 3"], "address: programming-track for an accessory"),
        (["29", "38"], "words beside --compare: none expected, '29 38' given"),
    ],
)
def test_calls_that_cannot_be_are_refused(run, sets: list[str], more, message: str) -> None:
    """Before anything is printed."""
    status, out, err = run("cv", "--compare", *sets, *more)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert message in err


def test_files_that_cannot_be_read_are_named(run, tmp_path: Path, sets: list[str]) -> None:
    """Missing, no text, or wrong inside: the file, the line, what is wrong."""
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("cv,value\n29,6\n29,7\n")
    binary = tmp_path / "binary.csv"
    binary.write_bytes(b"\xff\xfe\xff")
    for path, message in [
        (tmp_path / "none.csv", "No such file"),
        (binary, "is no UTF-8 text"),
        (wrong, "line 3: CV 29 again, first on line 2"),
    ]:
        status, out, err = run("cv", "--compare", sets[0], str(path))
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert message in err
        assert path.name in err


def test_help_carries_the_cautions(run, monkeypatch) -> None:
    """Where a reader learns to write CVs, within 80 columns."""
    monkeypatch.setenv("COLUMNS", "80")
    out = run("cv", "--help")[1]
    assert max(map(len, out.splitlines())) <= 80
    out = " ".join(out.split())
    assert "or both, to change the fields named: 29 6 Configuration speed_table=yes" in out
    assert "changes every decoder at that address" in out
    assert "limited in energy" in out
    assert "8 in CV 8 resets every CV to its factory value" in out
