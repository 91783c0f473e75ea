"""Packets laid out bit by bit, for people: `explain`; two beside each other: `difference`."""

from dccwire.bit_rows import BitRow
from dccwire.drawing.difference import Difference, difference
from dccwire.drawing.explanation import Explanation, explain

__all__ = ["BitRow", "Difference", "Explanation", "difference", "explain"]
