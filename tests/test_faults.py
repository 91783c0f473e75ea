"""Faults and conditions that are planted by name: where they stand, and what is refused."""

from __future__ import annotations

import doctest
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire.errors import FieldError
from dccwire.faults import PLANTINGS, Planting, plant, plantings_in_words
from dccwire.faults.planting import declare, unseen
from dccwire.plan import read_plan
from dccwire.synthesis import Sending, synthesize
from refusals import refused

IDLE = Sending(bytes.fromhex("FF00FF"))
SPEED = Sending(bytes.fromhex("036063"))
PLAN = [IDLE, SPEED] * 4
Run = Callable[..., tuple[int, str, str]]


def test_nothing_planted_is_the_signal_itself() -> None:
    """All options are those of `synthesize`."""
    how = {"start_ns": 7_000, "jitter_ns": 300, "pulses_per_second": 20, "seed": 5}
    planted = plant(PLAN, sampling_ns=100, **how)
    assert (planted.edges, planted.marks) == ([*synthesize(PLAN, sampling_ns=100, **how)], ())


@pytest.mark.parametrize("name", PLANTINGS)
def test_everything_is_planted_the_same_each_time(name: str) -> None:
    """At every place, edges run forward, something changes, and the mark is within the signal."""
    for place in (0, 3, len(PLAN) - 1):
        planted = plant(PLAN, f"{name}@{place}", start_ns=10_000, seed=place)
        assert planted == plant(PLAN, f"{name}@{place}", start_ns=10_000, seed=place)
        edges = planted.edges
        assert edges == sorted(edges)
        grid = name == "sampled-at-1-MHz"  # on which all of this stands already
        assert grid or edges != list(synthesize(PLAN, start_ns=10_000))
        ((marked, begin, end),) = planted.marks
        assert marked == name
        assert 10_000 <= begin < end


def test_places_are_those_of_the_plan() -> None:
    """Whatever is put in before them; marks tell where each packet stands."""
    planted = plant(PLAN, "short-half@5", "reset@2", "wrong-error-byte@1")
    length = [sum(one.lengths()) for one in PLAN]
    names = [mark.name for mark in planted.marks]
    assert names == ["wrong-error-byte", "reset", "short-half"]
    wrong, reset, short = planted.marks
    assert wrong.begin_ns == length[0]
    assert reset.begin_ns == wrong.end_ns
    assert short.begin_ns == reset.end_ns + sum(length[2:5])
    assert short.end_ns - short.begin_ns == length[5] - 5_000


def test_the_middle_is_taken_without_a_place() -> None:
    """Unless the fault has a place of its own: power comes on at the begin."""
    assert plant([IDLE] * 5, "short-preamble") == plant([IDLE] * 5, "short-preamble@2")
    assert plant([IDLE] * 5, "early-operation") == plant([IDLE] * 5, "early-operation@0")


def test_at_one_place_they_are_planted_in_turn() -> None:
    """Both stand there."""
    planted = plant([IDLE] * 3, "short-preamble@1", "wrong-error-byte@1")
    wanted = Sending(bytes.fromhex("FF00A5"), 12)
    assert planted.edges == list(synthesize([IDLE, wanted, IDLE]))
    planted = plant([IDLE] * 3, "short-half@1", "short-zero@1")
    wanted = Sending(IDLE.data, other_halves=((-1, 53_000), (0, 93_000)))
    assert planted.edges == list(synthesize([IDLE, wanted, IDLE]))


@pytest.mark.parametrize(
    ("wish", "bound", "hint"),
    [
        ("short-haf", "a known name", "perhaps short-half"),
        ("x", "a known name", "as --list-faults tells them"),
        *[(f"reset@{at}", "NAME@PLACE, a packet of 0 to 7", "") for at in ("8", "-1", "", "x")],
    ],
)
def test_what_cannot_be_planted_is_refused(wish: str, bound: str, hint: str) -> None:
    """With the nearest name, or the places that there are."""
    with refused(FieldError, field="fault", bound=bound, value=wish, hint=hint):
        plant(PLAN, wish)


def test_other_refusals() -> None:
    """Nothing to plant in; a name that is taken."""
    with refused(FieldError, field="sendings"):
        plant([], "reset")
    with refused(FieldError, field="planting", value="reset"):
        declare(Planting("reset", "again"))


@given(st.lists(st.integers(1, 50), min_size=1, max_size=30), st.integers(0, 400))
def test_without_signal_a_rail_rests(steps: list[int], start: int) -> None:
    """The level is that before the first edge within the window, and what it was outside."""
    edges = [sum(steps[: at + 1]) for at in range(len(steps))]
    stop = start + 60
    seen = unseen(edges, start, stop)

    def high(times: list[int], at: int) -> bool:
        return sum(one <= at for one in times) % 2 == 1

    for at in range(edges[-1] + 100):
        assert high(seen, at) is (high(edges, at) if not start <= at < stop else False), at


def test_the_table_tells_what_each_is() -> None:
    """A row each, with the rule or the clause."""
    head, *rows = plantings_in_words()
    assert [row[0] for row in rows] == list(PLANTINGS)
    for row, one in zip(rows, PLANTINGS.values(), strict=True):
        assert row[2] == (f"rule {one.rule}" if one.rule else f"nothing ({one.clause})")
        assert len(row) == len(head)
        assert bool(one.rule) is not bool(one.clause)


def test_compose_plants_and_lists(run: Run, tmp_path: Path) -> None:
    """The option may be given again; the list stays within 80 columns."""
    plan, made = tmp_path / "a.plan", tmp_path / "a.csv"
    plan.write_text("repeat=20 | idle: Idle\n")
    options = ("--fault", "short-preamble@3", "--fault", "wrong-error-byte@5", "--sampling", "0.1")
    assert run("compose", str(plan), str(made), *options) == (0, "", "")
    status, out, _ = run("check", str(made), "--rules", "14-16")
    assert (status, "3 rules: 2 fail, 1 pass" in out.splitlines()) == (1, True)
    status, out, err = run("compose", str(plan), str(made), "--fault", "nonsense")
    assert (status, out, len(err.splitlines())) == (2, "", 1)
    status, out, err = run("compose", "--list-faults")
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert all(f"\n{name} " in out for name in PLANTINGS)


def test_a_half_of_a_plan_has_its_length() -> None:
    """Counted from the packet start bit; those before it are of the preamble."""
    (sending,) = read_plan(["half:0=96.5 half:-1=57 | FF 00 FF"])
    assert sending.other_halves == ((0, 96_500), (-1, 57_000))
    right, made = IDLE.lengths(), sending.lengths()
    assert (made[27], made[28]) == (57_000, 96_500)
    assert (made[:27], made[29:]) == (right[:27], right[29:])
    for place, expected in ((-29, "-28 to 55"), (56, "-28 to 55")):
        with refused(FieldError, field="other_halves", bound=expected, value=place):
            Sending(IDLE.data, other_halves=((place, 1),))
    with refused(FieldError, field="other_halves", value=0):
        Sending(IDLE.data, other_halves=((0, 0),))


def test_the_examples_of_the_page_run() -> None:
    """Those in Python; those for the console are run with all others."""
    page = Path(__file__).parent.parent / "docs" / "faults.md"
    found = doctest.testfile(str(page), module_relative=False)
    assert found.attempted >= 4
    assert not found.failed
