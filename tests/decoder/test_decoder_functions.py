"""Function groups, binary states, analog outputs."""

import pytest
from decoder_helpers import at_work

RANGES = {
    "B": (5, 8),
    "A": (9, 12),
    "DE": (13, 20),
    "DF": (21, 28),
    "D8": (29, 36),
    "D9": (37, 44),
    "DA": (45, 52),
    "DB": (53, 60),
    "DC": (61, 68),
}
EVERY = ["03 9F", "03 BF", "03 AF", *(f"03 {code} FF" for code in RANGES if len(code) == 2)]
ONE = ["FL", "F1", "F2", "F3", "F4"]
GROUPS = {"9": ONE, "8": ONE} | {
    code: [f"F{number}" for number in range(first, last + 1)]
    for code, (first, last) in RANGES.items()
}
ALL = {name for names in GROUPS.values() for name in names}


@pytest.mark.parametrize(
    ("body", "names"),
    [
        ("03 91", "FL F1"),  # 100 1 0001
        ("03 8A", "F2 F4"),  # 100 0 1010
        ("03 B9", "F5 F8"),  # 101 1 1001
        ("03 A6", "F10 F11"),  # 101 0 0110
        ("03 DE 81", "F13 F20"),
        ("03 DF 81", "F21 F28"),
        ("03 D8 81", "F29 F36"),  # from memory, and those below
        ("03 D9 81", "F37 F44"),
        ("03 DA 81", "F45 F52"),
        ("03 DB 81", "F53 F60"),
        ("03 DC 81", "F61 F68"),
    ],
)
def test_each_group_sets_its_functions_and_no_others(body: str, names: str) -> None:
    """S-9.2.1 §C; F29 to F68 from memory; the other functions are on before and after."""
    decoder, line = at_work()
    line.send(*EVERY)
    assert len(decoder.functions) == 69
    line.send(body)
    off = set(GROUPS[body.split()[1][0] if body[3] != "D" else body[3:5]]) - set(names.split())
    assert off
    assert decoder.functions == ALL - off


def test_a_group_switches_off_what_it_does_not_name() -> None:
    """Every packet carries the whole group."""
    decoder, line = at_work()
    line.send("03 9F", "03 BF", "03 82")
    assert decoder.functions == {"F2", "F5", "F6", "F7", "F8"}


def test_at_14_steps_fl_in_group_one_has_no_meaning() -> None:
    """X20: FL is in the speed packet then."""
    decoder, line = at_work(factory={29: 0})
    line.send("03 91")
    assert decoder.functions == {"F1"}
    line.send("03 72", "03 80")
    assert decoder.functions == {"FL"}


def test_speed_and_functions_in_one_instruction() -> None:
    """From memory: 3C, speed as in 128 step control, F0-F7, F8-F15."""
    decoder, line = at_work()
    line.send("03 3C 82 81")
    assert (decoder.step, decoder.functions) == (1, {"FL", "F7"})
    line.send("03 3C 83 02 81")
    assert (decoder.step, decoder.functions) == (2, {"F1", "F8", "F15"})
    line.send(*EVERY, "03 3C 82 00")
    assert decoder.functions == ALL - {"FL", *(f"F{number}" for number in range(1, 8))}
    line.send(*EVERY, "03 3C 82 00 00")
    assert decoder.functions == ALL - {"FL", *(f"F{number}" for number in range(1, 16))}


def test_binary_states_are_kept() -> None:
    """S-9.2.1 §C: state number = H × 128 + L (X23); C0 AC 02 is state 300 on."""
    decoder, line = at_work()
    line.send("03 C0 AC 02", "03 DD 85")
    assert decoder.binary_states == {5, 300}
    line.send("03 DD 00")  # all 127 off
    assert decoder.binary_states == {300}
    line.send("03 DD 80")  # all 127 on
    assert decoder.binary_states == {*range(1, 128), 300}
    line.send("03 C0 00 00")  # all 32767 off
    assert decoder.binary_states == frozenset()
    line.send("03 C0 80 00")
    assert len(decoder.binary_states) == 32767


def test_analog_outputs_are_kept() -> None:
    """S-9.2.1 §C: output 1 is the volume."""
    decoder, line = at_work()
    line.send("03 3D 01 C8")
    assert decoder.analog_outputs == {1: 200}


def test_several_instructions_in_one_packet_are_obeyed_in_order() -> None:
    """S-9.2.1 §C (X5): speed, F1, then F1 off and F2 on."""
    decoder, line = at_work()
    line.send("03 74 81 82")
    assert (decoder.step, decoder.functions) == (6, {"F2"})
