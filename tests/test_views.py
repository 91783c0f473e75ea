"""Each view looks as its golden file; pictures and pages are what they claim to be."""

from itertools import pairwise
from xml.etree import ElementTree

import html5lib
import pytest
from bitstring import Bits
from hypothesis import example, given, settings
from hypothesis import strategies as st

import dccwire
from dccwire import Mode, Packet, conformance, cv, difference, explain, recordings
from strategies import bit_strings, byte_strings, packets
from views import FOLDER, VIEWS

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", VIEWS)
def test_a_view_is_as_its_file(name: str) -> None:
    """Text, pictures and pages; `python tests/views.py` writes the files."""
    assert VIEWS[name]().rstrip("\n") + "\n" == (FOLDER / name).read_text("utf-8")


def test_every_file_is_of_a_view() -> None:
    """None is left over."""
    assert {path.name for path in FOLDER.iterdir()} == set(VIEWS)


def picture(text: str) -> ElementTree.Element:
    """A picture, parsed; it has a title, a description, and stays within its frame."""
    root = ElementTree.fromstring(text)
    assert root.tag == f"{SVG}svg"
    assert root.findtext(f"{SVG}title")
    assert root.findtext(f"{SVG}desc")
    width = int(root.get("width", ""))
    for one in root.iter(f"{SVG}rect"):
        assert float(one.get("x", 0)) + float(one.get("width", 0)) <= width
    for one in root.iter(f"{SVG}line"):
        assert float(one.get("x2", 0)) <= width
    return root


@given(st.one_of(byte_strings, bit_strings()), st.sampled_from(Mode))
@example(Bits("0b10" + 27 * "0"), Mode.OPERATIONS)  # a packet end bit of 0, the longest of all
@settings(max_examples=200, deadline=None)
def test_anything_can_be_drawn(data: bytes | Bits, mode: Mode) -> None:
    """As a picture of all its bits, and as a page that a strict parser takes."""
    explanation = explain(data, mode=mode)
    root = picture(explanation.svg())
    shown = [one.text for one in root.iter(f"{SVG}text") if one.get("y") == "94"]
    assert "".join(map(str, shown)) == explanation.bits.bin
    html5lib.HTMLParser(strict=True).parse(explanation.html())


@given(st.binary(max_size=8), st.binary(max_size=8), st.integers(0, 120))
@settings(max_examples=200)
def test_any_two_can_be_compared(one: bytes, other: bytes, width: int) -> None:
    """Within the width; the marks stand where the bits differ, and nowhere else."""
    found = difference(one, other)
    lines = found.text(width).splitlines()
    assert max(map(len, lines)) <= max(width, 60)
    marks = sum(line[28:37].count("^") for line in lines)
    both = zip(one, other, strict=False)
    assert marks == len(found.bits) == sum((a ^ b).bit_count() for a, b in both)


@given(packets())
def test_a_packet_does_not_differ_from_itself(packet: Packet) -> None:
    """And says so."""
    found = difference(bytes(packet), explain(bytes(packet), mode=packet.mode), mode=packet.mode)
    assert found.bits == ()
    assert "no bit differs" in str(found).splitlines()
    assert found.framing == ()


def test_the_signal_is_drawn_to_scale() -> None:
    """Half-bits of 58 and 100 us stand to each other as these numbers, in two levels in turn."""
    root = picture(explain(bytes.fromhex("377443")).svg())
    for path in root.iter(f"{SVG}path"):
        moves = path.get("d", "").replace("M", "L").split("L")[1:]
        begins = [float(one.split(" ")[0]) for one in moves]
        ends = [float(one.split("H")[1]) for one in moves]
        wide = {round((end - begin) / 0.4) for begin, end in zip(begins, ends, strict=True)}
        assert wide <= {58, 100}
        levels = [one.split(" ")[1].split("H")[0] for one in moves]
        assert all(one != other for one, other in pairwise(levels))


def test_remarks_are_read_whole_on_a_narrow_page() -> None:
    """One of 390 px shows 480 units of the picture, and a letter takes 7 at most on the mean."""
    root = picture(explain(bytes.fromhex("C4B5EC030C80")).svg())
    remarks = [one.text for one in root.iter(f"{SVG}text") if "remark" in one.get("class", "")]
    assert len(remarks) > 1
    assert max(map(len, map(str, remarks))) <= 480 // 7
    (finding,) = explain(bytes.fromhex("C4B5EC030C80")).inspection.findings
    assert " ".join(map(str, remarks)) == f"! {finding}"


def test_a_packet_that_breaks_off_shows_as_far_as_it_goes() -> None:
    """What would be a packet with its error byte is laid out as that."""
    assert "speed=4" in explain(bytes.fromhex("3774")).text()
    assert explain(bytes.fromhex("37")).rows[0].meaning == "short 55"
    assert explain(bytes.fromhex("C4")).rows[0].letters == "????????"  # half of a long address
    assert [row.meaning for row in explain(bytes.fromhex("70"), mode=Mode.SERVICE).rows] == [
        "of no whole packet"
    ]
    cut = explain(Bits.from_string("0b" + "1" * 12 + "0" + "00110111" + "0" + "0111"))
    assert [cut.part(at) for at in (0, 12, 13, 20, 21, 25)] == [
        ("preamble", None),
        ("packet start bit", None),
        ("bit 7", 0),
        ("bit 0", 0),
        ("start bit of byte 1", None),
        ("of a byte that is cut off", None),
    ]


HOSTILE = "<script>alert(1)</script>"


def test_notebooks_show_packets_values_recordings_and_reports() -> None:
    """As parts of a page, whatever names they hold, without a script."""
    storm = recordings.read("vectors/recordings/harbour-storm.vcd")
    storm.path = HOSTILE
    report = conformance.check(storm)
    shown = [
        Packet.from_text("short 3: FunctionGroupOne functions=FL"),
        Packet.from_text(
            "service programming-track: DirectByteAccess operation=write cv=1 value=3"
        ),
        explain(bytes.fromhex("377442")),
        cv.ExtendedAddress(1205),
        cv.describe(29, 38),
        storm,
        report,
    ]
    for one in shown:
        text = one._repr_html_()
        assert "<script" not in text
        html5lib.HTMLParser(strict=True).parseFragment(text)
    assert "&lt;script&gt;" in storm._repr_html_()
    for one in shown[:3]:
        picture(one._repr_svg_())


def test_a_notebook_is_all_that_loads_the_drawings() -> None:
    """What is drawn is what `explain` gives."""
    packet = dccwire.decode(bytes.fromhex("377443"))
    assert packet._repr_svg_() == explain(bytes(packet)).svg()
