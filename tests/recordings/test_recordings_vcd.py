"""VCD: files as they come, read right or refused with one clear line."""

from __future__ import annotations

from fractions import Fraction

import pytest
from recording_helpers import vcd_text

from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.recordings import read, vcd
from dccwire.recordings.opening import Opened
from dccwire.recordings.vcd import VcdSource, read_header
from refusals import refused


def result(recording):
    """All edges, and all gaps."""
    chunks = list(recording)
    return (
        [edge for chunk in chunks for edge in chunk.edges.tolist()],
        [chunk.gap for chunk in chunks if chunk.gap],
    )


BODIES = {
    "values on lines of their own": ("#0\n0!\n#58\n1!\n#116\n0!\n", [58, 116], []),
    "values on the time line": ("#0 0!\n#58 1!\n#116 0!\n", [58, 116], []),
    "several changes in one line": ('#0 0! 1"\n#58 0" 1! x%\n#116 1" 0!\n', [58, 116], []),
    "CRLF": ("#0\r\n0!\r\n#58\r\n1!\r\n", [58], []),
    "leading blanks and tabs": ("  #0\n\t0!\n \t#58\n  1!\n", [58], []),
    "all on one line": ("#0 0! #58 1! #116 0!", [58, 116], []),
    "no final newline": ("#0\n0!\n#58\n1!", [58], []),
    "no final newline after a time": ("#0\n0!\n#58\n1!\n#99", [58], []),
    "$comment in the body": ("#0\n0!\n$comment #7 1! $end\n#58\n1!\n", [58], []),
    "$dumpvars after the first time": ("#0\n$dumpvars\n0!\n$end\n#58\n1!\n", [58], []),
    "$dumpvars before the first time": ("$dumpvars\n0!\n$end\n#0\n#58\n1!\n", [58], []),
    "$dumpoff and $dumpon": (
        "#0\n0!\n#58\n1!\n#60\n$dumpoff\nx!\n$end\n#90\n$dumpon\n1!\n$end\n#116\n0!\n",
        [58, 116],
        [(60, 90)],
    ),
    "no first #0": ("#100\n0!\n#158\n1!\n", [58], []),
    "no first #0 and values before it": ("0!\n#100\n#158\n1!\n", [58], []),
    "two values before the first time": ("0!\n1!\n#100\n#158\n0!\n", [0, 58], []),
    "the first value is no edge": ("#0\n#58\n1!\n#116\n0!\n", [116], []),
    "the same value repeated": ("#0\n0!\n#58\n1!\n#60\n1!\n#116\n0!\n", [58, 116], []),
    "two changes at one time": ("#0\n0!\n#58\n1!\n0!\n#116\n1!\n", [58, 58, 116], []),
    "the same time again": ("#0\n0!\n#58\n1!\n#58\n0!\n", [58, 58], []),
    "x and z before the first level": ("#0\nx!\n#10\nz!\n#20\n0!\n#58\n1!\n", [58], [(0, 20)]),
    "x within": ("#0\n0!\n#58\n1!\n#70\nx!\n#80\nz!\n#90\n0!\n#99\n1!\n", [58, 99], [(70, 90)]),
    "x until the end": ("#0\n0!\n#58\n1!\n#70\nX!\n#80\n", [58], [(70, 80)]),
    "x for no time": ("#0\n0!\n#58\nx!\n1!\n#70\nZ!\n1!\n", [58], []),
    "x at the very end": ("#0\n0!\n#58\n1!\n#70\nx!\n", [58], []),
    "vector form of one bit": ("#0\nb0 !\n#58\nb1 !\n#116\n0!\n#174\nB1 !\n", [58, 116, 174], []),
    "real numbers and strings of others": ("#0\n0!\nr0.5 #\ns1! $\n#58\n1!\nR1e9 !\n", [58], []),
    "numbers of many digits": (
        "#1000000000000000000\n0!\n#1000000000000000058\n1!\n#9223372036854775807\n0!\n",
        [58, 8223372036854775807],
        [],
    ),
    "times beyond 2^63 with a late start": (
        "#99999999999999999999900\n0!\n#99999999999999999999958\n1!\n",
        [58],
        [],
    ),
    "levels of nine-valued logic": (
        "#0\nL!\n#58\nH!\n#60\nU!\n#70\n-!\n#80\nl!\n",
        [58],
        [(60, 80)],
    ),
}


@pytest.mark.parametrize("plain", [True, False], ids=["plain", "scan"])
@pytest.mark.parametrize("case", BODIES)
def test_body(case, plain, save, monkeypatch):
    """Each way of writing a body reads right."""
    if plain:
        monkeypatch.setattr(vcd, "scan", lambda *_: None)
    body, edges, gaps = BODIES[case]
    recording = read(save("a.vcd", vcd_text(body)), signal="track")
    assert result(recording) == (edges, gaps)
    assert result(recording) == (edges, gaps), "a second iteration gives the same"


