"""Fixtures for all tests."""

import pytest

from dccwire.cli import main


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


@pytest.fixture
def command(run):
    """The same under a name that does not stand for anything else."""
    return run
