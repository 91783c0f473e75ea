"""Two simulated decoders with unequal motors: measured, matched, written on the main, measured."""

from __future__ import annotations

import random

import pytest
from matching_helpers import FORWARD, REVERSE

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv import CvSet
from dccwire.decoder import Decoder, Direction, Ignored, Options
from dccwire.instructions import SpeedAndDirection
from dccwire.matching import Matching, Measurements, Reading, Unit, match
from dccwire.packet import Packet
from dccwire.programming import Answer, conversation, write_cvs, write_cvs_on_main


class Engine:
    """A decoder and its motor, which reads CV 2, 5, 6 or the table as S-9.2.2 says."""

    def __init__(self, cvs: dict[int, int], dead: float, gain: float, back: float) -> None:
        self.decoder, self.now = Decoder(Options(factory=CvSet(cvs))), 0
        self.dead, self.gain, self.back = dead, gain, back

    def take(self, packet: Packet) -> None:
        self.now += 10_000_000
        self.decoder.take(packet, self.now - 6_000_000, self.now)

    def speed(self, step: int, direction: str) -> float:
        """Send a step, and see how fast it runs, in mm/s."""
        address = self.decoder.address
        assert address is not None
        ahead = direction == FORWARD
        self.take(Packet(address, SpeedAndDirection.at(step=step, steps=28, forward=ahead)))
        assert (self.decoder.step, self.decoder.steps) == (step, 28)
        assert self.decoder.direction is Direction(direction)
        over = max(self.voltage() - self.dead, 0)
        return self.gain * over * (1 + over / 900) * (1 if ahead else self.back)

    def voltage(self) -> float:
        """What the motor gets at the decoder's own step and direction."""
        cv, step = self.decoder.cv, self.decoder.step
        if cv(29) & 0b10000:
            ahead = self.decoder.direction is Direction.FORWARD
            return min(cv(66 + step) * (cv(66 if ahead else 95) or 128) / 128, 255)
        if step <= 14:
            return cv(2) + (cv(6) - cv(2)) * (step - 1) / 13
        return cv(6) + (cv(5) - cv(6)) * (step - 14) / 14

    def measured(self, noise: random.Random, steps: range) -> tuple[Reading, ...]:
        """Three readings of each step and direction, each up to 1 % off."""
        return tuple(
            Reading(step, direction, self.speed(step, direction) * noise.uniform(0.99, 1.01))
            for direction in (FORWARD, REVERSE)
            for step in steps
            for _ in range(3)
        )


def engines() -> tuple[Engine, Engine]:
    """A slow one by CV 2, 5 and 6, and a fast one that is slower in reverse, by its table."""
    plain = {1: 3, 19: 0, 2: 10, 5: 255, 6: 120, 29: 2}
    table = {67 + at: 9 + round(at * 246 / 27) for at in range(28)}
    other = {1: 3, 17: 192 + 3, 18: 136, 19: 0, 29: 50, 66: 128, 95: 128, **table}
    return Engine(plain, 4, 0.8, 1.0), Engine(other, 6, 1.4, 0.9)


def matched(pair: tuple[Engine, Engine], seed: int) -> Matching:
    noise, units = random.Random(seed), []
    for engine in pair:
        address = engine.decoder.address
        assert address is not None
        readings = engine.measured(noise, range(1, 29))
        units.append(Unit(address, readings, engine.decoder.cvs))
    assert [one.address for one in units] == [ShortAddress(3), LongAddress(904)]
    return match(Measurements(87, tuple(units)))


def apart(pair: tuple[Engine, Engine]) -> list[float]:
    """How far apart all speeds are at each step, without an error of measuring."""
    found = []
    for step in range(1, 29):
        speeds = [one.speed(step, way) for one in pair for way in (FORWARD, REVERSE)]
        found.append(max(speeds) - min(speeds))
    return found


@pytest.mark.parametrize("seed", range(4))
def test_two_unequal_engines_run_alike_after_a_match(seed: int) -> None:
    """Most of 100 mm/s apart before, less than 6 after, and so at every step what was foretold."""
    pair = engines()
    before = apart(pair)
    found = matched(pair, seed)
    for engine, one in zip(pair, found.units, strict=True):
        for packet in one.packets_on_main():
            engine.take(packet)
            engine.take(packet)
        assert not engine.decoder.ignored
        assert {cv: engine.decoder.cv(cv) for cv in one.to_cvs()} == dict(one.to_cvs())
    after = apart(pair)
    assert max(before) > 100
    assert max(after) < 6
    for step in range(28):
        speed = pair[0].speed(step + 1, FORWARD)
        assert abs(after[step] - found.remaining[step]) < 0.02 * speed + 0.5
        assert abs(speed - found.target[step]) < 0.02 * speed + 2
    assert [one.voltage() > 0 for one in pair] == [True, True]
    rising = [pair[1].speed(step, REVERSE) for step in range(1, 29)]
    assert rising == sorted(rising)


def test_the_other_ways_to_write_leave_the_same() -> None:
    """By the session for the main, and by the one for a programming track, confirmed."""
    found = matched(engines(), 1).units
    for way in ("main", "programming track"):
        for engine, one in zip(engines(), found, strict=True):
            old, new = one.unit.held, one.to_cvs()

            def answer(sent, engine=engine) -> Answer:
                start = engine.now
                engine.now += sent.packet.duration_ns(preamble=sent.preamble)
                heard = engine.decoder.take(sent.packet, start, engine.now)
                return Answer.ACKNOWLEDGED if heard else Answer.SILENCE

            if way == "main":
                session = write_cvs_on_main(old, new, one.unit.address)
            else:
                session = write_cvs(old, new, confirm=True)
            for _ in conversation(session, answer):
                pass
            assert {cv: engine.decoder.cv(cv) for cv in new} == dict(new)
            assert Ignored.BARRED not in engine.decoder.ignored
