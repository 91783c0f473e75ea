"""Consists played on simulated decoders, which know nothing of `dccwire.consists`."""

from __future__ import annotations

import pytest
from consist_helpers import FUNCTIONS, NUMBERED, Layout, any_consists
from hypothesis import given, settings

from dccwire import LongAddress, ShortAddress
from dccwire.consists import Consist, Unit, by_consist_control, by_writes, obedience, way_out
from dccwire.decoder import Direction
from dccwire.instructions import function_group
from dccwire.notation import address_text

WAYS = [by_consist_control, by_writes]


def seen(layout: Layout, consist: Consist, to: str) -> list[set[str]]:
    """What each unit obeys of packets to an address: speed, direction, lights and functions."""
    at = address_text(consist.packets_to)
    found: list[set[str]] = [set() for _ in consist.units]

    def reset() -> None:
        layout.send(f"{unit.name}: DigitalDecoderReset" for unit in consist.units)

    for way, forward in (("yes", True), ("no", False)):
        reset()
        layout.send([f"{at}: SpeedAndDirection forward={way} c=0 speed=0"])
        layout.send([f"{to}: FunctionGroupOne functions=FL"])
        layout.send([f"{to}: SpeedAndDirection forward={way} c=1 speed=0"])
        for unit, decoder, obeyed in zip(consist.units, layout.decoders, found, strict=True):
            runs_forward = forward is not unit.reversed
            assert decoder.direction is (Direction.FORWARD if runs_forward else Direction.REVERSE)
            if "FL" in decoder.functions:
                obeyed.add("FL-forward" if runs_forward else "FL-reverse")
    for name in NUMBERED:
        reset()
        layout.send([f"{to}: {function_group(name).__name__} functions={name}"])
        for decoder, obeyed in zip(layout.decoders, found, strict=True):
            obeyed.update(decoder.functions)
    for way in ("yes", "no"):
        reset()
        before = [decoder.direction for decoder in layout.decoders]
        layout.send([f"{to}: SpeedStepControl128 forward={way} speed=64"])
        for decoder, was, obeyed in zip(layout.decoders, before, found, strict=True):
            if decoder.step == 63:
                obeyed.add("speed")
            if decoder.direction is not was:
                obeyed.add("direction")
    return found


@pytest.mark.parametrize("join", WAYS)
@given(consist=any_consists())
@settings(max_examples=25)
def test_units_do_what_the_table_says(join, consist: Consist) -> None:
    """Whatever position, way, steps and functions they have: at the consist's address and own."""
    layout, table = Layout(consist), obedience(consist)
    layout.send(join(consist))
    assert [decoder.cvs[19] for decoder in layout.decoders] == [
        consist.address + 128 * unit.reversed for unit in consist.units
    ]
    at_consist = seen(layout, consist, address_text(consist.packets_to))
    for place, unit in enumerate(consist.units):
        own = seen(layout, consist, unit.name)[place]
        cells = {row.what: row.cells[place] for row in table.rows}
        assert {what for what, cell in cells.items() if cell.consist} == at_consist[place]
        assert {what for what, cell in cells.items() if cell.own} == own


@pytest.mark.parametrize("join", WAYS)
@given(consist=any_consists())
@settings(max_examples=25)
def test_both_ways_leave_the_cvs_of_the_consist(join, consist: Consist) -> None:
    """And every other CV as it was; units that run when it begins stand when it ends."""
    layout = Layout(consist)
    before = [decoder.cvs for decoder in layout.decoders]
    layout.send(f"{unit.name}: SpeedStepControl128 forward=yes speed=64" for unit in consist.units)
    assert [decoder.step for decoder in layout.decoders] == [63] * 3
    layout.send(join(consist))
    assert [decoder.step for decoder in layout.decoders] == [0] * 3
    for decoder, cvs, made in zip(layout.decoders, before, consist.cvs, strict=True):
        assert decoder.cvs == cvs | made
        assert not decoder.ignored or consist.packets_to in {one.address for one in consist.units}


