"""Text of numbers: layouts as they come, samples and transitions, and the rows that are wrong."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recording_helpers import edges_of

from dccwire.conformance import check
from dccwire.errors import Reason, RecordingError
from dccwire.recordings import read, tables
from dccwire.recordings.table_layout import read_layout
from dccwire.recordings.tables import RowState, fast_rows, plain_rows
from refusals import refused

TRANSITIONS = {
    "seconds": "Time [s],track\n0,0\n0.000058,1\n0.000116,0\n",
    "seconds in words": "Seconds,track\n0,0\n5.8e-5,1\n.000116,0\n",
    "milliseconds": "Time(ms),track\n0,0\n0.058,1\n0.116,0\n",
    "microseconds": "time_us,track\n0,0\n58,1\n116.,0\n",
    "minutes": "Time [min],track\n0,0\n9.66666667e-7,1\n0.00000193333333,0\n",
    "with the sign for micro": "Time [µs],track\n0,0\n58,1\n116,0\n",
    "nanoseconds": "t [ns],track\n0,0\n58000,1\n+116000,0\n",
    "semicolons": "time_us;track\n0;0\n58;1\n116;0\n",
    "decimal commas": "time_ms;track\n0,0;0\n0,058;1\n0,116;0\n",
    "tabs and decimal commas": "time_ms\ttrack\n0,0\t0\n0,058\t1\n0,116\t0\n",
    "CRLF": "time_us,track\r\n0,0\r\n58,1\r\n116,0\r\n",
    "byte-order mark": "\ufefftime_us,track\n0,0\n58,1\n116,0\n",
    "blank lines and comments": "# made up\n\ntime_us,track\n0,0\n\n% a\n58,1\n// b\n  \n116,0\n\n",
    "quoted fields": '"time_us","track"\n"0","0"\n"58","1"\n"116","0"\n',
    "quoted decimal commas": '"time_ms";"track"\n"0,0";"0"\n"0,058";"1"\n"0,116";"0"\n',
    "blanks around": " time_us , track \n 0 , 0 \n 58 , 1\n 116, 0\n",
    "levels as 1.0": "time_us,track\n0,0.0\n58,1.0\n116,0.0\n",
    "a late start": "time_us,track\n1000000,0\n1000058,1\n1000116,0\n",
    "negative times": "time_us,track\n-58,0\n0,1\n58,0\n",
    "a repeated level": "time_us,track\n0,0\n7,0\n58,1\n59,1\n116,0\n",
    "no final line end": "time_us,track\n0,0\n58,1\n116,0",
    "more columns than named": "time_us,track\n0,0,9\n58,1,9\n116,0,9\n",
    "the time last": "track,volts,time_us\n0,3.3,0\n1,3.2,58\n0,3.1,116\n",
    "comments of other kinds": "; made up\n;more\ntime_us,track\n0,0\n; a\n58,1\n116,0\n",
    "other data above": (
        "Recorder,X\nSamples: 3\nRate,1000000,Hz\n5\n\ntime_us,track\n0,0\n58,1\n116,0\n"
    ),
    "other data above rows without names": "Rate,3\none channel\n0,0\n0.000058,1\n0.000116,0\n",
    "a row of units": "Time,track\nus,V\n0,0\n58,1\n116,0\n",
    "a row of units in brackets": "Time;track\n(ms);(logic)\n0,0;0\n0,058;1\n0,116;0\n",
    "a row of units, one of them empty": "time,track\nus,\n0,0\n58,1\n116,0\n",
    "truth": "time_us,track\n0,False\n58,True\n116,FALSE\n",
    "words": "time_us;track\n0;low\n58;High\n116;L\n",
    "on and off": "time_us,track\n0,off\n58,on\n116,off\n",
    "carriage returns alone": "time_us,track\r0,0\r58,1\r\r116,0\r",
    "quoted decimal commas and commas": '"time_ms","track"\n"0","0"\n"0,058","1"\n"0,116","0"\n',
    "times that floats do not hold": (
        "time,track,t2\n".replace("time", "Time [s]")
        + "1700000000.000000001,0,5\n1700000000.000058001,1,5\n1700000000.000116001,0,5\n"
    ),
}


@pytest.mark.parametrize("plain", [True, False], ids=["plain", "fast"])
@pytest.mark.parametrize("case", TRANSITIONS)
def test_layouts_of_transitions(case, plain, save, monkeypatch):
    """Units, delimiters, decimal commas, line ends and what stands between the rows."""
    if plain:
        monkeypatch.setattr(tables, "fast_rows", lambda *_: None)
    unit = {"signal": "column 2", "unit": "s"} if case.endswith("without names") else {}
    recording = read(save("a.csv", TRANSITIONS[case]), **{"signal": "track", **unit})
    assert edges_of(recording) == [58_000, 116_000]
    assert edges_of(recording) == [58_000, 116_000], "a second iteration gives the same"
    assert recording.format == "CSV of transitions"
    assert (recording.first_level, recording.end_ns) == (1, 116_000)


def test_without_a_header(save):
    """The columns are called by their numbers, and the unit must be given."""
    path = save("a.csv", "0,0,0\n58,1,0\n116,0,0\n")
    with refused(RecordingError, Reason.TIME, r"the unit of the times is not known.*unit="):
        read(path, signal="column 2")
    assert edges_of(read(path, signal="column 2", unit="us")) == [58_000, 116_000]
    assert edges_of(read(path, signal="column 3", unit="us")) == []


def test_unit_of_the_header_gives_way_to_the_option(save):
    """A unit given is used in place of the one in the header."""
    path = save("a.csv", TRANSITIONS["microseconds"])
    assert edges_of(read(path, signal="track", unit="ms", resolution=1)) == [
        58_000_000,
        116_000_000,
    ]


def test_latin_1(save):
    """A header that is not UTF-8 is read as Latin-1."""
    path = save("a.csv", "Time [µs],ö\n0,0\n58,1\n".encode("latin-1"))
    assert edges_of(read(path, signal="ö")) == [58_000]


def test_a_column_without_a_name(save):
    """A column whose header is empty is called by its number."""
    path = save("a.csv", "time_us,\n0,0\n58,1\n")
    assert read(path, signal="column 2").signal == "column 2"


def sampled(rows=400, period=10, unit="us"):
    """Rows of equal spacing, with halves of 60 us."""
    return f"time_{unit},track\n" + "".join(f"{n * period},{n // 6 % 2}\n" for n in range(rows))


def test_samples_with_times(save):
    """Equally spaced rows that repeat a level are samples, and their spacing the resolution."""
    recording = read(save("a.csv", sampled(period=5)), signal="track")
    assert recording.format == "CSV of samples"
    assert (recording.resolution_ns, recording.resolution_source) == (5000, "sample rate")
    assert edges_of(recording) == list(range(30_000, 1_990_000, 30_000))
    assert recording.end_ns == 1_995_000


def test_samples_with_rounded_times(save):
    """Times printed with few digits are as equally spaced as they can be."""
    rows = "".join(f"{n / 3_000_000:.7f},{n // 99 % 2}\n" for n in range(500))
    recording = read(save("a.csv", "Time [s],track\n" + rows), signal="track")
    assert (recording.format, recording.resolution_ns) == ("CSV of samples", 334)


@pytest.mark.parametrize(
    "text",
    [
        "".join(f"{n * 58},{n % 2}\n" for n in range(50)),
        "".join(f"{n * 58 + n % 7 * 9},{n // 2 % 2}\n" for n in range(50)),
        "".join(f"{n * 58},{n // 2 % 2}\n" for n in range(7)),
        "0,0\n" * 50,
    ],
    ids=["no level repeated", "unequal spacing", "few rows", "no time passes"],
)
def test_transitions_are_no_samples(text, save):
    """Rows are samples only if enough of them, equally spaced, repeat a level."""
    recording = read(save("a.csv", "time_us,track\n" + text), signal="track")
    assert recording.format == "CSV of transitions"


def test_samples_without_times(save):
    """Rows of levels alone need a rate."""
    path = save("a.csv", "j;k\n" + "".join(f"{n // 60 % 2};0\n" for n in range(20_000)))
    with refused(RecordingError, Reason.RATE, r"the sample rate is missing"):
        read(path)
    recording = read(path, signal="j", rate=1e6)
    assert recording.format == "CSV of samples"
    assert edges_of(recording) == list(range(60_000, 20_000_000, 60_000))
    assert (recording.resolution_ns, recording.resolution_source) == (1000, "sample rate")
    assert recording.end_ns == 19_999_000


def test_samples_that_are_counted(save):
    """A column of indices and a rate give the times."""
    path = save("a.csv", "sample,track\n" + "".join(f"{n},{n // 60 % 2}\n" for n in range(1000)))
    with refused(RecordingError, Reason.RATE, r"the sample rate is missing"):
        read(path, signal="track")
    recording = read(path, signal="track", rate=3e6)
    assert edges_of(recording)[:3] == [20_000, 40_000, 60_000]
    assert recording.resolution_ns == 334


def test_transitions_that_are_counted(save):
    """A row for each change, with the index of its sample: the rate tells the resolution."""
    rows = "".join(f"{n * 173 + n % 3},{n % 2}\n" for n in range(100))
    recording = read(save("a.csv", "sample,track\n" + rows), signal="track", rate=3e6)
    assert (recording.resolution_ns, recording.resolution_source) == (334, "sample rate")
    assert edges_of(recording)[:3] == [58_000, 116_000, 173_000]
    assert recording.notes == ()


def volts(track, noise, *, high=3.3, rise=400):
    """Samples each microsecond of a probe with noise, slow edges, and a spike beyond the levels."""
    times = np.arange(0, track[-1] + 60_000, 1000)
    sent = np.searchsorted(track, times, "right") % 2
    seen = high * np.clip(np.convolve(sent, np.ones(rise // 100) / (rise // 100), "same"), 0, 1)
    seen += np.random.default_rng(7).uniform(-noise, noise, seen.size) * high
    seen[500] = 9 * high
    rows = zip((times / 1000).tolist(), seen.tolist(), strict=True)
    return "time_us,probe,other\n" + "".join(f"{at:.0f},{volt:.3f},1.5\n" for at, volt in rows)


@pytest.mark.parametrize(("noise", "high"), [(0, 3.3), (0.1, 3.3), (0.12, 5), (0.1, -15)])
def test_volts_become_levels(noise, high, track, save):
    """By thresholds on either side of the middle: noise below a quarter is no edge."""
    recording = read(save("a.csv", volts(track, noise, high=high)))
    found = [edge for edge in edges_of(recording) if edge not in (500_000, 501_000)]
    assert len(found) == len(track)
    assert np.abs(np.array(found) - track).max() <= 3_000
    assert any("levels taken from volts: " in note for note in recording.notes)
    assert (recording.signal, recording.format) == ("probe", "CSV of samples")
    assert recording.resolution_ns == 1000


@pytest.mark.parametrize("plain", [True, False], ids=["plain", "fast"])
def test_volts_between_the_thresholds_stay_as_they_were(plain, save, monkeypatch):
    """From 0.375 to 0.625 of the way up; at the start the middle decides."""
    if plain:
        monkeypatch.setattr(tables, "fast_rows", lambda *_: None)
    steps = [0.6, 0, 0.6, 0.63, 1, 0.4, 0.37, 0, 0.5, 1, 1, 0, 0, 1, 1, 0, 0]
    rows = "".join(f"{at * 58},{volt}\n" for at, volt in enumerate(steps))
    recording = read(save("a.csv", "time_us,track\n" + rows), signal="track", resolution=1)
    edges = [edge // 58_000 for edge in edges_of(recording)]
    assert edges == [1, 3, 6, 9, 11, 13, 15]
    assert recording.notes == ("levels taken from volts: 0 below 0.375, 1 above 0.625",)


@pytest.mark.parametrize("last", ["600", "600,", "6"])
def test_a_last_line_that_is_cut_off(last, track, save):
    """What ends without a line break and is no row is left out, and told with its line."""
    recording = read(save("a.csv", transitions(track, more=last)), signal="track")
    assert edges_of(recording) == track
    assert recording.notes == (
        f"line {len(track) + 3}, the last, is left out: it is no row, and may be cut off",
    )


@pytest.mark.parametrize("header", ["time_us,track\n", "Time [s],track,other\n"])
def test_decimal_commas_between_commas(header, save):
    """Times that a comma splits are no levels: the file is refused, with what would help."""
    more = ",1" * header.count(",other")
    rows = "".join(f"0,{n * 58:06d},{n % 2}{more}\n" for n in range(20))
    told = "line 2: there are more columns than .* a decimal point, too.*; save it with semicolons"
    with refused(RecordingError, Reason.FORMAT, told):
        read(save("a.csv", header + rows), signal="track")


@pytest.mark.parametrize("size", [64, 1 << 20])
def test_thresholds_are_the_same_for_the_whole_file(size, track, save, monkeypatch):
    """What falls below them later is no edge, however the text is cut into pieces."""
    rows = [(0, 0.0)] + [(edge, 3.0 * (n % 2)) for n, edge in enumerate(track, 1)]
    rows += [(time + track[-1] + 58_000, volt / 3) for time, volt in rows[: len(rows) // 9]]
    text = "time_ns,track\n" + "".join(f"{time},{volt}\n" for time, volt in rows)
    monkeypatch.setattr(tables, "_PIECE", size)
    recording = read(save("a.csv", text), signal="track")
    last = [track[-1] + 58_000] * (rows[len(track)][1] > 1)
    assert edges_of(recording) == track + last
    assert recording.notes == ("levels taken from volts: 0 below 1.12, 1 above 1.88",)


@pytest.mark.parametrize(
    ("rows", "fits"), [([0.5, 2.5] * 4, True), ([0.5, 2.5] * 3 + [0.5], False), ([2.5] * 9, False)]
)
def test_eight_rows_of_volts_on_two_levels_are_the_fewest(rows, fits, save):
    """Volts become levels from eight rows on that are not all alike."""
    text = "time_us,track\n" + "".join(f"{at * 58},{volt}\n" for at, volt in enumerate(rows))
    path = save("a.csv", text)
    if fits:
        assert len(edges_of(read(path, signal="track"))) == 7
    else:
        with refused(RecordingError, Reason.FORMAT, "no column of the text holds levels"):
            read(path, signal="track")


def transitions(track, left_out=(), more=""):
    """A CSV of transitions without some of its rows."""
    rows = [f"{time},{n % 2}\n" for n, time in enumerate([0, *track]) if n not in left_out]
    return "time_ns,track\n" + "".join(rows) + more


@pytest.mark.parametrize("size", [256, 1 << 20])
def test_a_level_twice_in_a_row_is_a_gap(size, track, save, monkeypatch):
    """Where levels else alternate an edge is missing: a stretch that is not the signal's."""
    monkeypatch.setattr(tables, "_PIECE", size)
    recording = read(save("a.csv", transitions(track, {100, 150})), signal="track")
    gaps = [(chunk.gap, chunk.lost) for chunk in recording if chunk.gap]
    assert gaps == [((track[at - 2], track[at]), True) for at in (100, 150)]
    kept = [edge for n, edge in enumerate(track, 1) if n not in (100, 101, 150, 151)]
    assert edges_of(recording) == kept
    assert recording.notes == (
        f"2 rows, the first at {track[100] / 1e6:.3f} ms, with the level of the row before: an "
        "edge between is missing, or the row wrong",
    )
    found = {one.rule.number: one.verdict.value for one in check(recording).results}
    assert "fail" not in found.values()
    assert (found[13], found[17]) == ("undecided", "not decidable")


