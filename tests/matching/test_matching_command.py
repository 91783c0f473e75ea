"""The command `dccwire match`: what it prints and writes, and how it ends."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from dccwire.cv import from_csv as set_from_csv
from dccwire.matching import from_csv, from_toml, match
from dccwire.plan import read_plan

EXAMPLE = Path(__file__).parents[2] / "vectors/measurements/harbour-pair.toml"
MATCHING = match(from_toml(EXAMPLE.read_text("utf-8")))
HO = "--scale", "87"
CSV = "address,step,direction,seconds\n" + "".join(
    f"short {unit},{step},forward,{1000 / (unit * step)}\n" for unit in (3, 5) for step in (1, 28)
)


def test_the_report_is_printed(run) -> None:
    """Of the file, with the shape that is asked for."""
    assert run("match", str(EXAMPLE)) == (0, MATCHING.text() + "\n", "")
    mean = match(from_toml(EXAMPLE.read_text("utf-8")), "mean")
    assert run("match", "--shape", "mean", str(EXAMPLE)) == (0, mean.text() + "\n", "")


def test_json_is_one_object_with_all_of_the_result(run) -> None:
    """Speeds by step, and for each unit its points, trims, CVs and runs."""
    status, out, err = run("match", "--json", str(EXAMPLE))
    assert (status, out.count("\n"), err) == (0, 1, "")
    found = json.loads(out)
    assert (found["scale"], found["shape"]) == (87, "straight")
    assert (found["lowest_by"], found["highest_by"]) == ("short 3", "short 3")
    for key, speeds in (
        ("target_mm_s", MATCHING.target),
        ("before_mm_s", MATCHING.before),
        ("remaining_mm_s", MATCHING.remaining),
        ("remaining_scale_km_h", MATCHING.remaining_scale_km_h),
    ):
        assert found[key] == list(speeds)
    for plain, one in zip(found["units"], MATCHING.units, strict=True):
        assert plain["address"] == one.unit.name
        assert plain["points"] == list(one.table.points)
        assert (plain["forward_trim"], plain["reverse_trim"]) == (
            one.forward_trim,
            one.reverse_trim,
        )
        assert {int(cv): value for cv, value in plain["cvs"].items()} == dict(one.to_cvs())
        assert plain["runs"] == {
            run.direction: {"before_mm_s": list(run.before), "after_mm_s": list(run.after)}
            for run in one.runs
        }


def test_the_picture_and_the_sets_are_written(run, tmp_path: Path) -> None:
    """A folder that is not there is made, none above it; `cv --compare` reads the sets."""
    picture, folder = tmp_path / "a.svg", tmp_path / "sets"
    status, out, _ = run("match", str(EXAMPLE), "--svg", str(picture), "--csv", str(folder))
    assert (status, out) == (0, MATCHING.text() + "\n")
    assert picture.read_text("utf-8") == MATCHING.svg()
    assert sorted(one.name for one in folder.iterdir()) == ["long-3001.csv", "short-3.csv"]
    first, second = MATCHING.units
    assert set_from_csv((folder / "short-3.csv").read_text("utf-8")) == first.to_cvs()
    assert set_from_csv((folder / "long-3001.csv").read_text("utf-8")) == second.to_cvs()
    status, out, _ = run("cv", "--compare", *[str(folder / "long-3001.csv")] * 2)
    assert (status, out) == (0, "no differences\n")


def test_the_plan_writes_each_cv_twice_with_idle_packets_between(run) -> None:
    """It reads back as a plan; a CV 29 that is not known is told, not guessed."""
    status, out, _ = run("match", "--packets", str(EXAMPLE))
    assert status == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "# short 3: CV 29 is not known; its bit 4 must be 1, or no table counts" in out
    assert "long 3001: CV 29 is not known" not in out
    assert "changes every decoder at that address" in " ".join(out.split()).replace("# ", "")
    sent = [one.data for one in read_plan(out.splitlines())]
    writes = [packet for one in MATCHING.units for packet in one.packets_on_main()]
    assert sent[::2] == [bytes(packet) for packet in writes for _ in range(2)]
    assert set(sent[1::2]) == {b"\xff\x00\xff"}
    assert len(sent) == 4 * len(writes) - 1
    status, out, _ = run("match", "--packets", "--json", str(EXAMPLE))
    lines = [json.loads(line)["packet"]["bytes"] for line in out.splitlines()]
    assert [bytes.fromhex(line) for line in lines] == sent


def test_csv_is_read_with_its_scale(run, tmp_path: Path, monkeypatch) -> None:
    """By the name of the file, or from standard input by the option."""
    path = tmp_path / "log.CSV"
    path.write_text(CSV)
    expected = match(from_csv(CSV, scale=87, length_mm=1000)).text() + "\n"
    options = "--scale", "87", "--length-mm", "1000"
    assert run("match", str(path), *options) == (0, expected, "")
    monkeypatch.setattr(sys, "stdin", io.StringIO(CSV))
    assert run("match", "-", *options) == (0, expected, "")
    monkeypatch.setattr(sys, "stdin", io.StringIO(EXAMPLE.read_text("utf-8")))
    assert run("match", "-") == (0, MATCHING.text() + "\n", "")


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (("a.csv", CSV), "--scale: the N of 1:N beside CSV expected, nothing given"),
        (("a.csv", CSV, *HO), "line 2: length_mm: a length expected, nothing given"),
        (("a.toml", "scale = 87", *HO), "--scale: a key of the TOML instead expected"),
        (("a.toml", "scale = 87", "--length-mm", "9"), "--length-mm: a key of the TOML instead"),
        (("a.toml", "scale = 87\n[[unit]]\naddress = 3"), "line 3, unit[0].address: a text"),
        (
            ("a.csv", CSV.replace(",28,", ",1,"), *HO, "--length-mm", "9"),
            "readings of short 3 forward: two steps or more of rising speed expected, 1 given",
        ),
    ],
)
def test_what_cannot_be_used_ends_with_two(run, tmp_path: Path, given, message) -> None:
    """One line: file, line, what is wrong."""
    name, text, *options = given
    path = tmp_path / name
    path.write_text(text)
    status, out, err = run("match", str(path), *options)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(f"dccwire: {path}: {message}")


def test_a_file_that_is_not_there_and_a_folder_that_cannot_be_made(run, tmp_path: Path) -> None:
    """Each in one line."""
    status, _, err = run("match", str(tmp_path / "no.toml"))
    told = "No such file or directory; check the path and the folder"
    assert (status, err) == (2, f"dccwire: {tmp_path / 'no.toml'}: {told}\n")
    for option in ("--csv", "--svg"):
        path = tmp_path / "none" / "one"
        status, _, err = run("match", str(EXAMPLE), option, str(path))
        assert (status, err) == (2, f"dccwire: {path}: {told}\n")
        assert not path.parent.exists()
    (tmp_path / "taken").write_text("")
    status, _, err = run("match", str(EXAMPLE), "--csv", str(tmp_path / "taken"))
    assert (status, err) == (2, f"dccwire: {tmp_path / 'taken'}: File exists; name a folder\n")


def test_without_numpy_the_command_says_what_to_install(run, monkeypatch) -> None:
    """As the other commands that need it."""
    for name in [one for one in sys.modules if one.startswith("dccwire.matching")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "numpy", None)
    monkeypatch.delattr("dccwire.matching", raising=False)
    status, out, err = run("match", str(EXAMPLE))
    assert (status, out) == (2, "")
    assert err.startswith("dccwire: numpy is not installed; pip install 'dccwire[capture]'")
