"""Fixtures of the tests of recordings."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from recording_helpers import track_edges


@pytest.fixture(scope="session")
def track() -> list[int]:
    return track_edges()


@pytest.fixture
def save(tmp_path: Path) -> Callable[[str, str | bytes], Path]:
    def write(name: str, content: str | bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write