def test_a_row_that_marks_the_end_is_no_gap(track, save):
    """The level of the last edge once more, at the end of the recording."""
    end = track[-1] + 70_000
    recording = read(save("a.csv", transitions(track, more=f"{end},{len(track) % 2}\n")))
    assert [chunk.gap for chunk in recording] == [None]
    assert (edges_of(recording), recording.end_ns, recording.notes) == (track, end, ())


def test_levels_may_repeat_where_another_column_changes(track, save):
    """A row of several columns may be that of another one; and so may a time given twice."""
    rows = sorted([(0, 0, 0), *((time, n % 2, 0) for n, time in enumerate(track, 1))])
    rows[100:100] = [(rows[99][0] + 9_000, rows[99][1], 1)]
    text = "time_ns,track,other\n" + "".join(f"{a},{b},{c}\n" for a, b, c in rows)
    again = f"\n{track[50]},1"
    twice = transitions(track).replace(again, again * 2)
    for path in (save("a.csv", text), save("b.csv", twice)):
        recording = read(path, signal="track")
        assert [chunk.gap for chunk in recording] == [None]
        assert (edges_of(recording), recording.notes) == (track, ())


@pytest.mark.parametrize("every", [8, 14])
def test_levels_that_often_repeat_are_no_gaps(every, track, save):
    """One row in ten and more is how the file is written: the levels are taken as they stand."""
    left_out = range(every, len(track) - 1, every)
    recording = read(save("a.csv", transitions(track, left_out)), signal="track", resolution=1)
    gaps = len(left_out) if every > 10 else 0
    assert sum(chunk.gap is not None for chunk in recording) == gaps
    assert len(recording.notes) == bool(gaps)


