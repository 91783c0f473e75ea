"""Packets laid out bit by bit, for people: `explain`."""

from dccwire.drawing.explanation import BitRow, Explanation, explain

__all__ = ["BitRow", "Explanation", "explain"]
