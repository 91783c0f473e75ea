"""What is refused: one way to say which error ends a call, and what it tells."""

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from dccwire.errors import DccwireError, Reason


@contextmanager
def refused(
    error: type[DccwireError], reason: Reason | None = None, match: str = "", **told: object
) -> Iterator[pytest.ExceptionInfo[DccwireError]]:
    """The block ends with an error of this very class, with its reason and its data.

    A class that has but one reason need not be given it. `match` is a regular expression for a part
    of the message; data are alike if their types are, too.
    """
    with pytest.raises(error, match=match or None) as caught:
        yield caught
    assert type(caught.value) is error
    expected = {"reason": reason or error.reason, **told}
    actual = {name: getattr(caught.value, name) for name in expected}
    assert actual == expected
    assert [*map(type, actual.values())] == [*map(type, expected.values())]
