"""The README's console examples run and print what they show."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]


def _examples() -> list[tuple[str, str]]:
    found = []
    for page in PAGES:
        for number, block in enumerate(re.findall(r"```console\n(.*?)```", page.read_text(), re.S)):
            found.append((f"{page.name} {number}", block))
    return found


@pytest.fixture
def workplace(tmp_path: Path) -> Path:
    """A folder with the recordings, and `dccwire` on the path."""
    (tmp_path / "vectors").symlink_to(ROOT / "vectors")
    command = tmp_path / "bin" / "dccwire"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m dccwire "$@"\n')
    command.chmod(0o755)
    return tmp_path


@pytest.mark.parametrize("block", [pytest.param(block, id=name) for name, block in _examples()])
def test_console_example_prints_what_it_shows(block: str, workplace: Path) -> None:
    """Each command of a block, run in turn, gives the lines that stand under it."""
    environment = {
        **os.environ,
        "PATH": f"{workplace / 'bin'}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT),
        "PYTHONUTF8": "1",
        "NO_COLOR": "1",
    }
    for example in block.split("$ ")[1:]:
        command, _, shown = example.partition("\n")
        run = subprocess.run(
            ["sh", "-c", command], cwd=workplace, env=environment, capture_output=True, text=True
        )
        assert run.stdout == shown, command
        assert run.stderr == ""


def test_readme_has_examples_for_the_console() -> None:
    """The pattern that finds examples finds them."""
    assert len(_examples()) >= 4
