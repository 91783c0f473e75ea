"""CV 19 to 22 of units, by hand from S-9.2.2; the packets of both ways, by hand from S-9.2.1 §C."""

from __future__ import annotations

import pickle

import pytest
from consist_helpers import FUNCTIONS

from dccwire import FieldError, LongAddress, ShortAddress
from dccwire.consists import (
    Consist,
    Obedience,
    Unit,
    by_consist_control,
    by_writes,
    obedience,
    way_out,
)
from dccwire.cv import UnitPosition
from refusals import refused

LEAD = Unit(ShortAddress(21), "lead", FUNCTIONS)
MIDDLE = Unit(ShortAddress(22), "middle", FUNCTIONS, reversed=True)
TRAILING = Unit(LongAddress(1205), "trailing", FUNCTIONS, reversed=True)
HARBOUR = Consist(10, (LEAD, MIDDLE, TRAILING))


@pytest.mark.parametrize(
    ("unit", "cvs"),
    [
        # F1, F2, F5 are bits 0, 1, 4 of CV 21; FL forward bit 0, reverse bit 1, F12 bit 5 of CV 22.
        (LEAD, {19: 0b0000_1010, 21: 0b0001_0011, 22: 0b10_0001}),
        (MIDDLE, {19: 0b1000_1010, 21: 0b0001_0000, 22: 0b10_0000}),
        (TRAILING, {19: 0b1000_1010, 21: 0, 22: 0b00_0001}),
    ],
)
def test_cvs_of_each_position(unit: Unit, cvs: dict[int, int]) -> None:
    """Common practice: a lead all but the rear light, a middle no sound or light, a trailing it."""
    assert dict(Consist(10, (unit,)).cvs[0]) == cvs


@pytest.mark.parametrize(
    ("function", "cvs"),
    [
        *((f"F{number}", (1 << number - 1, 0)) for number in range(1, 9)),
        *((f"F{number}", (0, 4 << number - 9)) for number in range(9, 13)),
        ("FL", (0, 3)),
        ("F0", (0, 3)),
        ("FL-forward", (0, 2)),
        ("FL-reverse", (0, 1)),
        ("F13", (0, 0)),
        ("F28", (0, 0)),
    ],
)
def test_bits_of_each_function(function: str, cvs: tuple[int, int]) -> None:
    """Of a unit that stands reversed, the two lights change places; above F12 there is no bit."""
    unit = Unit(ShortAddress(3), "lead", {"smoke": function}, reversed=True)
    (held,) = Consist(127, (unit,)).cvs
    assert dict(held) == {19: 255, 21: cvs[0], 22: cvs[1]}
    assert unit.out_of_reach == (("smoke",) if cvs == (0, 0) else ())
    assert Unit(ShortAddress(3), "trailing", {"smoke": function}).out_of_reach == ()


def test_wishes_count_before_common_practice() -> None:
    """Either way."""
    wishes = {"horn": True, "smoke": False}
    (cvs,) = Consist(10, (Unit(ShortAddress(22), "middle", FUNCTIONS, obeys=wishes),)).cvs
    assert dict(cvs) == {19: 10, 21: 0b10, 22: 0b10_0000}


def test_an_address_above_127_takes_cv_20() -> None:
    """From memory (RCN-225): the hundreds in CV 20, the rest in CV 19 bits 6-0."""
    for address, low, high in ((128, 28, 1), (1205, 5, 12), (10239, 39, 102)):
        (cvs,) = Consist(address, (Unit(ShortAddress(3), "lead", {}, reversed=True),)).cvs
        assert dict(cvs) == {19: 128 + low, 20: high, 21: 0, 22: 0}
        assert Consist(address, (LEAD,)).packets_to == LongAddress(address)
    assert Consist(127, (LEAD,)).packets_to == ShortAddress(127)
    assert Consist(0, (LEAD,)).packets_to is None


