"""What the texts ask of a station's packets, as plain Python on bytes and times.

Written from S-9.2 §A to C, S-9.2.1 §A, C and D and S-9.2.4 §A, without the judge of the library.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterator, Sequence
from itertools import pairwise

from station_helpers import CONSIST, UNITS, Run, Sent

IDLE, RESET = bytes.fromhex("FF00FF"), bytes(3)
STOP_ALL = bytes.fromhex("007171")
"""01DC000S with D = C = S = 1 (S-9.2 §B)."""
APART_NS = 5_000_000
ALL = b"\0"


def own(address: object) -> bytes:
    """The bytes of a short or a long address (S-9.2.1 §A)."""
    number: int = address.number  # type: ignore[attr-defined] # of both kinds
    short = type(address).__name__ == "ShortAddress"
    return bytes((number,)) if short else bytes((0xC0 + number // 256, number % 256))


NINE, ITS_UNITS = own(CONSIST), frozenset(map(own, UNITS))


def to(data: bytes) -> bytes:
    """Whom a packet is to: the bits of its address; none for an idle packet.

    Bits 6 to 4 of an accessory's second byte are address; its bit 7 tells the formats apart, of
    which the extended one has two address bits more (S-9.2.1 §D).
    """
    first, second = data[:2]
    if first == 255:
        return b""
    if first < 128:
        return data[:1]
    if first < 192:
        return bytes((first, second & (0xF0 if second & 0x80 else 0xF6)))
    return data[:2]


def code(data: bytes) -> bytes:
    """The bytes of the instruction of a packet to a multi-function decoder."""
    return data[len(to(data)) : -1]


def is_accessory(whom: bytes) -> bool:
    """128 to 191 (S-9.2.1 §A)."""
    return 128 <= whom[0] <= 191


def reaches(one: bytes, other: bytes, *, coupled: bool) -> bool:
    """Whether some decoder hears packets to both addresses.

    A broadcast reaches all of its kind: 0, 10111111 1000.... and 10111111 00000111.
    """
    if not one or not other:
        return False
    if one == other:
        return True
    if is_accessory(one) or is_accessory(other):
        same_format = is_accessory(one) and is_accessory(other) and one[1] >> 7 == other[1] >> 7
        return same_format and bool({b"\xbf\x80", b"\xbf\x06"} & {one, other})
    if ALL in (one, other):
        return True
    return coupled and NINE in (one, other) and bool(ITS_UNITS & {one, other})


def audit(run: Run) -> None:
    """Everything that the texts ask for, of a run that was sent to its end."""
    begins(run.sent, new=run.new)
    is_apart(run.sent)
    is_quick(run.sent)
    stops_first(run)
    writes_twice(run)
    repeats_high_functions(run.sent)
    keeps_accessories_in_order(run)


def begins(sent: Sequence[Sent], *, new: bool) -> None:
    """20 resets, then 10 idles (S-9.2.4 §A), and no reset ever after."""
    resets = [place for place, one in enumerate(sent) if one.data == RESET]
    assert resets == ([*range(min(20, len(sent)))] if new else [])
    assert all(one.data == IDLE for one in sent[20:30]) or not new


def is_apart(sent: Sequence[Sent]) -> None:
    """From end bit to start bit 5 ms or more for each decoder (S-9.2 §C); resets are exempt."""
    for place, one in enumerate(sent):
        for number in range(place + 1, len(sent)):
            other = sent[number]
            if other.start - one.end >= APART_NS:
                break
            met = reaches(to(one.data), to(other.data), coupled=other.coupled)
            assert not met or one.data == RESET, (place, one.data.hex(" "), other.data.hex(" "))


def is_quick(sent: Sequence[Sent]) -> None:
    """A start bit each 30 ms (S-9.2 §C)."""
    for one, other in pairwise(sent):
        assert other.start - one.start <= 30_000_000


def stop_code(data: bytes) -> bool:
    """Whether a packet is an emergency stop (S-9.2 §B, S-9.2.1 §C)."""
    whom = to(data)
    if not whom or is_accessory(whom):
        return False
    said = code(data)
    if len(said) == 1 and 0x40 <= said[0] <= 0x7F:
        return said[0] & 0b1111 == 1
    return len(said) == 2 and said[0] == 0b0011_1111 and said[1] & 0x7F == 1


def stops_first(run: Run) -> None:
    """Emergency stops go before all else, three of each, with idles between where one is heard.

    One of all takes the place of those that wait. Behind the start: nothing else, and no idle
    without need, until three of each were sent.
    """
    outstanding: dict[bytes, int] = {}
    added, coupled = set[bytes](), False
    wishes = deque(run.told)
    for place, one in enumerate(run.sent):
        while wishes and wishes[0][0] <= place:
            _, (kind, *words) = wishes.popleft()
            if kind in ("couple", "uncouple"):
                coupled = kind == "couple"
            elif kind == "add":
                added.add(own(words[0]))
            elif kind == "remove":
                added.discard(own(words[0]))
            elif kind == "stop":
                meant = stopped_by(own(words[0]), added if coupled else set()) if words else {ALL}
                if ALL in meant:  # which stops the others too
                    outstanding.clear()
                outstanding |= dict.fromkeys(meant, 3)
        if not outstanding or one.data == RESET or (run.new and place < 30):
            continue
        whom = to(one.data)
        if not whom:
            before = to(run.sent[place - 1].data)
            assert all(reaches(before, each, coupled=coupled) for each in outstanding)
            continue
        assert whom in outstanding, (place, one.data.hex(" "), outstanding)
        assert stop_code(one.data)
        assert whom != ALL or one.data == STOP_ALL
        outstanding[whom] -= 1
        if not outstanding[whom]:
            del outstanding[whom]
    assert not outstanding


def stopped_by(whom: bytes, kin: set[bytes]) -> set[bytes]:
    """The addresses that are sent a stop: its own, and of `kin` its consist, or the units of it."""
    if whom == NINE:
        return {whom, *(ITS_UNITS & kin)}
    return {whom, *({NINE} & kin)} if whom in ITS_UNITS else {whom}


def heard(sent: Sequence[Sent], whom: bytes) -> Iterator[bytes]:
    """The packets that the decoder of an address hears, but for resets."""
    for one in sent:
        if reaches(whom, to(one.data), coupled=one.coupled) and one.data != RESET:
            yield one.data


def writes_twice(run: Run) -> None:
    """Each write is two packets with nothing else for its decoder between (S-9.2.1 §C).

    Only an emergency stop may come between, and the write then begins anew. Writes to a decoder
    come in their order, each once.
    """
    wished = defaultdict[bytes, list[bytes]](list)
    for _, (kind, *words) in run.told:
        if kind == "write":
            address, cv, value = words
            wished[own(address)].append(bytes((0b1110_1100 | cv - 1 >> 8, cv - 1 & 255, value)))
    sent_to = {to(one.data) for one in run.sent if is_write(one.data)}
    assert sent_to == set(wished)
    for whom, writes in wished.items():
        done, open_ = [], b""
        for data in heard(run.sent, whom):
            if open_:
                if data == open_:
                    done.append(code(data))
                else:
                    assert stop_code(data), data.hex(" ")
                open_ = b""
            elif is_write(data):
                assert to(data) == whom
                open_ = data
        assert not open_
        assert done == writes


def is_write(data: bytes) -> bool:
    """The long form of CV access, 1110 11VV VVVVVVVV DDDDDDDD, to a multi-function decoder."""
    whom = to(data)
    said = code(data) if whom and not is_accessory(whom) else b""
    return len(said) == 3 and said[0] & 0b1111_1100 == 0b1110_1100


def repeats_high_functions(sent: Sequence[Sent]) -> None:
    """A state of F13 to F20 or of F21 to F28 that differs from the one before comes twice or more.

    One that the next overtakes is exempt (S-9.2.1 §C; X38).
    """
    last: dict[tuple[bytes, int], tuple[int, int]] = {}
    for one in sent:
        whom = to(one.data)
        said = code(one.data) if whom and not is_accessory(whom) else b""
        if len(said) == 2 and said[0] in (0b1101_1110, 0b1101_1111):
            state, count = last.get((whom, said[0]), (-1, 0))
            last[whom, said[0]] = said[1], count + 1 if said[1] == state else 1
    assert all(count >= 2 for _, count in last.values())


def keeps_accessories_in_order(run: Run) -> None:
    """What an accessory decoder hears is what was wished, in this order, each packet twice."""
    wished = [bytes(wish[1]) for _, wish in run.told if wish[0] == "operate"]
    sent = [one.data for one in run.sent if to(one.data) and is_accessory(to(one.data))]
    for whom in {to(data) for data in (*wished, *sent)}:
        heard_ = [data for data in sent if reaches(whom, to(data), coupled=False)]
        meant = [data for data in wished if reaches(whom, to(data), coupled=False)]
        broadcast = {b"\xbf\x80", b"\xbf\x06"} & {to(data) for data in meant}
        if whom in broadcast:  # some of these hear each other no more than others do
            continue
        assert heard_ == [data for one in meant for data in (one, one)]