UNITS = {"s": 1e9, "ms": 1e6, "us": 1e3, "ns": 1}


@pytest.mark.parametrize("unit", UNITS)
def test_the_unit_of_a_bare_header(unit, track, save):
    """Taken, and told, where the signal is a track signal in that unit alone."""
    rows = "".join(f"{edge / UNITS[unit]:.9f},{n % 2},1\n" for n, edge in enumerate(track, 1))
    path = save("a.csv", "time,level,quiet\n0,0,1\n" + rows)
    for signal in (None, "level"):
        recording = read(path, signal=signal)
        assert edges_of(recording) == track
        assert recording.notes[0] == (
            f"times taken in {unit}: the only unit in which this is a track signal"
        )
    with refused(RecordingError, Reason.TIME, r"the unit of the times is not known.*unit="):
        read(path, signal="quiet")


def test_rate_that_is_not_used(save):
    """Rows with times of their own keep them, and a note tells that the rate is not used."""
    recording = read(save("a.csv", TRANSITIONS["seconds"]), signal="track", rate=5)
    assert edges_of(recording) == [58_000, 116_000]
    assert recording.resolution_source != "sample rate"
    assert recording.notes == (
        "the sample rate given is not used: the rows have times of their own",
    )


BAD_ROWS = {
    "no number": ("58,1\nhello,0\n", "line 4: column 1 holds 'hello', which is no number"),
    "no level": ("58,1\n60,2\n", "line 4: '2' is no level"),
    "a number of many digits": (f"58,1\n{'1' * 401},0\n", "line 4: column 1 holds '111"),
    "an endless exponent": ("58,1\n1e-99999,0\n", "line 4: column 1 holds '1e-99999', which is no"),
    "a column too few": ("58,1\n60\n", "line 4: there is no column 2; comments begin"),
    "an empty field": ("58,1\n60,\n", "line 4: column 2 holds '', which is no number"),
    "not a number": ("58,1\nnan,0\n", "line 4: column 1 holds 'nan', which is no number"),
    "infinite": ("58,1\ninf,0\n", "line 4: column 1 holds 'inf', which is no number"),
    "too late": ("58,1\n1e300,0\n", "line 4: the time '1e300' lies beyond 292 years"),
    "too long": ("9000000000000000,1\n", "line 3: the time lies more than 292 years after"),
    "a time that runs backwards": ("58,1\n57,0\n", "line 4: time runs backwards, from 58"),
    "a quote left open": ('58,1\n"60,0\n', "line 4: there is no column 2"),
    "a field beyond all bounds": ('58,1\n"' + "9" * 140_000 + '",0\n', "line 4: column 1 holds"),
    "other digits": ("58,1\n٦٠,0\n", "line 4: column 1 holds"),
}