def test_packets_by_consist_control() -> None:
    """0001 0010 and 0001 0011 with the address; all twice, an idle after each; CV 19 last."""
    sent = by_consist_control(Consist(10, (LEAD, MIDDLE)))
    assert {bytes(one).hex(" ") for one in sent[1::2]} == {"ff 00 ff"}
    assert sent[0::4] == sent[2::4]
    assert [bytes(one)[:-1].hex(" ") for one in sent[::4]] == [
        "15 12 00",
        "16 12 00",
        "15 70",
        "16 70",
        "15 ec 14 13",
        "15 ec 15 21",
        "16 ec 14 10",
        "16 ec 15 20",
        "15 12 0a",
        "16 13 0a",
    ]


def test_packets_by_writes_and_out_again() -> None:
    """CV access long form, 1110 11VV with CV - 1: 12 is CV 19, 13 CV 20, 14 CV 21, 15 CV 22."""
    consist = Consist(1205, (TRAILING,))
    assert [bytes(one)[:-1].hex(" ") for one in by_writes(consist)[::4]] == [
        "c4 b5 ec 13 00",
        "c4 b5 ec 12 00",
        "c4 b5 70",
        "c4 b5 ec 13 0c",
        "c4 b5 ec 14 00",
        "c4 b5 ec 15 01",
        "c4 b5 ec 12 85",
    ]
    assert [bytes(one)[:-1].hex(" ") for one in way_out(consist)[::4]] == [
        "c4 b5 70",
        "c4 b5 ec 13 00",
        "c4 b5 ec 12 00",
    ]
    assert [bytes(one)[:-1].hex(" ") for one in way_out(HARBOUR)[::4]] == [
        "0a 70",
        "15 12 00",
        "16 12 00",
        "c4 b5 12 00",
    ]
    assert [str(one) for one in way_out(Consist(0, (LEAD,)))[::4]] == [
        "short 21: ConsistControl reversed=no consist=0"
    ]


def test_addresses_that_a_way_does_not_reach_are_refused() -> None:
    """Consist control has seven bits; 0 is no consist."""
    for address in (0, 128):
        with refused(FieldError, field="consist", bound="1 to 127", value=address):
            by_consist_control(Consist(address, (LEAD,)))
    with refused(FieldError, field="consist", bound="1 to 10239", value=0):
        by_writes(Consist(0, (LEAD,)))


@pytest.mark.parametrize(
    ("changed", "field", "value"),
    [
        ({"address": 21}, "address", 21),
        ({"position": "front"}, "position", "front"),
        ({"reversed": 1}, "reversed", 1),
        ({"steps": 27}, "steps", 27),
        ({"steps": 28.0}, "steps", 28.0),
        ({"functions": {"bell": "F29"}}, "functions.bell", "F29"),
        ({"functions": {"bell": "F1"}, "obeys": {"bell": 1}}, "bell", 1),
        ({"obeys": {"bell": True}}, "obeys", "bell"),
        ({"on": ["F99"]}, "on", "F99"),
    ],
)
def test_what_no_unit_can_be_is_refused(changed, field: str, value: object) -> None:
    """Each by its name."""
    given = {"address": ShortAddress(21), "position": "lead"} | changed
    with refused(FieldError, field=field, value=value):
        Unit(**given)


def test_a_wish_about_nothing_names_what_is_near() -> None:
    """By the roles that the unit has."""
    with refused(FieldError, field="obeys", hint="perhaps horn"):
        Unit(ShortAddress(3), "lead", FUNCTIONS, obeys={"hron": True})


@pytest.mark.parametrize("address", [-1, 10240, "10", True])
def test_addresses_that_no_packet_can_carry_are_refused(address: object) -> None:
    """0 to 10239; and a consist has units."""
    with refused(FieldError, field="consist", bound="0 to 10239", value=address):
        Consist(address, (LEAD,))
    with refused(FieldError, field="units", bound="one or more"):
        Consist(10, ())


