"""What a CV's value means: every CV, every value, for both kinds of decoder."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire import cv
from dccwire.cv import CvStatus, DecoderKind, catalogue, describe, entry, explain_cvs
from dccwire.cv.catalogue import present
from dccwire.errors import FieldError
from refusals import refused

RENUMBERED = (*range(513, 522), 540, 541)
"""Old numbers of an accessory decoder's CVs (S-9.2.2, Table 3)."""

KINDS = st.sampled_from(DecoderKind)
NUMBERS = st.integers(1, 1024) | st.sampled_from(RENUMBERED)
VALUES = st.dictionaries(NUMBERS, st.integers(0, 255), min_size=1, max_size=6)

CONFIGURATION = """\
CV 29 = 102: configuration (mandatory where any of its features exists)
switches of the decoder

cv    bits       layout     meaning
29    0110 0110  0RAT BPHD  Configuration, S-9.2.2, CV 29
                  R         bit 6: reserved=bit-6 (kept)
                   A        bit 5: extended_addressing=yes: two-byte address, CV
                            17, 18
                    T       bit 4: speed_table=no: by CV 2, 5, 6
                      B     bit 3: bidirectional_communication=no: disabled
                       P    bit 2: power_source_conversion=yes: sources of CV 12
                        H   bit 1: headlight_in_function_group=yes: FL in
                            function group one: 28 steps
                         D  bit 0: direction_reversed=no: normal direction
= Configuration direction_reversed=no headlight_in_function_group=yes
  power_source_conversion=yes bidirectional_communication=no speed_table=no
  extended_addressing=yes reserved=bit-6"""


def test_a_configuration_laid_out() -> None:
    """Each bit with its letter, field and words; reserved bits that are set are told."""
    assert describe(29, 102).text() == CONFIGURATION


def test_an_explanation_as_json_names_the_bits_of_each_field() -> None:
    """S-9.2.2, CV 17 and 18 and CV 19: a pair of CVs, and a bit beside a field of seven."""
    long, consist = (one.to_dict() for one in explain_cvs({17: 196, 18: 181, 19: 131}))
    assert (long["cvs"], consist["cvs"]) == ({"17": 196, "18": 181}, {"19": 131})
    assert [entry["name"] for entry in long["entries"]] == ["extended address"]
    (reading,) = long["readings"]
    assert reading["value"] == {"type": "ExtendedAddress", "address": 1205}
    assert reading["words"] == "long 1205, while CV 29 bit 5 is 1"
    assert [(one["cv"], one["bits"]) for one in reading["bits"]] == [(17, "5-0"), (18, "7-0")]
    assert consist["readings"][0]["bits"] == [
        {"cv": 19, "bits": "7", "meaning": "reversed=yes"},
        {"cv": 19, "bits": "6-0", "meaning": "address=3"},
    ]


@given(VALUES, KINDS, st.integers(40, 100))
def test_every_value_can_be_explained(values: dict, decoder: DecoderKind, width: int) -> None:
    """Nothing is refused, nothing lost, no line is wider than asked for, all is plain text."""
    explained = explain_cvs(values, decoder)
    seen = [number for one in explained for number in one.values]
    assert sorted(seen) == sorted(values)
    for one in explained:
        text = one.text(width)
        assert all(len(line) <= width for line in text.splitlines())
        assert json.loads(json.dumps(one.to_dict()))["decoder"] == decoder.value
        for reading in one.readings:
            bits: dict[int, str] = {}
            held = {present(cv, decoder): value for cv, value in one.values.items()}
            for row in reading.rows:
                number = reading.format.cvs[row.byte]
                bits[number] = bits.get(number, "") + row.bits
            assert set(bits) <= set(held)
            if reading.value is not None:
                assert reading.value.to_cvs() == held


@given(NUMBERS, st.integers(0, 255), KINDS)
def test_rows_show_the_bits_of_the_layout(number: int, value: int, decoder: DecoderKind) -> None:
    """Each row's bits are those of the value at its place; with the fixed bits they are eight."""
    for reading in describe(number, value, decoder).readings:
        place = reading.format.cvs.index(present(number, decoder))
        line = reading.format.layout.line.split(" ")[place]
        letters = 0
        for row in reading.rows:
            assert row.bits == f"{value:08b}"[7 - row.first : 8 - row.last]
            assert row.letters == line[7 - row.first : 8 - row.last]
            letters += len(row.letters)
        assert letters == sum(character.isalpha() for character in line)


