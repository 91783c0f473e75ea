"""Fixtures for all tests."""

import os

import pytest
from hypothesis import settings

from dccwire.cli import main

pytest.register_assert_rewrite("refusals")  # a failure there shows what differs

# Where a run stands for a verdict the drawn cases are the same each time; elsewhere each run looks
# at new ones, and a find becomes a test of its own. No verdict hangs on how busy the machine is.
settings.register_profile("any", derandomize=bool(os.environ.get("CI")), deadline=None)
settings.load_profile("any")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]):
    """Run the command; status, standard output and standard error come back."""

    def run(*arguments: str) -> tuple[int, str, str]:
        try:
            status = main(arguments)
        except SystemExit as ended:
            status = int(ended.code or 0)
        out, err = capsys.readouterr()
        return status, out, err

    return run
