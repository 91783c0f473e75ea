"""The command `dccwire cv` with a description, and with a set."""

import json
from pathlib import Path

import pytest
from described import SETUPS, SHIPPED, TEXT, quay

from dccwire import cv
from dccwire.cv import VALUE_TYPES
from dccwire.plan import read_plan


@pytest.fixture
def own(tmp_path: Path) -> list[str]:
    """The options that name the description for tests."""
    path = tmp_path / "quay.toml"
    path.write_text(TEXT, "utf-8")
    return ["--decoder", str(path)]


def test_values_are_explained_by_the_description(run, own: list[str]) -> None:
    """Bit by bit, as JSON, and CVs of index pages by their words, quoted or not."""
    expected = cv.describe(60, 165, quay()).text() + "\n"
    assert run("cv", *own, "60", "165") == (0, expected, "")
    assert (
        json.loads(run("cv", *own, "--json", "60", "165")[1])
        == cv.describe(60, 165, quay()).to_dict()
    )
    status, out, err = run("cv", *own, "index 16 3, CV 300", "1", "index 16 3, CV 301", "5")
    assert (status, err) == (0, "")
    assert out.endswith("= KeyF1 lamps=a sound=5\n")
    words = [
        "index",
        "16",
        "3,",
        "CV",
        "300",
        "1",
        "index",
        "",
        "16",
        "",
        "3,",
        "",
        "CV",
        "",
        "301",
        "5",
    ]
    assert run("cv", *own, *filter(None, words)) == (status, out, err)
    assert "key F1" not in run("cv", "index 16 3, CV 300", "1")[1]


def test_the_way_back_gives_what_the_command_reads(run, own: list[str]) -> None:
    """Fields that are not named stay as held, or at their defaults, which is told."""
    status, out, err = run("cv", *own, "60", "165", "LampCurrent", "current=3mA")
    assert (status, out.splitlines()[0], err) == (0, "60 133", "")  # 1000 0101
    status, out, err = run("cv", *own, "KeyF2 lamps=c")
    assert (status, out.splitlines()[0]) == (0, "index 16 3, CV 302 4 index 16 3, CV 303 50")
    assert "not named, so at their defaults: sound; to keep what a decoder holds" in err
    assert run("cv", *own, out.splitlines()[0])[1] == out.partition("\n\n")[2]
    plain = '{"type": "KeyF2", "sound": 9, "lamps": []}'
    assert run("cv", *own, plain)[1].startswith("index 16 3, CV 302 0 index 16 3, CV 303 9\n")
    held = ("index 16 3, CV 302", "7", "index 16 3, CV 303", "8", "KeyF2", "sound=0")
    assert run("cv", *own, *held)[1].startswith("index 16 3, CV 302 7 index 16 3, CV 303 0\n")
    message = "index 16 3, CV 302: none but those of KeyF1 expected"
    assert message in run("cv", *own, *held[:4], "index 16 3, CV 300 0 index 16 3, CV 301 0",
                          "KeyF1 sound=3")[2]  # fmt: skip


def test_types_are_listed_with_its_own_first(run, own: list[str]) -> None:
    """Or those that are named."""
    lines = run("cv", *own, "--types")[1].splitlines()
    names = [line.partition(":")[0] for line in lines if line[0] != " "]
    assert names == [*quay().types, *VALUE_TYPES]
    assert run("cv", *own, "--types", "Hours")[1] == "Hours: hours (0 to 65535h) [its leaflet]\n"


def test_a_set_is_shown_whole(run) -> None:
    """A file of CSV or JSON, whatever its case; with its description or without."""
    values = cv.from_csv((SETUPS / "harbour-sound.csv").read_text("utf-8"))
    own = cv.description_from_toml(SHIPPED.read_text("utf-8"))
    shown = cv.overview(values, own)
    path, options = str(SETUPS / "harbour-sound.csv"), ("--decoder", str(SHIPPED))
    assert run("cv", path, *options) == (0, shown.text() + "\n", "")
    assert all(len(line) <= 80 for line in shown.text().splitlines())
    assert shown.text().isascii()
    status, out, _ = run("cv", "--json", path, *options)
    assert status == 0
    assert [json.loads(line) for line in out.splitlines()] == [one.to_dict() for one in shown.lines]
    assert run("cv", path)[1] == cv.overview(values).text() + "\n"


def test_a_set_is_told_from_values_by_its_name(run, tmp_path: Path, monkeypatch) -> None:
    """Its ending, or that there is such a file; a number is a CV, and several words are none."""
    monkeypatch.chdir(tmp_path)
    for name in ("some", "SOME.CSV", "29"):
        (tmp_path / name).write_text("cv,value\n3,4\n")
    (tmp_path / "empty.json").write_text('{"cvs": {}}')
    assert run("cv", "some")[1].startswith("1 CV: ")
    assert run("cv", "SOME.CSV")[1].startswith("1 CV: ")
    assert run("cv", "empty.json", "--json") == (0, "", "")
    assert "a CV without its value" in run("cv", "29")[2]
    assert "no CV value 'some'" in run("cv", "some", "3")[2]
    told = "No such file or directory; check the path and the folder\n"
    assert run("cv", "none.csv") == (2, "", f"dccwire: none.csv: {told}")
    assert run("cv", "./none") == (2, "", f"dccwire: ./none: {told}")
    assert run("cv", ".") == (2, "", "dccwire: .: Is a directory; name a file inside it\n")
    (tmp_path / "bad.csv").write_text("cv,value\n3\n")
    assert run("cv", "bad.csv")[2].startswith("dccwire: bad.csv: '3', position 0: line 2: 2 colum")
    assert run("cv", "accessory.csv", "--accessory")[0] == 2
    (tmp_path / "accessory.csv").write_text("cv,value\n1,2\n9,0\n29,128\n")
    assert "address=1 -> 2" in run("cv", "accessory.csv", "--accessory")[1]