@pytest.mark.parametrize("decoder", DecoderKind)
def test_the_catalogue_names_every_cv_once(decoder: DecoderKind) -> None:
    """1 to 1024, without holes, in order."""
    numbers = [n for one in catalogue(decoder) for n in range(one.first, one.last + 1)]
    assert numbers == list(range(1, 1025))
    for one in catalogue(decoder):
        assert entry(one.first, decoder) == entry(one.last, decoder) == one
        assert one.content


def test_statuses_are_those_of_the_standard() -> None:
    """Typed in from S-9.2.2, Tables 1 and 3: mandatory, recommended, reserved."""

    def numbers(decoder: DecoderKind, status: CvStatus) -> set[int]:
        return {n for n in range(1, 1025) if entry(n, decoder).status is status}

    multi, accessory = DecoderKind
    assert numbers(multi, CvStatus.MANDATORY) == {1, 7, 8}
    assert numbers(multi, CvStatus.CONDITIONAL) == {29}
    assert numbers(multi, CvStatus.RECOMMENDED) == {2, 3, 4, 11}
    reserved = {20, 26, *range(96, 105), *range(107, 112), *range(880, 892)}
    assert numbers(multi, CvStatus.RESERVED) == reserved
    maker = {*range(47, 65), *range(112, 257), *range(513, 880)}
    assert numbers(multi, CvStatus.MANUFACTURER) == maker
    assert numbers(accessory, CvStatus.MANDATORY) == {1, 7, 8, 9}
    assert numbers(accessory, CvStatus.CONDITIONAL) == {29}  # footnote 1 of Table 3
    old = {*RENUMBERED}
    optional = {*range(2, 7), 28, 31, 32, *range(257, 513)}
    assert numbers(accessory, CvStatus.OPTIONAL) == optional | old
    reserved = {*range(10, 28), 30, *range(82, 112), *range(896, 1025)}
    assert numbers(accessory, CvStatus.RESERVED) == reserved
    maker = {*range(33, 82), *range(112, 257), *range(513, 896)} - old
    assert numbers(accessory, CvStatus.MANUFACTURER) == maker


def test_the_flags_of_cv_29_say_which_cvs_and_steps_they_choose() -> None:
    """Each bit 0 and 1 (S-9.2.2, CV 29; V5)."""
    words = {
        value: [row.meaning.split(": ")[-1] for row in describe(29, value).readings[0].rows[-6:]]
        for value in (0, 0x3F)
    }
    assert words == {
        0: [
            *("one-byte address, CV 1", "by CV 2, 5, 6", "disabled", "digital only"),
            *("14 steps", "normal direction"),
        ],
        0x3F: [
            *("two-byte address, CV 17, 18", "by CV 67-94, trims 66, 95 (V5)", "enabled"),
            *("sources of CV 12", "28 steps", "forward and reverse change places"),
        ],
    }


def test_read_only_is_what_the_tables_print() -> None:
    """CV 7 and 8; of accessory decoders 8 alone, by both its numbers."""
    found = {
        decoder: {n for n in range(1, 1025) if entry(n, decoder).read_only}
        for decoder in DecoderKind
    }
    assert found == {DecoderKind.MULTI_FUNCTION: {7, 8}, DecoderKind.ACCESSORY: {8, 520}}


def test_old_numbers_of_accessory_decoders_say_which_cv_they_are() -> None:
    """512 + n, as Table 3 prints them in brackets."""
    for old in RENUMBERED:
        one, same = entry(old, DecoderKind.ACCESSORY), entry(old - 512, DecoderKind.ACCESSORY)
        assert (one.name, one.first - 512, one.last - 512) == (same.name, same.first, same.last)
        assert one.content.startswith(f"old number of CV {same.first}")
        assert one.content.endswith(same.content)
    assert entry(516, DecoderKind.ACCESSORY).content.startswith("old number of CV 3 to 6: how")
    assert "old number" not in entry(522, DecoderKind.ACCESSORY).content
    assert "old number" not in entry(513).content