@pytest.mark.parametrize("plain", [True, False], ids=["plain", "fast"])
@pytest.mark.parametrize("case", BAD_ROWS)
def test_bad_row(case, plain, save, monkeypatch):
    """Each row that cannot be read is told with its line."""
    if plain:
        monkeypatch.setattr(tables, "fast_rows", lambda *_: None)
    rows, message = BAD_ROWS[case]
    start = "-9000000000000000,0\n" if case == "too long" else "0,0\n"
    reason = Reason.TIME if case == "a time that runs backwards" else Reason.FORMAT
    path = save("a.csv", "time_us,track\n" + start + rows)
    with refused(RecordingError, reason, message):
        edges_of(read(path, signal="track", resolution=1))


def test_bad_row_far_down(save):
    """Lines are counted through blocks that are read fast."""
    rows = "".join(f"{n * 58},{n % 2}\n" for n in range(200_000))
    path = save("a.csv", "time_us,track\n" + rows + "x,1\n")
    with refused(RecordingError, Reason.FORMAT, r"line 200002: column 1 holds 'x'"):
        edges_of(read(path, signal="track"))


def test_endless_row(save, monkeypatch):
    """A row without an end is not gathered for ever."""
    monkeypatch.setattr(tables, "_LONGEST_ROW", 1 << 15)
    monkeypatch.setattr(tables, "_PIECE", 1 << 15)
    path = save("a.csv", "time_us,track\n0,0\n58,1\n" + "7" * 300_000)
    with refused(RecordingError, Reason.FORMAT, r"line 4: there is no column 2"):
        edges_of(read(path, signal="track"))


