"""Faults on demand: a fault of the station, or what must not be blamed on it, planted by its name.

dccwire compose PLAN FILE --fault short-half@3
"""

from dccwire.faults import conditions, packets, service  # noqa: F401 - they declare what there is
from dccwire.faults.planting import (
    PLANTINGS,
    Mark,
    Planted,
    Planting,
    known,
    plant,
    plantings_in_words,
)

__all__ = ["PLANTINGS", "Mark", "Planted", "Planting", "known", "plant", "plantings_in_words"]
