"""The rules of S-9.2.3: service mode.

`groups` cuts packets into groups, `demands` says what these must be, `rules` declares the rules,
`watches` hears packets and counts, `packets` judges what the bytes tell alone.
"""

from dccwire.conformance.service import packets, watches  # noqa: F401 - they declare rules