@pytest.mark.parametrize("name", ["a.csv", "a.TSV", "a.txt"])
def test_a_header_alone(name, save):
    """Without a digit it is text by the name of the file alone, and told as that."""
    header = save(name, "time,level\n")
    with pytest.raises(RecordingError, match="there are no rows of numbers in the file; rows of"):
        read(header)
    with pytest.raises(RecordingError, match="is not text of numbers"):
        read(save(name, "time,level\n\0"))
    with pytest.raises(RecordingError, match="is not VCD, FST, NumPy or text of numbers"):
        read(save("a.bin", "time,level\n"))
    assert read(header, rate=1e6, bit=0, resolution=1, signal="x").format == "raw samples"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("# 1\n\n", "there are no rows of numbers in the file"),
        ("time_us,track 2\n", "there are no rows of numbers in the file"),
        ("Dear reader, there were 3 of us.\n", "there are no rows of numbers in the file"),
        ("0.5\n0.6\n", "no column of the text holds levels"),
    ],
)
def test_text_of_another_kind(text, message, save):
    """Text without rows of numbers, or without a column of levels, is refused."""
    with refused(RecordingError, Reason.FORMAT, message):
        read(save("a.txt", text))


def test_unknown_column(save):
    """A name that no column has is refused, and the nearest one is given."""
    with refused(RecordingError, Reason.SIGNAL, r"has no signal 'tack', but 'track'"):
        read(save("a.csv", TRANSITIONS["seconds"]), signal="tack")


