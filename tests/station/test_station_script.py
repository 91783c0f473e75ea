"""A script: every wish is the call of its name, at its time, and every error has its place."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dccwire import (
    AccessoryAddress,
    BasicAccessory,
    LongAddress,
    Packet,
    ShortAddress,
)
from dccwire.errors import DccwireError, FieldError, PacketError, Reason, ShapeError, TextError
from dccwire.station import Station, perform
from refusals import refused

ENGINE, OTHER, CONSIST = LongAddress(1205), ShortAddress(3), ShortAddress(9)
SWITCH = Packet(AccessoryAddress(31), BasicAccessory(active=True, pair=0, output=1))
CREW, UNIT = ShortAddress(8), ShortAddress(4)
PREPARED = [
    "0 add long 1205 steps=128",
    "0 add short 3 steps=28",
    "0 couple short 8 short 4",
]


def prepared() -> Station:
    """A station that was told the lines above."""
    station = Station(new=False)
    station.add(ENGINE, steps=128)
    station.add(OTHER, steps=28)
    station.couple(CREW, UNIT)
    return station


WISHES: dict[str, Callable[[Station], object]] = {
    "add short 112 steps=14": lambda one: one.add(ShortAddress(112), steps=14),
    "remove short 3": lambda one: one.remove(OTHER),
    "drive long 1205 step=40 forward=no": lambda one: one.drive(ENGINE, step=40, forward=False),
    "drive short 3 forward=yes step=28": lambda one: one.drive(OTHER, step=28),
    "stop": lambda one: one.stop(),
    "stop short 3": lambda one: one.stop(OTHER),
    "on long 1205 FL F2 F28": lambda one: [one.switch(ENGINE, f) for f in ("FL", "F2", "F28")],
    "on long 1205 FL,F2, F28": lambda one: [one.switch(ENGINE, f) for f in ("FL", "F2", "F28")],
    "off long 1205 F0": lambda one: one.switch(ENGINE, "F0", on=False),
    "write short 3 cv=1024 value=255": lambda one: one.write(OTHER, cv=1024, value=255),
    "operate accessory 31: BasicAccessory active=yes pair=0 output=1": lambda one: one.operate(
        SWITCH
    ),
    "couple short 9 long 1205 short 3": lambda one: one.couple(CONSIST, ENGINE, OTHER),
    "uncouple short 8": lambda one: one.uncouple(CREW),
}


@pytest.mark.parametrize("wish", WISHES)
def test_a_wish_is_the_call_of_its_name(wish: str) -> None:
    """At 50 ms: what was sent before is the same, and so is all that comes of it until 200 ms."""
    lines = [*PREPARED, "", "  # a comment", f" 50.0  {wish}  ", "200 end"]
    station, expected, now = prepared(), list[Packet](), 0
    while now < 200_000_000:
        if now >= 50_000_000 and wish is not None:
            WISHES[wish](station)
            wish = None  # type: ignore[assignment] # it was told
        expected.append(station.next())
        now += expected[-1].duration_ns(14)
    assert [*perform(lines, new=False)] == expected
    assert "".join(map(str, expected)) != "".join(map(str, perform([*PREPARED, "200 end"])))


def test_packets_go_on_until_the_end() -> None:
    """What is sent when the end comes is the last."""
    idles = [str(one) for one in perform(["11.592 end", "", " # nothing more"], new=False)]
    assert idles == ["idle: Idle"] * 2  # of 5.796 ms: 31 ones and 11 zeros each
    assert len([*perform(["11.592001 end"], new=False)]) == 3
    assert [*perform(["0 end"])] == []


@pytest.mark.parametrize("line", ["20 stop", "5 end", "what comes then", "\0"])
def test_what_stands_behind_the_end_is_refused(line: str) -> None:
    """It would not be sent, and it may be a stop."""
    with refused(TextError, Reason.TEXT, text=line, position=0) as caught:
        [*perform(["10 end", "", line], name="shed.txt")]
    assert caught.value.problem == "behind the end, where nothing is sent"
    assert caught.value.__notes__ == ["line 3 of shed.txt"]


def test_without_an_end_packets_go_on_until_nothing_waits() -> None:
    """No wish is lost."""
    run = Packet.from_text("short 3: SpeedAndDirection forward=yes c=1 speed=4")
    lines = ["0 add short 3 steps=28", "1 drive short 3 step=6 forward=yes"]
    assert [*perform(lines, new=False)].count(run) == 2
    assert [*perform([])] == []
    resets = [str(one) for one in perform(lines)]
    assert resets[:20] == ["broadcast: DigitalDecoderReset"] * 20
    assert resets[20:30] == ["idle: Idle"] * 10
    assert resets[-1] == str(run)


def test_packets_come_before_later_lines_are_read() -> None:
    """A script may be told as it is written."""
    read = list[str]()

    def lines():
        for line in ("0 add short 3 steps=28", "10 stop", "20 end"):
            read.append(line)
            yield line

    packets = perform(lines(), new=False)
    assert bytes(next(packets))[0] == 3
    assert read == ["0 add short 3 steps=28", "10 stop"]


BAD_TEXTS: dict[str, tuple[int, str]] = {
    "add short 3 steps=28": (0, "no time in milliseconds"),
    "0": (0, "no time in milliseconds"),
    "-1 stop": (0, "no time in milliseconds"),
    "12345678 end": (0, "of seven digits or fewer"),
    "1.1234567 end": (0, "no time in milliseconds"),
    "1e3 end": (0, "no time in milliseconds"),
    "4.999 stop": (0, "4.999 ms, but the line above is at 5 ms"),
    "9 fly short 3": (2, "'fly' is no wish"),
    "9 STOP": (2, "'STOP' is no wish"),
    "9 add": (5, "1 address expected, 0 given"),
    "9 add short steps=28": (6, "1 address expected, 0 given"),
    "9 add tram 3 steps=28": (6, "no address kind 'tram'"),
    "9 add short \N{SUPERSCRIPT TWO} steps=28": (12, "one number expected"),
    "9 add short 3": (13, "nothing where steps=... is expected"),
    "9 add short 3 steps = 28": (14, "'steps = 28' where steps=... is expected"),
    "9 add short 3  steps=28 steps=28": (15, "'steps=28 steps=28' where"),
    "9 remove short 3 now": (17, "'now' where nothing more is expected"),
    "9 drive long 1205 1205": (18, "'1205' where step=... [forward=...] is expected"),
    "9 drive short 3 forward=yes": (16, "'forward=yes' where step=... [forward=...] is expected"),
    "9 stop short 3 long 5": (7, "0 to 1 address expected, 2 given"),
    "9 stop now": (7, "'now' where nothing more is expected"),
    "9 on FL": (5, "1 address expected, 0 given"),
    "9 on short 3": (12, "no function"),
    "9 on short 3 , ,": (16, "no function"),
    "9 off short 3 short 4 FL": (6, "1 address expected, 2 given"),
    "9 couple short 9": (9, "2 to 127 addresses expected, 1 given"),
    "9 couple short 9 tram 4": (17, "no address kind 'tram'"),
    "9 uncouple short 9 short 3": (11, "1 address expected, 2 given"),
    "9 operate": (9, ""),
    "9 operate accessory x: BasicAccessory": (19, "one number expected"),
    "9 write short 3 value=1 cv=1 cv=2": (16, "'value=1 cv=1 cv=2' where cv=... value=... is"),
    "9 end short 3": (6, "0 addresses expected, 1 given"),
    "9 end now": (6, "'now' where nothing more is expected"),
}


@pytest.mark.parametrize("line", BAD_TEXTS)
def test_a_line_that_cannot_be_read_is_told_with_its_place(line: str) -> None:
    """The number of the line as a note, the position within it, and a hint that is not empty."""
    position, problem = BAD_TEXTS[line]
    with refused(TextError, Reason.TEXT, text=line, position=position) as caught:
        [*perform(["# the harbour", "5 stop", line])]
    error = caught.value
    assert isinstance(error, TextError)
    assert error.problem.startswith(problem) or problem in error.problem
    assert error.hint
    assert error.__notes__ == ["line 3 of the script"]
    assert "\n" not in str(error)


BAD_VALUES: dict[str, tuple[type[DccwireError], dict[str, object]]] = {
    "add short 128 steps=28": (FieldError, {"field": "short address", "value": 128}),
    "add broadcast 0 steps=28": (FieldError, {"field": "address", "value": "broadcast"}),
    "add accessory 3 steps=28": (FieldError, {"field": "address", "value": "accessory 3"}),
    "add long 3 steps=27": (FieldError, {"field": "steps", "value": 27}),
    "add short 3 steps": (ShapeError, {"path": "steps", "actual": ""}),
    "add short 3 steps=x": (ShapeError, {"path": "steps", "actual": "x"}),
    "add short 3 steps=28": (FieldError, {"field": "address", "value": "short 3"}),
    "remove short 4": (FieldError, {"field": "address", "value": "short 4"}),
    "drive short 4 step=3 forward=yes": (FieldError, {"field": "address", "value": "short 4"}),
    "drive short 3 step=29 forward=yes": (FieldError, {"field": "step", "value": 29}),
    "drive short 3 step=2 forward=maybe": (ShapeError, {"path": "forward", "actual": "maybe"}),
    "on short 3 F29": (FieldError, {"field": "function", "value": "F29"}),
    "write short 3 cv=0 value=1": (FieldError, {"field": "cv", "value": 0}),
    "write short 3 cv=8 value=256": (FieldError, {"value": 256}),
    "couple long 9 short 3": (FieldError, {"field": "address", "value": "long 9"}),
    "uncouple short 9": (FieldError, {"field": "consist", "value": "short 9"}),
    "operate short 3: FunctionGroupOne functions=FL": (FieldError, {"field": "packet"}),
    "operate short 3: Idle": (PacketError, {"reason": Reason.COMBINATION}),
}


@pytest.mark.parametrize("wish", BAD_VALUES)
def test_a_value_outside_its_bounds_is_told_with_its_key_and_line(wish: str) -> None:
    """Whether the text or the station refuses it."""
    error, told = BAD_VALUES[wish]
    with pytest.raises(error) as caught:
        [*perform([*PREPARED, f"7 {wish}", "9 end"])]
    assert {name: getattr(caught.value, name) for name in told} == told
    assert caught.value.__notes__ == [f"line {len(PREPARED) + 1} of the script"]