def test_sets_are_compared_and_planned_by_the_description(run, own, tmp_path: Path) -> None:
    """Names of its own; the plan tells what it writes, and can be read."""
    old, new = tmp_path / "old.csv", tmp_path / "new.json"
    old.write_text("cv,value\n60,165\n31,16\n32,0\n3,9\n")
    new.write_text(
        '{"cvs": {"60": 133}, "indexed": [{"high": 16, "low": 3, "cv": 301, "value": 5}]}'
    )
    sets = "--compare", str(old), str(new)
    told = [
        "CV 60: 165 -> 133 (lamp current): current=10: 7mA (bits 3-2 of it) -> 2: 3mA",
        "(bits 3-2 of it); current=10: 7mA (bits 1-0 of it) -> 2: 3mA (bits 1-0 of it)",
        "index 16 3, CV 301: none -> 5 (key F1): sound=5",
    ]
    assert run("cv", *own, *sets)[1].splitlines() == [
        "CV 3: 9 -> none (acceleration rate)",
        "CV 31: 16 -> none (index page)",
        "CV 32: 0 -> none (index page)",
        *told,
    ]
    status, out, err = run("cv", *own, *sets, "--packets", "short 3")
    assert (status, err) == (0, "")
    notes = [line[2:] for line in out.splitlines() if line[0] == "#"]
    assert notes[-3:] == told
    # 60, CV 32 of the page, 301, and CV 32 as it was: twice each, with an idle packet behind.
    written = [one.data for one in read_plan(out.splitlines()) if one.data[0] == 3]
    assert [(data[2] + 1, data[3]) for data in written[::2]] == [
        *((60, 133), (32, 3), (301 - 256, 5), (32, 0)),
    ]
    assert "lamp current" not in run("cv", *sets, "--packets", "short 3")[1]
    track = run("cv", *own, *sets, "--packets", "programming-track")[1]
    assert "DirectByteAccess operation=write cv=301 value=5" in track


def test_an_accessory_decoder_described_is_not_written_on_the_main(run, tmp_path: Path) -> None:
    """As with --accessory, which does not stand beside a description."""
    path = tmp_path / "gate.toml"
    path.write_text('name = "gate"\ndecoder = "accessory"')
    new = tmp_path / "new.csv"
    new.write_text("cv,value\n40,1\n")
    words = ("cv", "--decoder", str(path), "--compare", str(new), str(new))
    message = "programming-track for an accessory decoder expected"
    assert message in run(*words, "--packets", "short 3")[2]
    both = run("cv", "--accessory", "--decoder", str(path), "1", "2")
    assert both[0] == 2
    assert "not allowed with argument" in both[2]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (
            b'name = "quay"\n[[cv]]\nnumber = 29\nname = "x"\nlayout = "VVVVVVVV"',
            "line 3, cv[0].nu",
        ),
        (b'name = "quay\n', "line 1: TOML expected, 'name = \"quay' given; Illegal character"),
        (b"\xff", "is no UTF-8 text"),
        (None, "No such file or directory"),
    ],
)
@pytest.mark.parametrize("command", [("cv", "1", "2"), ("duration",)])
def test_a_description_that_cannot_be_used_is_one_line(
    run, tmp_path: Path, content: bytes | None, told: str, command: tuple[str, ...]
) -> None:
    """File, line and key; status 2."""
    path = tmp_path / "wrong.toml"
    if content is not None:
        path.write_bytes(content)
    status, out, err = run(*command, "--decoder", str(path))
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(f"dccwire: {path}: {told}")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["index 15 0, CV 257", "3"], "high: 16 to 255 expected, 15 given"),
        (["index 16 0, CV 256", "3"], "indexed cv: 257 to 512 expected, 256 given"),
        (["index 16 x, CV 257", "3"], "cv: a number such as 29, or words such as 'index 16 0, CV"),
        (["index 16 0, CV 257", "256"], "index 16 0, CV 257: 0 to 255 expected, 256 given"),
        (["index 16 0, CV 257", "2", "index 16 0, CV 257", "2"], "index 16 0, CV 257: one value"),
        (["index 16 0, CV 257"], "a CV without its value"),
        (
            ["index", "16"],
            "position 0: 'index' is no CV; a CV is its number, as in '29 6', or as in",
        ),
        (["29", "6", "index 16 0", "257", "5"], "position 5: 'index' is no CV"),
        (["CV", "60", "5"], "position 0: 'CV' is no CV"),
        (["cv60", "5"], "position 0: 'cv60' is no CV"),
    ],
)
def test_indexed_cvs_that_cannot_be_are_one_line(run, words: list[str], message: str) -> None:
    """With or without a description."""
    status, out, err = run("cv", *words)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert message in err