OLD = """\
CV 513 = 14: decoder address, low (optional)
old number of CV 1: low part of the address, by default 1

! address has bits in CV 9 too, not given here
cv    bits       layout     meaning
513   0000 1110  RRAA AAAA  AccessoryDecoderAddressing, S-9.2.2, CV 1 [513] and
                            9 [521], decoder addressing
                 RR         bits 7-6: reserved_low=none
                   AA AAAA  bits 5-0: address: bits 5-0 of it

! number has bits in CV 9 too, not given here
cv    bits       layout     meaning
513   0000 1110  AAAA AAAA  AccessoryOutputAddressing, S-9.2.2, CV 1 [513] and 9
                            [521], output addressing
                 AAAA AAAA  bits 7-0: number: bits 7-0 of it"""


def test_an_old_number_laid_out() -> None:
    """What the new one shows, under the number that was given, and that it is an old one."""
    assert describe(513, 14, DecoderKind.ACCESSORY).text() == OLD


@pytest.mark.parametrize("numbers", [RENUMBERED[::-1], RENUMBERED[:-1], (541,), (513, 521)])
def test_old_numbers_show_what_the_new_ones_do(numbers: tuple[int, ...]) -> None:
    """Fields, value, words, notes; together where they belong together, CV 541 chooses too."""
    accessory = DecoderKind.ACCESSORY
    values = {number: number % 7 + 192 * (number == 541) for number in numbers}
    old = explain_cvs(values, accessory)
    new = explain_cvs({number - 512: value for number, value in values.items()}, accessory)
    for one, same in zip(old, new, strict=True):
        assert one.values == {number + 512: value for number, value in same.values.items()}
        for reading, other in zip(one.readings, same.readings, strict=True):
            assert reading.cvs == tuple(number + 512 for number in other.cvs)
            assert replace(reading, cvs=other.cvs) == other
        for plain, today in zip(*(x.to_dict()["readings"] for x in (one, same)), strict=True):
            rows = [{**row, "cv": row["cv"] + 512} for row in today["bits"]]
            assert plain == {**today, "bits": rows}


def test_an_old_number_is_one_of_an_accessory_decoder_alone() -> None:
    """1 to 9, 28 and 29 have one (S-9.2.2, Table 3)."""
    assert describe(541, 192).readings == ()  # a number of its maker's for others
    for number, now in ((513, 1), (521, 9), (522, 522), (540, 28), (541, 29), (542, 542), (3, 3)):
        assert present(number, DecoderKind.ACCESSORY) == now
        assert present(number, DecoderKind.MULTI_FUNCTION) == number


@pytest.mark.parametrize("wrong", ["accessories", None, 3])
def test_a_kind_of_decoder_is_one_of_two_or_its_value(wrong) -> None:
    """Nothing else is taken for one of them."""
    same = describe(29, 192, "accessory")
    assert same == describe(29, 192, DecoderKind.ACCESSORY)
    assert cv.to_csv(cv.CvSet(), decoder="accessory") == "cv,value,comment\n"
    assert cv.writes(cv.CvSet(), cv.CvSet({7: 1}), decoder="accessory")[0].cv == 7
    for call in (
        lambda: describe(29, 6, wrong),
        lambda: explain_cvs({29: 6}, wrong),
        lambda: entry(29, wrong),
        lambda: catalogue(wrong),
        lambda: cv.value_types(29, wrong),
        lambda: cv.to_csv(cv.CvSet(), decoder=wrong or 0),
        lambda: cv.writes(cv.CvSet(), cv.CvSet(), decoder=wrong),
    ):
        with refused(FieldError, field="decoder", bound="'multi-function' or 'accessory'"):
            call()


def test_reserved_and_unknown_cvs_say_so() -> None:
    """Without bits, as there is no format."""
    assert describe(26, 4).text() == "CV 26 = 4: reserved\nreserved by the standard"
    assert "from memory: LongConsistAddress" in describe(20, 4).text()
    assert describe(600, 1).text().startswith("CV 600 = 1: manufacturer unique\n")
    assert describe(7, 1).text().startswith("CV 7 = 1: manufacturer version (mandatory), read only")
    assert "reserved for the use of makers" in entry(880).content
    assert "reserved for the use of makers" in entry(891).content
    assert describe(300, 1).entries[0].name == "indexed area"
    assert describe(3, 1, DecoderKind.ACCESSORY).entries[0].name == "on-time of F1 to F4"