ROWS = st.lists(
    st.tuples(
        st.one_of(
            st.integers(-(10**16), 10**16).map(str),
            st.floats(-1e7, 1e7).map(repr),
            st.sampled_from(["", "nan", "1e99", " 7 ", '"8"', "# c", "1,5", "0x10", "1_0", "\r"]),
        ),
        st.sampled_from(["0", "1", "1.0", "0e5", "", "2", '"1"', "x"]),
    ),
    max_size=6,
)


@settings(max_examples=200)
@given(
    odd=ROWS,
    steps=st.lists(st.integers(0, 10**7), max_size=30),
    tick=st.sampled_from([Fraction(1), Fraction(1000), Fraction(10**9), Fraction(1000, 3)]),
    semicolon=st.booleans(),
    cut=st.integers(0, 30),
)
def test_fast_rows_are_plain_rows(odd, steps, tick, semicolon, cut):
    """The fast reader gives what the plain one gives, or leaves the rows to it."""
    mark = ";" if semicolon else ","
    times = np.cumsum(steps).tolist()
    rows = [f"{time / 8}{mark}{n % 2}" for n, time in enumerate(times)]
    rows[cut:cut] = [mark.join(row) for row in odd]
    texts = ["\n".join(rows[:cut]) + "\n", "\n".join(rows[cut:])]
    layout = read_layout("a.csv", [f"t{mark}a", f"0{mark}0"])
    states = [RowState("a.csv", layout, 1, tick, None, line=2) for _ in range(2)]
    for text in texts:
        found = fast_rows(text, states[0])
        if found is None:
            return
        true = plain_rows(text, states[1])
        assert true is not None
        assert found.times.tolist() == true.times.tolist()
        assert found.levels.tolist() == true.levels.tolist()
        assert states[0] == states[1]


@pytest.mark.parametrize(
    "text",
    ["\n\n", "5,1\n6,2\n", "5,1\nnan,1\n", "5,0\n1e300,0\n", "5,0\n4,1\n", "x,1\n", "5\n", "1,0\n"],
)
def test_rows_left_to_the_plain_reader(text):
    """Whatever is not clean is left alone, and so is the state."""
    layout = read_layout("a.csv", ["t,a", "2,0"])
    states = [RowState("a.csv", layout, 1, Fraction(1), None, line=2, zero=0, time=2) for _ in "ab"]
    assert fast_rows(text, states[0]) is None
    assert states[0] == states[1]


@pytest.mark.parametrize("size", [1, 7, 64])
def test_pieces_of_any_size(size, save, monkeypatch):
    """Cutting the text anywhere changes nothing."""
    path = save("a.csv", TRANSITIONS["blank lines and comments"])
    monkeypatch.setattr(tables, "_PIECE", size)
    assert edges_of(read(path, signal="track")) == [58_000, 116_000]
