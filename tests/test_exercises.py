"""Exercises: what is asked has one right answer, worked out here; wrong bits are pointed at."""

from __future__ import annotations

import io
from functools import reduce
from operator import xor
from pathlib import Path

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import decode
from dccwire.errors import FieldError
from dccwire.exercises import Ask, Exercise, Mark, exercise, exercises, worksheet, worksheet_page
from refusals import refused

SEEDS = st.integers(-(10**6), 10**6)


def plain(answer: str) -> str:
    """Without blanks."""
    return answer.replace(" ", "")


@given(SEEDS)
def test_the_error_byte_makes_the_exclusive_or_zero(seed: int) -> None:
    """S-9.2 §B; what is given are the bytes before it."""
    one = exercise(seed, Ask.ERROR_BYTE)
    before = bytes.fromhex(one.question.split("packet ")[1].rstrip("?"))
    assert reduce(xor, before) == int(one.answer, 16)


@given(SEEDS)
def test_a_frame_has_start_bits_and_an_end_bit(seed: int) -> None:
    """S-9.2 §A: a 0 before each byte, a 1 behind the last."""
    one = exercise(seed, "frame")
    sent = bytes.fromhex(one.question.split("when ")[1].split(" is sent")[0])
    assert plain(one.answer) == "".join(f"0{byte:08b}" for byte in sent) + "1"


