"""Every kind of view of packets and CVs, each as it is to look; running this file writes them.

What is drawn comes from the layouts, so a changed layout changes these files.
"""

from collections.abc import Callable
from pathlib import Path

from bitstring import Bits

from dccwire import cv, difference, explain
from dccwire.address import Mode
from dccwire.framing import to_bits

FOLDER = Path(__file__).parent / "views"


def given(text: str) -> bytes:
    return bytes.fromhex(text)


SPEED, WRITE, WRONG = given("377443"), given("C4B5EC030C92"), given("C4B5EC030C00")
CUT = Bits.from_string("0b" + "1" * 12 + "0" + "00110111" + "0" + "0111")


def slipped(bits: str, at: int) -> Bits:
    """A packet that has these bits where one stands."""
    sent = to_bits(SPEED).bin
    return Bits(bin=f"{sent[:at]}{bits}{sent[at + 1 :]}")


VIEWS: dict[str, Callable[[], str]] = {
    "speed.txt": lambda: explain(SPEED).text(),
    "speed-40.txt": lambda: explain(SPEED).text(40),
    "speed-half-bits.txt": lambda: explain(SPEED).text(half_bits=True),
    "speed.svg": lambda: explain(SPEED).svg(),
    "speed.html": lambda: explain(SPEED).html(),
    "speed-bits.txt": lambda: explain(to_bits(SPEED, 17)).text(),
    "speed-bits.svg": lambda: explain(to_bits(SPEED, 17)).svg(),
    "write.txt": lambda: explain(WRITE).text(),
    "wrong-66.txt": lambda: explain(WRONG).text(66),
    "wrong.svg": lambda: explain(to_bits(WRONG) + "0b1101").svg(),
    "accessory.txt": lambda: explain(given("8EEB65")).text(),
    "service.txt": lambda: explain(given("741C264E"), mode=Mode.SERVICE).text(),
    "kept.txt": lambda: explain(to_bits(given("030407"), 12)).text(),
    "cut.txt": lambda: explain(CUT).text(),
    "no-end-bit.txt": lambda: explain(Bits("0xffc000000, 0b1")).text(),
    "cut-behind-a-byte.txt": lambda: explain(CUT[:21]).text(),
    "others.txt": lambda: explain(to_bits(SPEED) + "0b0101010101010101").text(),
    "cut.svg": lambda: explain(CUT).svg(),
    "piece.txt": lambda: explain(given("3774")).text(),
    "nothing.txt": lambda: explain(b"").text(),
    "nothing.svg": lambda: explain(b"").svg(),
    "difference.txt": lambda: difference(SPEED, given("374370")).text(),
    "difference.html": lambda: difference(SPEED, given("374370")).html(),
    "wrong-half-bits.txt": lambda: explain(WRONG).text(half_bits=True),
    "speed-half-bits.html": lambda: explain(SPEED).html(half_bits=True),
    "wrong-end-bit.svg": lambda: explain(to_bits(SPEED)[:-1] + "0b0").svg(),
    "first-byte.txt": lambda: explain(given("37")).text(),
    "difference-of-kinds.txt": lambda: difference(WRITE, SPEED).text(),
    "one-too-many.txt": lambda: explain(slipped("00", 14)).text(),
    "one-too-many.svg": lambda: explain(slipped("10", 32)).svg(),
    "start-bit-missing.txt": lambda: explain(slipped("", 23)).text(),
    "start-bit-missing.svg": lambda: explain(slipped("", 14)).svg(),
    "cv-29.txt": lambda: cv.describe(29, 38).text(),
    "cv-17.html": lambda: cv.describe(17, 196)._repr_html_(),
    "cv-17-18.html": lambda: cv.ExtendedAddress(1205)._repr_html_(),
}
"""The views by the names of their files."""


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, view in VIEWS.items():
        (FOLDER / name).write_text(view().rstrip("\n") + "\n", "utf-8")
