"""An ideal decoder that knows nothing of the library, and a track that loses and invents."""

from collections.abc import Callable, Collection, Iterable
from itertools import groupby

from hypothesis import strategies as st

from dccwire.programming import Answer, Outgoing, Session, conversation

RESET = "000000"


class IdealDecoder:
    """Obeys service mode packets as S-9.2.3 says: the second identical one, and any after it.

    `cvs` holds values by CV, those of index pages by (CV 31, CV 32, CV); CVs that are not there
    are not answered. `writes` says whether it acknowledges writes.
    """

    def __init__(self, cvs, *, page: int = 1, writes: bool = True, keeps_page: bool = False):
        self.cvs = dict(cvs)
        self.page, self.writes, self.keeps_page = page, writes, keeps_page
        self.armed, self.last = False, b""
        self.heard: list[bytes] = []

    def __call__(self, sending: Outgoing) -> Answer:
        """The answer to what is sent."""
        assert sending.preamble >= 20  # S-9.2.3 §E, Long Preamble
        if sending.power_on:
            self.armed, self.last = False, b""
            self.page = self.page if self.keeps_page else 1
        heard = self.hear(bytes(sending.packet))
        return Answer.ACKNOWLEDGED if heard else Answer.SILENCE

    def hear(self, data: bytes) -> bool:
        """Whether a packet is acknowledged."""
        self.heard.append(data)
        again, self.last = data == self.last, data
        if data == bytes(3):
            self.armed = True
        elif not (0x70 <= data[0] <= 0x7F and len(data) in (3, 4)):
            self.armed = False
        elif self.armed and again:
            return self.direct(*data[:3]) if len(data) == 4 else self.register(*data[:2])
        return False

    def key(self, cv: int):
        """Where a CV is kept."""
        plain = cv in self.cvs or not 257 <= cv <= 512
        return cv if plain else (self.cvs.get(31), self.cvs.get(32), cv)

    def access(self, cv: int, value: int, mask: int, write: bool) -> bool:
        """Verify or write the bits of a mask."""
        key = self.key(cv)
        if key not in self.cvs:
            return False
        if write:
            self.cvs[key] = self.cvs[key] & ~mask | value & mask
            return self.writes
        return (self.cvs[key] ^ value) & mask == 0

    def direct(self, first: int, second: int, data: int) -> bool:
        """0111CCAA AAAAAAAA DDDDDDDD."""
        cv, kind = ((first & 3) << 8 | second) + 1, first >> 2 & 3
        if kind == 0b10:
            place = data & 7
            return self.access(cv, (data >> 3 & 1) << place, 1 << place, bool(data >> 4 & 1))
        return self.access(cv, data, 255, kind == 0b11)

    def register(self, first: int, data: int) -> bool:
        """0111CRRR DDDDDDDD."""
        write, number = bool(first & 8), first & 7
        if number == 5:
            if write:
                self.page = data
                return self.writes
            return self.page == data
        base = ((self.page or 256) - 1) * 4 + 1
        cv = {4: 29, 6: 7, 7: 8}.get(number, base + number)
        return self.access(cv, data, 255, write)


def losses(most: int) -> st.SearchStrategy[set[int]]:
    """Numbers of packets up to one: some here and there, or all of some stretches."""
    stretches = st.lists(st.tuples(st.integers(0, most), st.integers(1, 15)), max_size=8)
    together = stretches.map(lambda ones: {at + n for at, size in ones for n in range(size)})
    return st.one_of(st.sets(st.integers(0, most)), together)


class Noisy:
    """A track on which packets get lost, acknowledgements get lost, and false ones are seen.

    By the number of the packet, from 0 on; `false` may be a function of number and bytes.
    """

    def __init__(
        self,
        decoder: IdealDecoder,
        lost: Collection[int] = (),
        unseen: Collection[int] = (),
        false: Callable[[int, bytes], bool] = lambda number, data: False,
    ):
        self.decoder, self.lost, self.unseen, self.false = decoder, lost, unseen, false
        self.number = -1

    def __call__(self, sending: Outgoing) -> Answer:
        """What the programmer sees."""
        self.number += 1
        seen = False
        if self.number not in self.lost:
            seen = self.decoder(sending) is Answer.ACKNOWLEDGED
        seen = seen and self.number not in self.unseen
        seen = seen or self.false(self.number, bytes(sending.packet))
        return Answer.ACKNOWLEDGED if seen else Answer.SILENCE


def silence(sending: Outgoing) -> Answer:
    """Nobody there."""
    return Answer.SILENCE


def sent(session: Session, respond=silence) -> list[Outgoing]:
    """All that a session sends."""
    return [sending for sending, _ in conversation(session, respond)]


def runs(session: Session, respond=silence) -> list[tuple[str, int]]:
    """What a session sends, as hex and how often in a row."""
    return counted(sent(session, respond))


def counted(outgoing: Iterable[Outgoing]) -> list[tuple[str, int]]:
    """Bytes in hex and how often in a row; the power comes on before a count of its own."""
    found: list[tuple[str, int]] = []
    for data, group in groupby(outgoing, key=lambda one: bytes(one.packet).hex()):
        for one in group:
            if one.power_on or not found or found[-1][0] != data:
                found.append((data, 0))
            found[-1] = (data, found[-1][1] + 1)
    return found


def result(session: Session, respond=silence):
    """The result of a session, once it is over."""
    for _ in conversation(session, respond):
        pass
    return session.result