def test_units_and_consists_are_values() -> None:
    """Equal, hashable, and the same behind a pickle; what made them may change afterwards."""
    functions = {"bell": "F1"}
    unit = Unit(ShortAddress(3), UnitPosition.LEAD, functions, on=frozenset({"F0"}))
    functions["bell"] = "F2"
    twin = Unit(ShortAddress(3), "lead", {"bell": "F1"}, on=frozenset({"FL"}))
    assert unit == twin
    assert len({Consist(10, (unit,)), Consist(10, [twin])}) == 1
    assert pickle.loads(pickle.dumps(HARBOUR)) == HARBOUR
    assert (twin.on, twin.position) == ({"FL-forward", "FL-reverse"}, UnitPosition.LEAD)


def column(table: Obedience, unit: Unit) -> dict[str, str]:
    """What stands in a unit's column, where it is not that of a function of the own address."""
    cells = {row.what: str(table.cell(row.what, unit)) for row in table.rows}
    return {what: told for what, told in cells.items() if told != "- O"}


def test_the_table_of_three_units() -> None:
    """By hand: speed at the consist's address, functions by the masks above, all at the own."""
    table = obedience(HARBOUR)
    assert column(table, LEAD) == {
        "speed": "C -",
        "direction": "C -",
        "FL-forward": "C O headlight",
        "FL-reverse": "- O rear light",
        "F1": "C O bell",
        "F2": "C O horn",
        "F5": "C O smoke",
        "F12": "C O coupler",
    }
    assert column(table, TRAILING) == {
        "speed": "C -",
        "direction": "C - turned",
        "FL-forward": "C O rear light",
        "FL-reverse": "- O headlight",
        "F1": "- O bell",
        "F2": "- O horn",
        "F5": "- O smoke",
        "F12": "- O coupler",
    }
    assert [row.what for row in table.rows[:5]] == [
        *("speed", "direction", "FL-forward", "FL-reverse", "F1"),
    ]
    assert table.rows[-1].what == "F28"


def test_the_table_where_addresses_are_one_or_none() -> None:
    """S-9.2.1 §C: a unit whose own address is the consist's obeys all there; 0 is no consist."""
    for consist, told in ((Consist(21, (LEAD,)), "C O"), (Consist(0, (LEAD,)), "- O")):
        cells = [str(row.cells[0])[:3] for row in obedience(consist).rows]
        assert set(cells) == {told}
    few = Unit(ShortAddress(21), "lead", FUNCTIONS, steps=14)
    assert str(obedience(Consist(10, (few,))).cell("FL-forward", few)) == "C - headlight (by speed)"
    assert (
        str(obedience(Consist(10, (few,))).cell("FL-reverse", few)) == "- - rear light (by speed)"
    )


@pytest.mark.parametrize("width", [40, 80, 120])
def test_the_table_fits_its_width(width: int) -> None:
    """Units that do not fit beside the others come below them; long words are cut."""
    roles = {**FUNCTIONS, "a light over the door of the cab": "F7"}
    units = [Unit(ShortAddress(number), "middle", roles) for number in range(1, 6)]
    text = obedience(Consist(10, units)).text(width)
    assert max(map(len, text.splitlines())) <= width
    assert text.isascii()
    assert text.count("speed ") == -(-5 // ((width - 14) // 22))
    assert "C O a light over t..." in text
    for number in range(1, 6):
        assert f"short {number}" in text
    assert "F13-F28" in text


def test_the_table_as_json() -> None:
    """By unit and by what is obeyed; a consist that is none has no address."""
    plain = obedience(HARBOUR).to_dict()
    assert plain["consist"] == {"kind": "short", "number": 10}
    assert [one["unit"]["number"] for one in plain["units"]] == [21, 22, 1205]
    assert plain["units"][2]["obeys"]["FL-forward"] == {"consist": True, "own": True}
    assert plain["units"][1]["obeys"]["F28"] == {"consist": False, "own": True}
    assert len(plain["units"][0]["obeys"]) == 32
    assert obedience(Consist(0, (LEAD,))).to_dict()["consist"] is None