@pytest.mark.parametrize("identifier", ["#", "0", "1", "b", "$", "ab", "#1", "~~~", "é"])
def test_identifiers(identifier, save):
    """An identifier may look like a time, a value, or anything else."""
    others = "".join(f"$var wire 1 {other} o{other} $end\n" for other in ("x1", "%"))
    body = "#0\n0{0}\n0%\nb0 {0}\n#58\n1{0}\n1x1\n#60\n1%\n#116\nb0 {0}\n1%\n#174\n1{0}\n"
    text = vcd_text(body.format(identifier), identifier=identifier, more=others)
    assert result(read(save("a.vcd", text), signal="track")) == ([58, 116, 174], [])


def test_value_that_begins_another_identifier(save):
    """`1` with identifier `1` is not the value of one with identifier `11`."""
    more = "$var wire 1 11 other $end\n"
    text = vcd_text("#0\n01\n#5\n111\n#58\n11\n#60\n011\n", identifier="1", more=more)
    assert result(read(save("a.vcd", text), signal="track")) == ([58], [])


@pytest.mark.parametrize(
    ("name", "signal"),
    [
        ("booster out", "booster out"),
        ("booster out", "top.booster out"),
        ("data [0]", "data[0]"),
        ("data[0]", "data[0]"),
        ("[0]", "[0]"),
        ("Gleis_ö", "Gleis_ö"),
        ("data [0:0]", "data"),
        ("data [7:0]", "data [7:0]"),
    ],
)
def test_names(name, signal, save):
    """Names with blanks, a bit number or other alphabets; the range is no part of a name."""
    path = save("a.vcd", vcd_text("#0\n0!\n#58\n1!\n", name=name))
    assert result(read(path, signal=signal)) == ([58], [])


def test_name_in_latin_1(save):
    """A name that is not UTF-8 is read as Latin-1."""
    path = save("a.vcd", vcd_text("#0\n0!\n#58\n1!\n", name="ö").encode("latin-1"))
    assert read(path, signal="ö").signal == "top.ö"


def test_two_names_for_one_identifier(save):
    """Either name serves, and the two are one signal."""
    text = vcd_text("#0\n0!\n#58\n1!\n", more="$var wire 1 ! alias $end\n")
    path = save("a.vcd", text)
    for name in ("track", "alias", "top.alias"):
        recording = read(path, signal=name)
        assert result(recording) == ([58], [])
        assert recording.signal == "top.track"


BUS = "$var wire 4 & bus [7:4] $end\n$var reg 4 ' up [0:3] $end\n$var real 64 r volts $end\n"
BUS_BODY = (
    "#0\nb0 &\nb0000 '\n#10\nb1 &\n#20\nb1000 &\nb0001 '\n#30\nbx &\n#40\nb0 &\n"
    "#50\nbx1 &\n#60\nb11 &\n#70\nr0.5 r\n"
)


@pytest.mark.parametrize("plain", [True, False], ids=["plain", "scan"])
@pytest.mark.parametrize(
    ("signal", "bit", "edges", "gaps"),
    [
        ("bus", 4, [10, 20, 50], [(30, 40)]),
        ("bus", 7, [20], [(30, 40), (50, 60)]),
        ("up", 3, [20], []),
        ("up", 0, [], []),
        ("track", 0, [], []),
    ],
)
def test_bit_of_a_vector(*, signal, bit, edges, gaps, plain, save, monkeypatch):
    """Bits go by their number in the declaration; short vectors are extended by 0, x or z."""
    if plain:
        monkeypatch.setattr(vcd, "scan", lambda *_: None)
    recording = read(save("a.vcd", vcd_text(BUS_BODY, more=BUS)), signal=signal, bit=bit)
    assert result(recording) == (edges, gaps)


def test_scalar_value_of_a_vector(save):
    """A one-character value of a wide signal is its last bit, the others are 0 or undefined."""
    body = "#0\nb1111 &\n#5\n0&\n#6\nx&\n#7\nb1111 &\n#8\n1&\n"
    path = save("a.vcd", vcd_text(body, more=BUS))
    assert result(read(path, signal="bus", bit=4)) == ([5], [(6, 7)])
    assert result(read(path, signal="bus", bit=5)) == ([5, 8], [(6, 7)])


