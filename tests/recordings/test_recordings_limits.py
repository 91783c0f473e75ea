"""Numbers inside the readers: how much of a file messages show, and what is taken at most."""

from __future__ import annotations

import pytest
from recording_helpers import edges_of, vcd_text

from dccwire.errors import FieldError, RecordingError
from dccwire.recordings import read
from refusals import refused

X = "x" * 100


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (f"$date x $end {X} $end", f"{'x' * 20!r} stands in the VCD header outside"),
        (
            vcd_text("#0\n", timescale=f"$timescale {X} $end\n"),
            f"the timescale {'x' * 40!r} cannot",
        ),
        (vcd_text("#0\n", more=f"$var {X} $end\n"), f"declaration {('$var ' + X)[:60]!r} cannot"),
        (vcd_text("#0\n", more="$var wire 1234567 % a $end\n"), "wire 1234567 % a' cannot be read"),
        (vcd_text(f"#0\n0!\n#5\n{'?' * 50}\n"), f"{'?' * 30!r} is neither a time nor a value"),
        (vcd_text("#0\n0!\n#5\n1!\n#:\n0!\n#7\n1!\n"), "'#:' is no time"),
        (vcd_text("".join(f"#{c}\n{n % 2}!\n" for n, c in enumerate("123456:8"))), "'#:' is no"),
    ],
)
def test_what_messages_show_of_a_vcd(text: str, told: str, save) -> None:
    """The first characters of what cannot be read, so that lines stay short."""
    with pytest.raises(RecordingError) as caught:
        edges_of(read(save("a.vcd", text), signal="track", resolution=1))
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (f"{X},0", f"column 1 holds {'x' * 30!r}, which"),
        (f"5,{'7' * 50}", f"{'7' * 30!r} is no level"),
        (f"{'9' * 100},0", f"the time {'9' * 30!r} lies beyond"),
    ],
)
def test_what_messages_show_of_a_row(row: str, told: str, save) -> None:
    """Thirty characters."""
    with pytest.raises(RecordingError) as caught:
        edges_of(
            read(save("a.csv", f"time_us,track\n0,0\n3,1\n{row}\n"), signal="track", resolution=1)
        )
    assert told in str(caught.value)


@pytest.mark.parametrize("bit", [0, 999_999])
def test_six_digits_of_width_are_read(bit: int, save) -> None:
    """A vector of 999999 bits has bit 0, and the last one."""
    name = "$var wire 999999 % wide $end\n"
    body = "#0\nb0 %\n#58000\nb1 %\n#116000\nb0 %\n"
    path = save("a.vcd", vcd_text(body, more=name))
    if bit:
        with pytest.raises(RecordingError, match="bit"):
            read(path, signal="wide", bit=bit)
    else:
        assert edges_of(read(path, signal="wide", bit=bit)) == [58_000, 116_000]


@pytest.mark.parametrize(
    ("bit", "bound"),
    [
        ((1 << 20) - 1, "0 to 7, lsb or msb, for raw samples"),
        (1 << 20, "a number from 0 up, lsb or msb"),
        (7, ""),
        (8, "0 to 7, lsb or msb, for raw samples"),
    ],
)
def test_the_number_of_a_bit(bit: int, bound: str, save) -> None:
    """No signal has a million of them; a byte has eight."""
    path = save("a.bin", bytes(range(256)) * 4)
    if bound:
        with refused(FieldError, field="bit", bound=bound, value=bit):
            read(path, rate=1e6, bit=bit, resolution=1)
    else:
        assert edges_of(read(path, rate=1e6, bit=bit, resolution=1))[0] == 128_000


@pytest.mark.parametrize("spikes", [1, 2])
def test_a_tenth_of_volts_at_either_end_may_be_spikes(spikes: int, save) -> None:
    """The levels are told by the rest: 18 rows of 0 and 5 V, one of 90 V among them, or two."""
    levels = [0, 5] * 9
    for place in range(spikes):
        levels[2 * place + 1] = 90
    rows = "".join(f"{58 * n},{volt}.0\n" for n, volt in enumerate(levels))
    path = save("a.csv", f"time_us,track [V]\n{rows}")
    count = len(edges_of(read(path, signal="track [V]", resolution=1000)))
    assert count == (17 if spikes == 1 else 4)
