"""Stretches of one recording, judged each by itself, that add up to the judgement of the whole.

What came before a stretch is not known when it is judged, so its first edges are kept until nothing
of that can matter: the receiver stands behind a packet, and so do the rules. When the stretch is
joined to those before it, these edges are judged with them; if all then stands as it stood there,
what was found from there on is added, else the stretch is judged anew. Room: edges in, judges out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from dccwire.conformance.judging import Judge, Terms, alike
from dccwire.errors import FieldError
from dccwire.recordings import Chunk

_PORTION = 1 << 11
"""Edges at a time until a stretch stands by itself: some twenty packets."""

_PORTIONS = 8
"""So many of them; what is left is taken as it comes."""

_LEAST = 2
"""Portions that are kept at least: what the beginning has spoiled is then behind."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A stretch of a recording that was judged by itself; `merge` makes the report, once.

    `chunks` are all its edges, `head` the first of them, `opened` what was open behind those, and
    `judge` what was found from there on, None if there was no such place; `polarity` is the one
    that was taken to come next there.
    """

    terms: Terms
    chunks: Iterable[Chunk]
    head: tuple[Chunk, ...]
    opened: list[object]
    judge: Judge | None
    polarity: int = 0

    @classmethod
    def of(cls, chunks: Iterable[Chunk], terms: Terms) -> Part:
        """Judge a stretch: `chunks` can be iterated over more than once."""
        judge, head = Judge(terms, tape=True), list[Chunk]()
        pieces = _pieces(chunks)
        for piece in pieces:
            head.append(piece)
            judge.add(piece)
            if len(head) >= _LEAST and judge.receiver.after_packet and judge.framing.settled:
                break
        else:
            return cls(terms, chunks, tuple(head), [], None)
        opened, polarity = judge.open(), judge.timing.polarity
        judge = judge.begin_anew()
        for piece in pieces:
            judge.add(piece)
        return cls(terms, chunks, tuple(head), opened, judge, polarity)

    def join(self, whole: Judge) -> None:
        """Let the judge of all that came before it go on with it."""
        for piece in self.head:
            whole.add(piece)
        if self.judge is None:
            return
        if alike(whole.open(), self.opened):
            whole.absorb(self.judge, turned=whole.timing.polarity != self.polarity)
            return
        for piece in islice(_pieces(self.chunks), len(self.head), None):
            whole.add(piece)


def joined(parts: Sequence[Part]) -> Judge:
    """The judge of a recording that was judged in parts, one or more, in order.

    Raises:
        FieldError: not all of them were judged by the same terms.
    """
    terms = parts[0].terms
    whole = Judge(terms)
    for part in parts:
        if part.terms != terms:
            raise FieldError("terms", str(terms), part.terms)
        part.join(whole)
    return whole


def _pieces(chunks: Iterable[Chunk]) -> Iterator[Chunk]:
    """Chunks, the first edges of them in portions."""
    cut = 0
    for chunk in chunks:
        edges = chunk.edges
        cuts = range(0, min(len(edges), _PORTIONS * _PORTION - cut), _PORTION)
        cut += len(cuts) * _PORTION
        for begin in cuts[:-1]:
            yield Chunk(edges[begin : begin + _PORTION])
        yield replace(chunk, edges=edges[cuts[-1] if cuts else 0 :])