@pytest.mark.parametrize(
    ("timescale", "resolution", "edges"),
    [
        ("$timescale 1ns $end\n", 1, [580, 1161]),
        ("$timescale\n\t10\n  us\n$end\n", None, None),
        ("$timescale 100 ps $end\n", 1, [58, 116]),
        ("$timescale 1 ps $end\n", 1, [1, 1]),
        ("$timescale 3 ns $end\n", 3, [1740, 3483]),
        ("$timescale 1 fs $end\n", 1, [0, 0]),
        ("$timescale 1 us $end\n", 1000, [580_000, 1_161_000]),
    ],
)
def test_timescale(timescale, resolution, edges, save):
    """Any whole number of any unit; what is finer than 1 ns is rounded to the nearest."""
    path = save("a.vcd", vcd_text("#0\n0!\n#580\n1!\n#1161\n0!\n", timescale=timescale))
    if edges is None:
        with refused(
            RecordingError, Reason.RESOLUTION, r"10000 ns .unit of the times. is too coarse"
        ):
            read(path, signal="track")
        assert result(read(path, signal="track", resolution=500))[0] == [5_800_000, 11_610_000]
    else:
        recording = read(path, signal="track")
        assert recording.resolution_ns == resolution
        assert result(recording) == (edges, [])


def test_fine_timescale_counts_from_the_first_mark(save):
    """Times are rounded after the first mark is taken off, not before."""
    text = vcd_text("#1499\n0!\n#2998\n1!\n#2999\n0!\n", timescale="$timescale 1 ps $end\n")
    assert result(read(save("a.vcd", text), signal="track")) == ([1, 2], [])


def test_absent_timescale(save):
    """Without a timescale the unit must be given; with one, a unit given is not used."""
    path = save("a.vcd", vcd_text("#0\n0!\n#58\n1!\n", timescale=""))
    with refused(RecordingError, Reason.FORMAT, r"no timescale; give it with unit="):
        read(path, signal="track")
    assert result(read(path, signal="track", unit="us")) == ([58_000], [])
    path = save("b.vcd", vcd_text("#0\n0!\n#58\n1!\n"))
    recording = read(path, signal="track", unit="us")
    assert result(recording) == ([58], [])
    assert recording.notes == ("the unit given is not used: the file has a timescale of its own",)


def test_byte_order_mark(save):
    """A byte order mark ahead of the header is passed over."""
    text = "\ufeff" + vcd_text("#0\n0!\n#58\n1!\n")
    assert result(read(save("a.vcd", text), signal="track")) == ([58], [])


@pytest.mark.parametrize(
    "end", ["1", "b1", "b1 ", "#", "#5", "$comment a b", "r1.5", "x", "%!", "$comm"]
)
def test_cut_off(end, save):
    """A file cut off within a time or a value gives what comes before, and a note."""
    recording = read(save("a.vcd", vcd_text("#0\n0!\n#58\n1!\n" + end)), signal="track")
    assert result(recording) == ([58], [])
    assert [note[:23] for note in recording.notes] == ["the file is cut off wit"]
    assert result(recording)[0] == [58]
    assert len(recording.notes) == 1


ERRORS = {
    "backwards": (
        "#0\n0!\n#58\n1!\n#57\n0!\n",
        Reason.TIME,
        "line 10: time runs backwards, from 58",
    ),
    "fractional": (
        "#0\n0!\n#58.5\n1!\n",
        Reason.TIME,
        "line 8: '#58.5' is no time; a whole number",
    ),
    "negative": ("#0\n0!\n#-5\n1!\n", Reason.TIME, "line 8: '#-5' is no time"),
    "no digits": ("#0\n0!\n#\n1!\n", Reason.TIME, "line 8: '#' is no time"),
    "endless digits": (f"#0\n0!\n#{'9' * 5000}\n1!\n", Reason.TIME, "line 8: '#99999.* is no time"),
    "beyond 2^63": ("#0\n0!\n#9223372036854775808\n1!\n", Reason.TIME, "line 8: .* 292 years"),
    "a value alone": ("#0\n0!\n#58\n1 !\n", Reason.FORMAT, "line 9: '1' is neither a time nor"),
    "no value": ("#0\n0!\n?ello\n", Reason.FORMAT, "line 8: '.ello' is neither"),
    "rubbish": ("#0\n0!\n?!\n#1\n", Reason.FORMAT, "line 8: '.!' is neither a time nor a value"),
    "vector rubbish": (
        "#0\nb02 !\n#1\n",
        Reason.FORMAT,
        "line 7: '02' is no value of 0, 1, x or z",
    ),
    "vector of nothing": (
        "#0\nb !\n#1\n",
        Reason.FORMAT,
        "line 7: '.' is no value of 0, 1, x or z",
    ),
}


