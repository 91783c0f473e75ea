"""Files to edges, and back.

`read` tells the format of a recording by its content and gives the edges of one signal, in chunks
of flat memory; `follow` does so with standard input while it is written; `write_vcd` and
`write_csv` write edges. All of it needs the `capture` extra.
"""

from importlib.util import find_spec

from dccwire.errors import MissingPartError

# Asked for before anything is imported, so that its absence gets one clear line.
if find_spec("numpy") is None:
    raise MissingPartError("numpy", "capture")

from dccwire.recordings.live import follow
from dccwire.recordings.reading import read
from dccwire.recordings.recording import Chunk, Recording, RecordingPart
from dccwire.recordings.writing import write_csv, write_vcd

__all__ = ["Chunk", "Recording", "RecordingPart", "follow", "read", "write_csv", "write_vcd"]