def test_bit_7_of_cv_29_turns_to_the_table_of_accessory_decoders() -> None:
    """And says so; a decoder known as accessory needs the bit."""
    (reading,) = describe(29, 0xC0).readings
    assert reading.value == cv.AccessoryConfiguration(output_addressing=True)
    assert reading.notes == ("bit 7 = 1: this is the configuration of an accessory decoder",)
    (reading,) = describe(29, 0x40, DecoderKind.ACCESSORY).readings
    assert (reading.value, reading.notes) == (None, ("CV 29: bit 7 = 1 expected, 64 given",))


def test_half_of_a_pair_says_what_is_missing() -> None:
    """A field that goes on in another CV; masks and tables stand alone."""
    (reading,) = describe(17, 196).readings
    assert reading.value is None
    assert reading.notes == ("address has bits in CV 18 too, not given here",)
    assert [row.meaning for row in reading.rows] == ["address: bits 13-8 of it"]
    (reading,) = describe(21, 5).readings
    assert (reading.notes, reading.rows[0].meaning) == (
        (),
        "functions=F1,F3 of F8 F7 F6 F5 F4 F3 F2 F1",
    )
    (reading,) = describe(22, 0xC1).readings
    assert [row.meaning for row in reading.rows] == [
        "reserved=bit-6,bit-7 (kept)",
        "functions=FL-forward of F12 F11 F10 F9 FL-reverse FL-forward",
    ]
    (reading,) = describe(94, 200).readings
    assert (reading.notes, reading.rows[0].meaning) == ((), "number 28 of points: 200")
    (reading,) = describe(31, 3).readings
    assert reading.notes == ("high: 16 to 255 expected, 3 given",)
    (reading,) = describe(36, 8).readings
    assert reading.rows[0].meaning == "f2=4 of 8 7 6 5 4 3 2 1"


def test_what_a_strict_reading_refuses_is_a_note() -> None:
    """Every fault, with field, bound and value."""
    (reading,) = explain_cvs({31: 3, 32: 0})[0].readings
    assert reading.notes == ("high: 16 to 255 expected, 3 given",)
    lines = explain_cvs({31: 3, 32: 0})[0].text().splitlines()
    told = lines.index("! high: 16 to 255 expected, 3 given")
    assert lines[told - 1 : told + 2 : 2] == ["", "cv    bits       layout     meaning"], "first"
    assert list(map(str, cv.LongConsistAddress.faults({19: 100, 20: 255}))) == [
        "CV 20: bit 7 = 0 expected, 255 given",
        "rest: 0 to 99 expected, 100 given",
        "hundreds: 0 to 102 expected, 127 given",
    ]


def test_accessory_addresses_have_two_readings_unless_cv_29_chooses() -> None:
    """Bit 6: 0 decoder addressing, 1 output addressing."""
    types = {
        None: [cv.AccessoryDecoderAddressing, cv.AccessoryOutputAddressing],
        0x80: [cv.AccessoryDecoderAddressing],
        0xC0: [cv.AccessoryOutputAddressing],
    }
    for configuration, expected in types.items():
        values = {9: 0, 1: 14} | ({} if configuration is None else {29: configuration})
        explained = explain_cvs(values, DecoderKind.ACCESSORY)
        assert explained[0].values == {1: 14, 9: 0}
        assert [one.format for one in explained[0].readings] == expected


def test_formats_of_one_cv_have_the_same_cvs() -> None:
    """So that those given together belong together, whichever format reads them."""
    for decoder in DecoderKind:
        for number in range(1, 1025):
            assert len({one.cvs for one in cv.value_types(number, decoder)}) <= 1


def test_many_cvs_are_named_by_their_ends() -> None:
    """The rows have the values."""
    table = cv.SpeedTable.linear(start=1, high=255)
    text = cv.explain_value(table).text()
    assert text.startswith("CV 67 to 94, 28 values: speed table (optional)\n")
    assert "94    1111 1111  PPPP PPPP  bits 7-0: number 28 of points: 255" in text
    assert "28 points from 1 to 255" in text


@pytest.mark.parametrize(
    ("number", "value", "field"), [(0, 3, "cv"), (1025, 3, "cv"), (3, 256, "CV 3"), (3, -1, "CV 3")]
)
def test_what_is_no_cv_or_no_value_is_refused(number: int, value: int, field: str) -> None:
    """There is nothing to explain."""
    with refused(FieldError, field=field):
        describe(number, value)
