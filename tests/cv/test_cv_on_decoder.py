"""What is written makes a simulated decoder hold the new set: random pairs, always the same."""

import random
from collections.abc import Iterable
from pathlib import Path

import pytest

from dccwire import Packet
from dccwire.cv import (
    CvKey,
    CvSet,
    IndexedCv,
    to_csv,
    to_json,
    writes,
)
from dccwire.decoder import Decoder, Options
from dccwire.errors import FieldError
from dccwire.plan import read_plan
from dccwire.programming import Answer, write_cvs
from dccwire.receiver import Receiver
from dccwire.synthesis import Sending, synthesize
from written_sets import operations_packets

BASE = {1: 3, 15: 0, 16: 0, 17: 192, 18: 0, 19: 0, 29: 2, 31: 16, 32: 0}
POOL = [1, 2, 3, 5, 9, 15, 16, 17, 18, 19, 21, 29, 31, 32, 67, 94, 257, 300, 512, 513, 1024]
CHOICES = {
    1: range(1, 128),
    15: range(3),
    16: range(3),
    17: range(192, 232),
    19: [0, 5, 133],
    29: [0, 2, 6, 32, 34, 38],
    31: [16, 17, 255],
    32: [0, 1],
}
"""Legal values, S-9.2.2, and few where they are to meet again."""

PAIRS = 300


def random_values(rng: random.Random) -> dict[CvKey, int]:
    values: dict[CvKey, int] = {}
    for cv in rng.sample(POOL, rng.randint(1, len(POOL))):
        values[cv] = rng.choice(CHOICES.get(cv, range(256)))
    for cv in rng.sample([257, 300, 512], rng.randint(0, 3)):
        page = rng.choice([16, 17, 255]), rng.choice([0, 1])
        values[IndexedCv(*page, cv)] = rng.randrange(256)
    return values


def random_pair(rng: random.Random) -> tuple[CvSet, CvSet]:
    """All that the address and the pages hang on is known of the old set; the new has any CVs."""
    while True:
        try:
            old = CvSet(BASE | random_values(rng))
            new = random_values(rng)
            new |= {key: old[key] for key in rng.sample(list(old), rng.randint(0, 3))}
            _ = CvSet({31: old[31], 32: old[32], **new})
            return old, CvSet(new)
        except FieldError as error:
            if "no second value" not in error.bound:  # plain and indexed at once: another pair
                raise


def on_main(decoder: Decoder, packets: Iterable[Packet]) -> None:
    """Send them without a pause."""
    now = 0
    for packet in packets:
        start, now = now + 14 * 116_000, now + packet.duration_ns(preamble=14)
        decoder.take(packet, start, now)


def on_programming_track(decoder: Decoder, old: CvSet, new: CvSet) -> None:
    """Send them as a programmer does, told of every acknowledgement; each value is confirmed."""
    now = 0
    session = write_cvs(old, new, confirm=True)
    while (sent := session.sending) is not None:
        start = now + sent.preamble * 116_000
        now += sent.packet.duration_ns(preamble=sent.preamble)
        heard = decoder.take(sent.packet, start, now)
        session.take(Answer.ACKNOWLEDGED if heard else Answer.SILENCE)
    assert session.result == writes(old, new)


def _where(key: CvKey, high: int, low: int) -> CvKey:
    """A plain CV 257 to 512 with its page."""
    on_page = isinstance(key, int) and 257 <= key <= 512
    return IndexedCv(high, low, key) if on_page else key


def read(decoder: Decoder, key: CvKey) -> int:
    return decoder.cvs[key] if isinstance(key, IndexedCv) else decoder.cv(key)


def assert_holds(decoder: Decoder, old: CvSet, new: CvSet) -> None:
    """The new set, and what it does not speak of as before, each CV on its page."""
    for key in new:
        assert read(decoder, key) == new[key], key
    named = {_where(key, decoder.cv(31), decoder.cv(32)) for key in new}
    for key in set(old) - set(new):
        where = _where(key, old[31], old[32])
        if where not in named:
            assert read(decoder, where) == old[key], key
    assert not decoder.ignored


@pytest.mark.parametrize("chunk", range(10))
def test_the_decoder_ends_up_holding_the_new_set(chunk: int) -> None:
    """On the main and on the programming track, plain and indexed CVs, locks and addresses."""
    for seed in range(chunk, PAIRS, 10):
        old, new = random_pair(random.Random(seed))
        decoder = Decoder(Options(factory=old))
        address = decoder.address
        assert address is not None
        on_main(decoder, operations_packets(old, new, address))
        assert_holds(decoder, old, new)
        decoder = Decoder(Options(factory=old))
        on_programming_track(decoder, old, new)
        assert_holds(decoder, old, new)


def compose(decoder: Decoder, plan: str) -> None:
    """The plan as a signal, through a receiver, to the decoder."""
    idle = Sending(bytes(Packet.from_text("idle: Idle")))
    sendings = [*read_plan(plan.splitlines()), idle]  # the receiver waits for the edge after
    receiver = Receiver()
    for event in [*receiver.feed(list(synthesize(sendings))), *receiver.close()]:
        decoder.take(event)


@pytest.mark.parametrize("seed", range(1000, 1012))
def test_the_printed_plans_do_it_as_well(run, tmp_path: Path, seed: int) -> None:
    """`cv --compare --packets`, composed as it stands, on either track."""
    old, new = random_pair(random.Random(seed))
    paths = [str(tmp_path / name) for name in ("old.json", "new.csv")]
    Path(paths[0]).write_text(to_json(old))
    Path(paths[1]).write_text(to_csv(new))
    for track in (None, "programming-track"):
        decoder = Decoder(Options(factory=old))
        assert decoder.address is not None
        own = f"{decoder.address.kind} {decoder.address.number}"
        status, plan, _ = run("cv", "--compare", *paths, "--packets", track or own)
        assert status == 0
        compose(decoder, plan)
        assert_holds(decoder, old, new)
