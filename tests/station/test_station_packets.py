"""Whatever is wanted, the station's packets are what the texts ask for: an oracle on bytes."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from station_audit import audit
from station_helpers import COUPLED_WISHES, Run, Wish


@settings(max_examples=300)
@given(COUPLED_WISHES, st.booleans())
def test_any_wishes_give_packets_that_the_texts_allow(wishes: list[Wish], new: bool) -> None:
    """Spacing, stops, writes, F13 to F28, accessories and the start, at every moment."""
    run = Run(new=new).tell_all(wishes)
    run.drain()
    run.next(40)
    audit(run)
