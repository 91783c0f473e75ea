"""Sets of CVs for property tests: those that depend on each other come up often."""

from hypothesis import strategies as st

from dccwire.cv import CvKey, CvSet, IndexedCv

INDEXED = st.builds(IndexedCv, st.integers(16, 18), st.integers(0, 2), st.integers(257, 260))
TOUCHY = st.sampled_from([1, 15, 16, 17, 18, 19, 29, 31, 32, 257, 258])
KEYS = TOUCHY | INDEXED | st.integers(1, 1024)
VALUES = st.dictionaries(KEYS, st.integers(0, 255), max_size=12)


def once_each(values: dict[CvKey, int]) -> bool:
    """Whether no CV is there both plain and indexed on the page of CV 31 and 32."""
    page = values.get(31), values.get(32)
    return not any(
        isinstance(key, IndexedCv) and (key.high, key.low) == page and key.cv in values
        for key in values
    )


SETS = VALUES.filter(once_each).map(CvSet)
