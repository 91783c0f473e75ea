"""A simulated decoder that is built as one that is described."""

from pathlib import Path

import pytest

from dccwire.cv import CvSet, IndexedCv, description_from_toml, from_csv
from dccwire.decoder import Decoder, Ignored, Options
from dccwire.errors import FieldError
from dccwire.programming import Answer, DirectCv, conversation, read_byte, write_cvs
from refusals import refused

SETUPS = Path(__file__).parent.parent.parent / "vectors/setups"
OWN = description_from_toml((SETUPS / "harbour-sound.toml").read_text("utf-8"))


def talk(decoder: Decoder, session, time: int = 0):
    """The session's result, as the decoder answers, from a time on."""

    def answer(outgoing):
        nonlocal time
        heard = decoder.take(outgoing.packet, time, time + 8_000_000)
        time += 8_000_000
        return Answer.ACKNOWLEDGED if heard else Answer.SILENCE

    for _ in conversation(session, answer):
        pass
    return session.result


def test_its_defaults_are_what_it_holds() -> None:
    """The description's over those of the simulation, and the caller's over both; on any page."""
    decoder = Decoder(Options(description=OWN, factory={112: 33, 8: 99}))
    assert [decoder.cv(cv) for cv in (112, 8, 7, 3, 29, 113)] == [33, 99, 1, 8, 6, 80]
    assert [decoder.cv(cv) for cv in (31, 32, 257, 259, 263, 264)] == [16, 0, 1, 2, 0, 2]
    assert {**decoder.cvs, 112: 120}.items() >= OWN.defaults.items()
    assert Decoder().cv(112) == 0


@pytest.mark.parametrize(
    ("number", "has"),
    [
        *((47, True), (55, False), (112, True), (124, False), (200, True), (20, False)),
        *((3, True), (66, True), (894, True), (900, False), (257, True), (285, False)),
    ],
)
def test_it_has_what_is_described_and_what_the_standard_names(number: int, has: bool) -> None:
    """Of those left to the maker no other, but for what the caller gives."""
    decoder = Decoder(Options(description=OWN, factory={200: 1}))
    before = decoder.cv(number)
    written = talk(decoder, write_cvs(CvSet(), CvSet({number: 77})))
    assert (decoder.cv(number), bool(written)) == ((77, True) if has else (before, False))
    assert (decoder.ignored.get(Ignored.ABSENT, 0) > 0) is not has


def test_a_described_cv_needs_no_default() -> None:
    """It is 0 until it is written."""
    text = 'name = "quay"\n[[cv]]\nnumber = 60\nname = "lamp"\nlayout = "VVVVVVVV"'
    decoder = Decoder(Options(description=description_from_toml(text)))
    assert decoder.cv(60) == 0
    assert talk(decoder, write_cvs(CvSet(), CvSet({60: 7, 61: 7})))
    assert (decoder.cv(60), decoder.cv(61)) == (7, 0)


def test_an_index_page_that_is_not_described_has_no_cvs() -> None:
    """The same numbers on the described page do."""
    decoder = Decoder(Options(description=OWN))
    keys = {IndexedCv(16, 0, 263): 0, IndexedCv(16, 1, 263): 0}
    new = {IndexedCv(16, 0, 263): 8, IndexedCv(16, 1, 263): 8}
    talk(decoder, write_cvs(CvSet(keys) | {31: 16, 32: 0}, CvSet(new)))
    assert decoder.cvs[IndexedCv(16, 0, 263)] == 8
    assert IndexedCv(16, 1, 263) not in decoder.cvs


def test_the_shipped_set_can_be_written_into_it() -> None:
    """On the programming track, from its defaults: it holds the set then, as far as known."""
    new = from_csv((SETUPS / "harbour-sound.csv").read_text("utf-8"))
    decoder = Decoder(Options(description=OWN))
    known = new.without(7, 8, 124)
    talk(decoder, write_cvs(decoder.cvs, known, decoder=OWN))
    assert {key: decoder.cvs[key] for key in known} == dict(known)
    assert talk(decoder, read_byte(DirectCv(112)), 10**12) == 90


def test_a_described_accessory_decoder_is_not_simulated() -> None:
    """The simulated one is a multi-function decoder."""
    gate = description_from_toml('name = "gate"\ndecoder = "accessory"')
    with refused(FieldError, field="description", value="accessory"):
        Options(description=gate)