@pytest.mark.parametrize("plain", [True, False], ids=["plain", "scan"])
@pytest.mark.parametrize("case", ERRORS)
def test_error_in_the_body(case, plain, save, monkeypatch):
    """What cannot be read is told with its line."""
    if plain:
        monkeypatch.setattr(vcd, "scan", lambda *_: None)
    body, reason, message = ERRORS[case]
    with refused(RecordingError, reason, message):
        result(read(save("a.vcd", vcd_text(body)), signal="track"))


def test_error_far_down_has_its_line(save):
    """Lines are counted through pieces that the fast scan reads."""
    body = "#0\n0!\n" + "".join(f"#{58 * n}\n{n % 2}!\n" for n in range(1, 50_000)) + "#5\n1!\n#6\n"
    with refused(RecordingError, Reason.TIME, f"line {5 + body.count(chr(10)) - 2}: time runs"):
        result(read(save("a.vcd", vcd_text(body)), signal="track"))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("$timescale 1 ns $end\n$var wire 1 ! a", "the VCD header has no end"),
        ("$date today", "the VCD header has no end"),
        ("$timescale 1 ns $end\n#0\n0!\n", "line 2: '#0' stands in the VCD header outside"),
        ("$timescale $end\n", "the timescale '' cannot be read"),
        ("$timescale 0 ns $end\n", "the timescale '0 ns' cannot be read"),
        ("$timescale 1 min $end\n", "the timescale '1 min' cannot be read; a whole number and"),
        ("$timescale 1.5 ns $end\n", "the timescale '1.5 ns' cannot be read"),
        ("$var wire 1 ! $end\n", r"the declaration '\$var wire 1 !' cannot be read"),
        ("$var wire one ! a $end\n", "the declaration .* cannot be read"),
        ("$var wire $end\n", "the declaration .* cannot be read"),
    ],
)
def test_error_in_the_header(text, message, save):
    """A header without an end, a wrong timescale or a wrong declaration is refused."""
    with refused(RecordingError, Reason.FORMAT, message):
        read(save("a.vcd", text))


def test_header_of_any_length(save):
    """A header longer than the first read is read on."""
    more = "".join(f"$var wire 1 a{n} other{n} $end\n" for n in range(3000))
    path = save("a.vcd", vcd_text("#0\n0!\n#58\n1!\n", more=more))
    assert result(read(path, signal="track")) == ([58], [])


def test_endless_header(save, monkeypatch):
    """The search for the end of the header is bounded."""
    monkeypatch.setattr("dccwire.recordings.vcd._MOST_HEADER", 1 << 14)
    with refused(RecordingError, Reason.FORMAT, r"the VCD header has no end"):
        read(save("a.vcd", "$comment " + "a " * 20_000))


def test_endless_word(save, monkeypatch):
    """A word longer than a piece is no VCD."""
    opened = Opened(save("a.vcd", vcd_text("#0\n0!\n" + "1" * 5000 + "\n")))
    source = VcdSource(opened, read_header(opened), Fraction(1), b"!")
    monkeypatch.setattr(vcd, "_PIECE", 1024)
    with refused(RecordingError, Reason.FORMAT, r"line 8: a word of more than 1024 characters"):
        list(source.blocks())


def test_upscope_too_many(save):
    """Scopes name the signals; one closed too often does no harm."""
    text = (
        "$timescale 1 ns $end $upscope $end $scope module a $end $scope module b $end "
        "$var wire 1 ! t $end $upscope $end $var wire 1 % u $end $enddefinitions $end "
        "#0 0! 0% #5 1! #6 1%\n"
    )
    path = save("a.vcd", text)
    assert read(path, signal="t").signal == "a.b.t"
    assert read(path, signal="u").signal == "a.u"


def test_bit_by_name_is_refused(save):
    """A bit by name is for raw samples only, and refused for VCD."""
    path = save("a.vcd", vcd_text("#0\n0!\n"))
    with refused(FieldError, match=r"bit: the number of a bit, for VCD expected"):
        read(path, signal="track", bit="lsb")


@pytest.mark.parametrize(("depth", "fits"), [(99, True), (100, True), (101, False)])
def test_scopes_in_one_another_are_bounded(depth, fits, save):
    """A name holds all scopes around it."""
    text = "$timescale 1 ns $end\n" + "$scope module m $end\n" * depth
    text += "$var wire 1 ! t $end\n$enddefinitions $end\n#0 0!\n#5 1!\n"
    if fits:
        assert read(save("a.vcd", text), signal="t").signal == "m." * depth + "t"
    else:
        with refused(RecordingError, Reason.FORMAT, "more than 100 scopes in one another"):
            read(save("a.vcd", text), signal="t")
