"""A station: what is wanted goes in, the packet to send now comes out; no clock, no files.

>>> from dccwire import LongAddress
>>> from dccwire.station import Station
>>> station, engine = Station(new=False), LongAddress(1205)
>>> station.add(engine, steps=128)
>>> station.drive(engine, step=40)
>>> station.switch(engine, "FL")
>>> for _ in range(4):
...     print(station.next())
long 1205: SpeedStepControl128 forward=yes speed=41
idle: Idle
long 1205: FunctionGroupOne functions=FL
idle: Idle

What is sent need not be obeyed, an emergency stop neither: dirt or a wrong address are enough. A
write on the main reaches every decoder at its address. No packet is a safety device.
"""

# ruff: noqa: F403 - what a file exports is listed there alone
from types import ModuleType as _Module

from dccwire.station.script import *
from dccwire.station.station import *

__all__ = [
    name
    for name, value in dict(globals()).items()
    if not name.startswith("_") and not isinstance(value, _Module)
]
