"""A simulated multi-function decoder: packets in; motion, functions, CVs, acknowledgements out.

`Decoder` is one decoder, `Track` several on one track. Both are told the time with each packet and
have no clock of their own, so the same packets give the same state. Where the standards are silent
the choice taken stands in the docstring of what makes it. Rooms: `options` what a decoder is built
as, `storage` its CVs and whom it listens to by them, `state` these, motion and functions, `obeying`
what each instruction does, `programming` service mode, `multifunction` the decoder and the track.
"""

from dccwire.decoder.multifunction import Decoder, Track
from dccwire.decoder.options import Acknowledgement, Ignored, Options, ServiceMode
from dccwire.decoder.state import Direction

__all__ = ["Acknowledgement", "Decoder", "Direction", "Ignored", "Options", "ServiceMode", "Track"]
