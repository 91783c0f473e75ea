"""Sets of CVs for property tests: those that depend on each other come up often."""

from hypothesis import strategies as st

from dccwire.cv import CvSet, IndexedCv

INDEXED = st.builds(IndexedCv, st.integers(16, 18), st.integers(0, 2), st.integers(257, 260))
TOUCHY = st.sampled_from([1, 15, 16, 17, 18, 19, 29, 31, 32, 257, 258])
KEYS = TOUCHY | INDEXED | st.integers(1, 1024)
SETS = st.dictionaries(KEYS, st.integers(0, 255), max_size=12).map(CvSet)
