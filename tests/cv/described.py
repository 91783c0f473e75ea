"""A description for tests, and the one that is shipped."""

from pathlib import Path

from dccwire.cv import DecoderDescription, description_from_toml

SETUPS = Path(__file__).parent.parent.parent / "vectors/setups"
SHIPPED = SETUPS / "harbour-sound.toml"

TEXT = """
name = "quay decoder"
source = "its leaflet"

[defaults]
3 = 4
29 = 6

[[cv]]
number = 60
name = "lamp current"
layout = "1RCC0CCD"
default = 165
note = "of each lamp"
[cv.fields]
current = { letters = "C", unit = "mA", formula = "value x 0.5 + 2", range = [0, 14] }
ramp = { letters = "R", choices = { 0 = "soft", 1 = "hard" } }
dark = "D"

[[cv]]
number = 62
name = "hours"
layout = "HHHHHHHH LLLLLLLL"
fields.hours = { letters = "H L", unit = "h" }

[[cv]]
number = 300
page = [16, 3]
name = "key"
rows = ["F1", "F2"]
layout = "MMMMMMMM SSSSSSSS"
fields.lamps = { letters = "M", functions = ["a", "b", "c", "d", "e", "f", "g", "h"] }
fields.sound = { letters = "S", range = [0, 99] }
default = [1, 0, 2, 50]

[[cv]]
number = 100
name = "spare"
layout = "VVVVVVVV"

[[cv]]
number = 900
name = "module light"
rows = ["left", "right"]
layout = "VVVVVVVV"
default = 7
"""


def quay() -> DecoderDescription:
    """The description of `TEXT`."""
    return description_from_toml(TEXT)


def shipped() -> DecoderDescription:
    """The description of the harbour's sound decoder."""
    return description_from_toml(SHIPPED.read_text("utf-8"))