@given(SEEDS)
def test_the_bits_asked_for_make_the_packet_that_was_told(seed: int) -> None:
    """With the address before them and the error byte behind, it is decoded to the same words."""
    one = exercise(seed, Ask.BITS)
    body = int(plain(one.answer), 2).to_bytes(len(plain(one.answer)) // 8)
    sent = bytes(one.packet)
    head = sent[: len(sent) - 1 - len(body)]
    packet = decode(head + body + bytes((reduce(xor, head + body),)), mode=one.packet.mode)
    assert f"'{packet}'" in one.question


@given(SEEDS)
def test_the_field_asked_for_is_in_the_packet_s_words(seed: int) -> None:
    """`NAME=ANSWER` stands among them."""
    one = exercise(seed, Ask.FIELDS)
    sent = bytes.fromhex(one.question.split("sent as ")[1].split(".")[0])
    words = str(decode(sent, mode=one.packet.mode)).split()
    assert f"{one.asked}={one.answer}" in words


@given(SEEDS, st.sampled_from(Ask))
def test_the_answer_is_right_and_nothing_else(seed: int, ask: Ask) -> None:
    """However it is spaced; a wrong one is told why."""
    one = exercise(seed, ask)
    assert one.mark(f"  {one.answer} \n").right
    assert one.mark("").told
    assert not one.mark("").right
    assert not one.mark("no such thing").right
    assert exercise(seed, ask) == one


@given(SEEDS, st.sampled_from([Ask.BITS, Ask.FRAME, Ask.ERROR_BYTE]), st.data())
def test_the_wrong_bit_is_pointed_at(seed: int, ask: Ask, data: st.DataObject) -> None:
    """By its number within the byte, 7 being sent first, or as what it is of the framing."""
    one = exercise(seed, ask)
    bits = plain(one.answer)
    if ask is Ask.ERROR_BYTE:
        bits = f"{int(bits, 16):08b}"
    at = data.draw(st.integers(0, len(bits) - 1))
    wrong = bits[:at] + "10"[int(bits[at])] + bits[at + 1 :]
    told = one.mark(f"{int(wrong, 2):02X}" if ask is Ask.ERROR_BYTE else wrong)
    assert not told.right
    assert "; " not in told.told
    assert told.told.split(", ")[-1].startswith(f"{bits[at]} is right") or ask is Ask.ERROR_BYTE
    if ask is Ask.FRAME:
        places = {0: "the start bit of byte 0", len(bits) - 1: "the packet end bit"}
        expected = places.get(at) or (f"bit {8 - at % 9} of byte {at // 9}" if at % 9 else "start")
        assert expected in told.told
    else:
        assert f"bit {7 - at % 8} " in told.told


def of(ask: Ask, text: str) -> Exercise:
    """The first exercise whose question has a text in it."""
    return next(one for seed in range(999) if text in (one := exercise(seed, ask)).question)


def test_what_is_no_answer_is_told_as_that() -> None:
    """Too few bits, letters for bits; functions in any order are right."""
    one = of(Ask.BITS, "FunctionGroupOne")
    assert one.mark("1001").told == "8 bits are expected, 4 given"
    assert one.mark("12").told == "0 and 1 expected, '12' given"
    told = of(Ask.ERROR_BYTE, "").mark("4").told
    assert told == "two hex digits or eight bits expected, '4' given"
    two = next(
        one
        for seed in range(999)
        if "," in (one := exercise(seed, Ask.FIELDS)).answer and one.asked == "functions"
    )
    assert two.mark(",".join(reversed(two.answer.split(",")))).right
    assert two.mark(two.answer.replace(",", " , ")).right
    told = of(Ask.FIELDS, "FunctionGroupOne").mark("none").told
    assert "byte 1, bit 4 to 0 (DDDDD): functions=" in told
    assert "; none would be 10000000: bit" in told
    assert two.mark("F9") == Mark(
        False,
        "none, or some, joined by commas, of F1 F2 F3 F4 FL expected, 'F9' given",
        readable=False,
    )
    active = next(
        one for seed in range(999) if (one := exercise(seed, Ask.FIELDS)).asked == "active"
    )
    other = {"yes": "no", "no": "yes"}[active.answer]
    assert active.mark(other).told == f"byte 1, bit 3 (C): active={active.answer}"


@given(SEEDS, st.integers(0, 255))
def test_an_error_byte_is_marked_alike_in_hex_and_in_bits(seed: int, byte: int) -> None:
    """With `0x` or without, in one group or two."""
    one = exercise(seed, Ask.ERROR_BYTE)
    mark = one.mark(f"{byte:02X}")
    assert mark.right is (byte == int(one.answer, 16))
    for same in (
        f"0x{byte:02x}",
        f"0X{byte:02X}",
        f"{byte:08b}",
        f"{byte >> 4:04b} {byte & 15:04b}",
    ):
        assert one.mark(same) == mark


def test_the_group_of_bits_with_a_digit_less_or_more_is_told() -> None:
    """Where blanks or underscores show as many groups as there are; else their sum alone."""
    one = of(Ask.FRAME, "")
    groups = one.answer.split()
    bits = len(plain(one.answer))
    short, long = groups[3][1:], groups[1] + "0"
    head = f"{bits} bits are expected, {bits - 1} given"
    assert one.mark(" ".join((*groups[:3], short, *groups[4:]))) == Mark(
        False, f"{head}; group 4, {short}, has 7 digits, 8 expected", readable=False
    )
    assert one.mark("_".join((groups[0], long, *groups[2:]))).told == (
        f"{bits} bits are expected, {bits + 1} given; group 2, {long}, has 9 digits, 8 expected"
    )
    assert one.mark(" ".join(groups[1:])).told == head
    assert one.mark("".join(groups)[1:]).told == head


def test_at_a_terminal_it_is_told_how_to_go_on_and_to_end(run, monkeypatch) -> None:
    """And nowhere else: what is piped is answers alone."""
    stdin = io.StringIO("")
    monkeypatch.setattr(stdin, "isatty", lambda: True)
    monkeypatch.setattr("sys.stdin", stdin)
    first, *_, last = run("practice")[1].splitlines()
    assert first == "an empty line goes on, the end of the input (Ctrl-D, on Windows Ctrl-Z) ends"
    assert last == "0 of 0 right, 5 not answered; another --seed than 1 sets others"
    monkeypatch.setattr(stdin, "isatty", lambda: False)
    assert run("practice")[1].startswith("1. ")


@pytest.mark.parametrize("option", ["--seed", "--count"])
@pytest.mark.parametrize("text", ["x", "1.5", "", "٣", "9" * 5000])
def test_what_is_no_whole_number_is_told_in_plain_words(run, option: str, text: str) -> None:
    """One line, status 2, no word of the language that this is written in."""
    status, out, err = run("practice", f"{option}={text}")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert f"argument {option}: a whole number expected, '{text[:9]}" in err


def test_a_bit_of_no_field_is_fixed() -> None:
    """And one of a field is told with it."""
    one = of(Ask.BITS, "SpeedAndDirection")
    bits = one.answer
    turned = ["10"[int(bit)] for bit in bits]
    assert "byte 1, bit 7 (fixed) is 1, 0 is right" in one.mark(turned[0] + bits[1:]).told
    assert "byte 1, bit 5 (D, forward=" in one.mark(bits[:2] + turned[2] + bits[3:]).told


def test_every_kind_comes_where_none_is_asked_for() -> None:
    """And every packet that there is to draw."""
    some = [exercise(seed) for seed in range(200)]
    assert {one.ask for one in some} == set(Ask)
    assert len({type(one.packet.instructions[0]) for one in some}) == 6


@pytest.mark.parametrize(
    ("arguments", "field"),
    [((1.0,), "seed"), ((1, "word"), "ask"), ((1, 3), "ask")],
)
def test_what_cannot_be_asked(arguments: tuple[object, ...], field: str) -> None:
    """A seed that is no whole number, a kind that does not exist."""
    with pytest.raises(FieldError, match=f"^{field}: "):
        exercise(*arguments)  # type: ignore[arg-type]


@pytest.mark.parametrize("count", [0, -1, 1.5, 1001, 10**9])
def test_no_sheet_of_nothing_and_none_without_end(count: float) -> None:
    """One exercise or more, and no more than the help says; refused before any is drawn."""
    with refused(FieldError, field="count", value=count, bound="1 to 1000"):
        exercises(1, count)  # type: ignore[arg-type]


def test_exercises_are_drawn_when_they_are_asked_for(run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first is printed before the second is drawn, of the most that there can be."""
    drawn = list[int]()

    def draw(seed: int, ask: object, *, number: int) -> Exercise:
        drawn.append(number)
        return exercise(seed, "fields", number=number)

    monkeypatch.setattr("dccwire.exercises.exercise", draw)
    monkeypatch.setattr("dccwire.cli.practice.say", lambda _: drawn.append(-1))
    assert run("practice", "--sheet", "--count", "1000")[0] == 0
    assert drawn == [one for number in range(1000) for one in (number, -1)]
    assert "up to 1000" in run("practice", "--help")[1]


def test_a_sheet_has_questions_and_another_one_the_solutions_too() -> None:
    """Numbered alike, within 80 columns; the page has both, valid."""
    asked, solved = worksheet(7, 12), worksheet(7, 12, solutions=True)
    for number in range(12):
        one = exercise(7, number=number)
        assert f"\n{number + 1}. " in f"\n{asked}"
        (task,) = (part for part in solved.split("\n\n") if part.startswith(f"{number + 1}. "))
        *question, answer = (line.strip() for line in task.splitlines())
        assert (" ".join(question), answer) == (f"{number + 1}. {one.question}", one.answer)
    assert max(map(len, (asked + "\n" + solved).splitlines())) <= 80
    page = worksheet_page(7, 12)
    html5lib.HTMLParser(strict=True).parse(page)
    assert page.count("<details>") == 12
    assert "<script" not in page


def test_the_command_asks_marks_and_counts(
    run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """All right is 0; an end before the last answer, or a wrong one, is 1."""
    answers = [exercise(1, "error-byte", number=number).answer for number in range(3)]
    words = "practice", "--ask", "error-byte", "--count", "3"
    for given_, status, last in (
        (answers, 0, "3 of 3 right; another --seed than 1 sets others"),
        ([*answers[:2], "00"], 1, "2 of 3 right; another --seed than 1 sets others"),
        (answers[:1], 1, "1 of 1 right, 2 not answered; another --seed than 1 sets others"),
        (
            [answers[0], "", "?", answers[2]],
            1,
            "2 of 2 right, 1 not answered; another --seed than 1 sets others",
        ),
        (["?", *answers], 0, "3 of 3 right; another --seed than 1 sets others"),
    ):
        monkeypatch.setattr("sys.stdin", iter([f"{one}\n" for one in given_]))
        found, out, err = run(*words)
        assert (found, out.splitlines()[-1], err) == (status, last, "")
    assert run(*words, "--sheet")[1] == worksheet(1, 3, "error-byte") + "\n"
    solved = worksheet(1, 3, "error-byte", solutions=True)
    assert run(*words, "--solutions")[1] == solved + "\n"
    path = tmp_path / "sheet.html"
    assert run(*words, "--html", str(path)) == (0, "", "")
    assert path.read_text("utf-8") == worksheet_page(1, 3, "error-byte")
    assert run("practice", "--ask", "words")[0] == 2


def test_one_bit_that_differs_is_told_as_one() -> None:
    """Of a number whose last bit is turned."""
    some = (exercise(seed, Ask.FIELDS) for seed in range(999))
    one = next(each for each in some if each.asked == "value")
    told = one.mark(str(int(one.answer) ^ 1)).told
    assert told.endswith(": bit 0 differs")
