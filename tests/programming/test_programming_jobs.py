"""Jobs: their parts add up to what the session itself sends, and are counted by hand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dccwire import Packet, ShortAddress
from dccwire.cv import CvSet, IndexedCv
from dccwire.programming import (
    Answer,
    Assumptions,
    Block,
    Cost,
    DirectCv,
    Job,
    PagedCv,
    Setup,
    blocks_of,
    conversation,
    reading_job,
    reading_time,
    time_on_wire,
    write_cvs,
    write_cvs_on_main,
    writing_job,
    writing_job_on_main,
)

OLD = CvSet({1: 3, 3: 12, 29: 6, 67: 10})
NEW = CvSet({1: 3, 3: 20, 17: 196, 18: 181, 29: 38, 67: 12, IndexedCv(16, 0, 257): 7})
SILENT = Assumptions(writes=False)


def parts(job: Job) -> dict[str, int]:
    """How many packets each part has."""
    return {part.name: part.cost.packets for part in job.parts}


@pytest.mark.parametrize("reach", [DirectCv, PagedCv])
@pytest.mark.parametrize(
    "setup", [Setup(check_page=False), Setup(power_on=False, check_page=False)]
)
def test_writing_takes_as_long_as_what_the_session_sends(reach, setup) -> None:
    """Packet by packet, to a decoder that answers nothing."""
    talk = conversation(write_cvs(OLD, NEW, reach, setup), lambda sent: Answer.SILENCE)
    sent = [sending for sending, _ in talk]
    assert writing_job(OLD, NEW, reach, setup, SILENT).total == time_on_wire(sent)


def test_the_parts_of_writing_by_direct_mode() -> None:
    """Resets 3, writes 5, recovery 6 (S-9.2.3 §E, Direct Mode): 14, or 11 where two are enough."""
    names = ["CV 3 = 20", "CV 67 = 12", "CV 31 = 16", "CV 32 = 0", "CV 257 = 7"]
    last = ["CV 17 = 196", "CV 18 = 181", "CV 29 = 38"]
    silent = writing_job(OLD, NEW, assumptions=SILENT)
    assert parts(silent) == {"power-on and start": 20} | dict.fromkeys([*names, *last], 14)
    heard = writing_job(OLD, NEW)
    assert parts(heard) == {"power-on and start": 20} | dict.fromkeys([*names, *last], 11)
    # Resets once more, two verifies, and a reset behind the one that is acknowledged.
    confirmed = writing_job(OLD, CvSet({3: 20}), confirm=True)
    assert parts(confirmed) == {"power-on and start": 20, "CV 3 = 20": 11 + 3 + 2 + 1}


def test_the_parts_of_writing_by_paged_mode() -> None:
    """A page is written and asked for where it changes; at the end the page is 1 again."""
    job = writing_job(CvSet(), CvSet({2: 9, 3: 20, 6: 30}), PagedCv, assumptions=SILENT)
    page = 3 + 5 + 6 + 3 + 2  # resets, writes, recovery, resets, and the verify that is heard
    assert parts(job) == {
        "power-on and start": 20,
        "CV 2 = 9": page + 14,
        "CV 3 = 20": 14,
        "CV 6 = 30": page + 14,
        "end": 14,
    }


def test_shares_add_up_to_all() -> None:
    """And a job of nothing has none."""
    job = writing_job(OLD, NEW)
    assert sum(map(job.share, job.parts)) == pytest.approx(1)
    nothing = writing_job(OLD, OLD)
    assert (nothing.parts, nothing.total) == ((), Cost(0, 0))
    assert nothing.share(job.parts[0]) == job.parts[0].cost.ns


def test_a_write_on_the_main_takes_two_packets_and_two_idles() -> None:
    """S-9.2.1 §C, and an idle behind each; as long as what the session sends."""
    job = writing_job_on_main(OLD, NEW.without(IndexedCv(16, 0, 257)), ShortAddress(3))
    assert set(parts(job).values()) == {4}
    assert job.parts[0].name == "short 3: cv=3 value=20"
    session = write_cvs_on_main(OLD, NEW.without(IndexedCv(16, 0, 257)), ShortAddress(3))
    talk = conversation(session, lambda sent: Answer.SILENCE)
    assert job.total == time_on_wire(sending for sending, _ in talk)


def test_reading_has_a_part_a_cv() -> None:
    """Together as `reading_time` has it; CVs of index pages behind their page."""
    values = CvSet({1: 3, 2: 255, 29: 38, IndexedCv(16, 0, 257): 7, IndexedCv(16, 1, 257): 8})
    job = reading_job(values)
    assert job.total == reading_time(values, blocks_of(values))
    assert [part.name for part in job.parts][1:3] == ["CV 1 = 3", "CV 2 = 255"]
    assert job.parts[-1].name == "index 16 1, CV 257 = 8"


def test_blocks_hold_neighbours_of_one_page() -> None:
    """In order, none twice."""
    keys = [1, 2, 4, IndexedCv(16, 0, 257), IndexedCv(16, 0, 258), IndexedCv(16, 1, 259)]
    found = blocks_of(keys)
    assert [(one.first, one.last, len(one.index_pages)) for one in found] == [
        (1, 2, 0),
        (4, 4, 0),
        (257, 258, 1),
        (259, 259, 1),
    ]
    assert [key for block in found for key in block.keys] == keys
    assert found[0] == Block(1, 2)


@pytest.fixture
def sets(tmp_path: Path) -> tuple[str, str]:
    """Two sets as files."""
    old, new = tmp_path / "old.csv", tmp_path / "new.csv"
    old.write_text("cv,value\n3,12\n29,6\n")
    new.write_text("cv,value\n3,20\n29,6\n67,10\n")
    return str(old), str(new)


def test_the_command_shows_modes_side_by_side(run, sets: tuple[str, str]) -> None:
    """Within 80 columns; the totals are those of the parts."""
    old, new = sets
    modes = "--mode", "direct", "--mode", "paged"
    status, out, err = run("duration", "--write", new, "--from", old, *modes)
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == f"writing {new} over {old}"
    assert max(map(len, lines[1:])) <= 80
    rows = {line[:30].strip(): line[30:].split() for line in lines[2:]}
    assert rows["CV 3 = 20"][0] == "11"
    assert rows["end"][0] == "11"  # paged alone
    assert rows["in all"][:3:2] == ["42", "100%"]
    assert run("duration", "--read", new, *modes)[1].splitlines()[0] == f"reading 3 CVs of {new}"
    assert run("duration", "--write", new, "--from", new)[1].splitlines()[1] == "nothing to send"
    longest = run("duration", "--write", new, "--confirm", "--most", "1")[1].splitlines()
    assert [line.split("  ")[0] for line in longest[3:5]] == ["power-on and start", "in all"]


def test_the_command_knows_the_main_plans_and_json(run, sets: tuple[str, str], tmp_path) -> None:
    """The same numbers as in Python."""
    old, new = sets
    out = run("duration", "--write", new, "--from", old, "--main", "short 3", "--json")[1]
    job = writing_job_on_main(CvSet({3: 12, 29: 6}), CvSet({3: 20, 29: 6, 67: 10}), ShortAddress(3))
    plain = json.loads(out)
    assert (plain["packets"], plain["ns"], plain["way"]) == (*job.total, "on the main")
    plan = tmp_path / "plan.txt"
    plan.write_text("repeat=3 gap=10 | idle: Idle\nidle: Idle\nshort 3: CvAccessShortForm "
                    "adjustment=acceleration value=5\n")  # fmt: skip
    rows = run("duration", "--plan", str(plan), "--json")[1]
    found = json.loads(rows)["parts"]
    idle = Packet.from_text("idle: Idle").duration_ns(14)
    assert found[0] == {"name": "FF 00 FF", "packets": 4, "ns": 4 * idle + 3 * 10_000_000}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ["--from", "x"],
            "duration: packets, --cvs, --decoder, --read, --write or --plan, one of them",
        ),
        (
            ["--cvs", "1", "--plan", "x"],
            "duration: packets, --cvs, --decoder, --read, --write or --plan",
        ),
        (["--plan", "x", "--main", "short 3"], "--main: --write beside it"),
        (["--plan", "x", "--from", "y"], "--from: --write beside it"),
        (["--cvs", "1", "--mode", "direct", "--mode", "paged"], "--mode: one, but for --read"),
        (["--read", "none.csv"], "none.csv: "),
    ],
)
def test_calls_that_cannot_be_used(run, words: list[str], said: str) -> None:
    """One line, which says what."""
    status, out, err = run("duration", *words)
    assert (status, out) == (2, "")
    assert err.startswith(f"dccwire: {said}")
    assert err.count("\n") == 1


def test_the_main_takes_a_locomotive(run, sets: tuple[str, str]) -> None:
    """No accessory."""
    status, _, err = run("duration", "--write", sets[1], "--main", "short 3", "--mode", "paged")
    assert (status, err) == (2, "dccwire: --mode: none beside --main expected, 'paged' given\n")
    status, _, err = run("duration", "--write", sets[1], "--main", "accessory 3")
    assert status == 2
    assert err.startswith("dccwire: --main: a short or a long address expected")
