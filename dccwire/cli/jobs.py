"""What `duration` says of a job: its parts with their shares, of several modes side by side."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator

from dccwire.address import LongAddress, ShortAddress
from dccwire.cli.cvs import read_set
from dccwire.cli.printing import say
from dccwire.cli.words import text_of
from dccwire.cv.cv_set import CvSet
from dccwire.errors import FieldError
from dccwire.notation import address_from_text
from dccwire.plan import read_plan
from dccwire.programming import (
    REACHES,
    Assumptions,
    Cost,
    Job,
    Part,
    reading_job,
    writing_job,
    writing_job_on_main,
)
from dccwire.wording import counted

_NAME, _SIDE = 30, "{:>9}{:>10}{:>6}"


def tell_job(given: argparse.Namespace) -> None:
    """Print a job, or the same in several modes."""
    for option, asked in (("--from", given.old), ("--main", given.main)):
        if asked is not None and given.write is None:
            raise FieldError(option, "--write beside it", asked)
    title, jobs = _jobs(given)
    if given.json:
        for name, job in jobs.items():
            parts = [{"name": one.name, **one.cost._asdict()} for one in job.parts]
            say(json.dumps({"job": title, "way": name, "parts": parts, **job.total._asdict()}))
        return
    for line in _lines(title, jobs, given.most):
        say(line)


def _jobs(given: argparse.Namespace) -> tuple[str, dict[str, Job]]:
    under = Assumptions(answer=given.answer)
    if given.plan is not None:
        return f"sending {given.plan}", {"as planned": _of_plan(given.plan)}
    if given.read is not None:
        values = read_set(given.read)
        job = {one: reading_job(values, REACHES[one], assumptions=under) for one in given.mode}
        return f"reading {counted(len(values), 'CV')} of {given.read}", job
    old = CvSet() if given.old is None else read_set(given.old)
    new = read_set(given.write)
    title = f"writing {given.write}" + (f" over {given.old}" if given.old is not None else "")
    if given.main is not None:
        if given.mode != ["direct"]:
            raise FieldError("--mode", "none beside --main", " ".join(given.mode))
        address = address_from_text(given.main)
        if not isinstance(address, (ShortAddress, LongAddress)):
            raise FieldError("--main", "a short or a long address", given.main)
        return title, {"on the main": writing_job_on_main(old, new, address, under)}
    return title, {
        one: writing_job(old, new, REACHES[one], assumptions=under, confirm=given.confirm)
        for one in given.mode
    }


def _of_plan(path: str) -> Job:
    """The packets of a plan, alike ones together, with the silence that it asks for."""
    parts: dict[str, Cost] = {}
    for sending in read_plan(text_of(path).splitlines(), path):
        name = sending.data.hex(" ").upper()
        packets, ns = parts.get(name, (0, 0))
        parts[name] = Cost(packets + 1, ns + sum(sending.lengths()))
    return Job(tuple(Part(name, cost) for name, cost in parts.items()))


def _lines(title: str, jobs: dict[str, Job], most: int | None) -> Iterator[str]:
    yield title
    if not all(job.parts for job in jobs.values()):
        yield "nothing to send"
        return
    yield " " * _NAME + "".join(f"{name:>25}" for name in jobs)
    yield f"{'part':<{_NAME}}" + _SIDE.format("packets", "ms", "share") * len(jobs)
    sides = {name: {one.name: one for one in job.parts} for name, job in jobs.items()}
    names = list(dict.fromkeys(name for side in sides.values() for name in side))
    if most is not None:
        first = next(iter(sides.values()))
        longest = sorted(names, key=lambda name: -first[name].cost.ns if name in first else 0)
        names = [name for name in names if name in longest[:most]]
    for name in names:
        cells = [_cell(jobs[way], sides[way].get(name)) for way in jobs]
        yield f"{name[: _NAME - 1]:<{_NAME}}" + "".join(cells)
    totals = [Part("in all", job.total) for job in jobs.values()]
    cells = [_cell(job, total) for job, total in zip(jobs.values(), totals, strict=True)]
    yield f"{'in all':<{_NAME}}" + "".join(cells)
    times = (f"{way} {job.total.ns / 1e9:.1f} s" for way, job in jobs.items())
    yield f"{', '.join(times)}, at nominal timing and without a pause"


def _cell(job: Job, part: Part | None) -> str:
    if part is None:
        return _SIDE.format("", "", "")
    packets, ns = part.cost
    return _SIDE.format(packets, f"{ns / 1e6:.1f}", f"{job.share(part):.0%}")