@pytest.mark.parametrize("join", WAYS)
@given(consist=any_consists())
@settings(max_examples=25)
def test_the_way_out_leaves_decoders_as_before(join, consist: Consist) -> None:
    """CV 21 and 22 stay, without effect; a unit that ran stands, and obeys its own address."""
    layout = Layout(consist)
    before = [decoder.snapshot() for decoder in layout.decoders]
    layout.send(join(consist))
    to = address_text(consist.packets_to)
    layout.send([f"{to}: SpeedStepControl128 forward=yes speed=64"])
    assert [decoder.step for decoder in layout.decoders] == [63] * 3
    layout.send(way_out(consist))
    for decoder, was in zip(layout.decoders, before, strict=True):
        now = decoder.snapshot()
        assert decoder.consist is None
        assert decoder.step == decoder.speed_at(layout.now) == 0
        assert now["cvs"].without(19, 21, 22) == was["cvs"].without(19)
        for key in ("functions", "in_service_mode", "extended"):
            assert now[key] == was[key]
    for unit, decoder in zip(consist.units, layout.decoders, strict=True):
        if unit.address != consist.packets_to:
            layout.send([f"{to}: SpeedStepControl128 forward=no speed=9"])
            assert decoder.step == 0
        layout.send([f"{unit.name}: SpeedStepControl128 forward=yes speed=11"])
        assert (decoder.step, decoder.direction) == (10, Direction.FORWARD)


@given(consist=any_consists())
@settings(max_examples=25)
def test_no_unit_answers_the_consist_while_masks_are_written(consist: Consist) -> None:
    """Cut anywhere before the first unit is in: functions sent to the consist reach none."""
    if consist.packets_to in {unit.address for unit in consist.units}:
        return
    packets = by_writes(consist)
    first = next(
        place
        for place, one in enumerate(packets)
        if " cv=19 " in str(one) and not str(one).endswith(" value=0")
    )
    layout = Layout(consist)
    for decoder in layout.decoders:
        decoder.set_cv(19, consist.address)  # from the day before
        decoder.set_cv(21, 255)
    outs = 4 * len(consist.units)
    layout.send(packets[:outs])
    for packet in packets[outs : first + 1]:
        layout.send([packet, f"{address_text(consist.packets_to)}: FunctionGroupOne functions=F1"])
        assert [decoder.functions for decoder in layout.decoders] == [frozenset()] * 3


def test_a_stop_to_the_own_address_is_not_obeyed() -> None:
    """S-9.2.1 §C, Consist Control: nor an emergency stop; the consist's address or all stop it."""
    consist = Consist(10, (Unit(ShortAddress(21), "lead", FUNCTIONS),))
    for stop, step in (("short 21", 63), ("short 10", 0), ("broadcast", 0)):
        layout = Layout(consist)
        layout.send(by_consist_control(consist))
        layout.send(["short 10: SpeedStepControl128 forward=yes speed=64"])
        layout.send([f"{stop}: SpeedAndDirection forward=yes c=0 speed=1"])
        assert layout.decoders[0].step == step


def test_stops_leave_the_light_of_14_steps_as_it_is() -> None:
    """C is FL there (X18): on if it is said to be on; at 28 steps C lets the direction be (C6)."""
    for on, lit in ((["FL"], True), (["FL-reverse"], True), (["F1"], False)):
        unit = Unit(ShortAddress(21), "lead", {"headlight": "FL"}, steps=14, on=frozenset(on))
        layout, consist = Layout(Consist(10, (unit,))), Consist(10, (unit,))
        layout.send([f"short 21: SpeedAndDirection forward=yes c={int(lit)} speed=0"])
        layout.send(by_consist_control(consist))
        assert ("FL" in layout.decoders[0].functions) is lit
        layout.send(way_out(consist))
        assert ("FL" in layout.decoders[0].functions) is lit
    consist = Consist(10, (Unit(ShortAddress(21), "lead"),))
    layout = Layout(consist)
    layout.send(["short 21: SpeedAndDirection forward=no c=0 speed=5"])
    layout.send(by_writes(consist))
    assert layout.decoders[0].direction is Direction.REVERSE


def test_a_consist_above_127_is_written_and_cleared_whole() -> None:
    """From memory: CV 20 holds the hundreds; the way out clears it, too. No decoder here obeys."""
    consist = Consist(1205, (Unit(LongAddress(3000), "lead", reversed=True),))
    layout = Layout(consist)
    layout.send(by_writes(consist))
    (decoder,) = layout.decoders
    assert [decoder.cv(cv) for cv in (19, 20)] == [133, 12]
    layout.send(way_out(consist))
    assert [decoder.cv(cv) for cv in (19, 20)] == [0, 0]
