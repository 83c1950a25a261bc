"""Whether everything is to be broken, or a sample; and the pages as the tests of pages have them."""

import os

import pytest
from web.conftest import mailbox, services, sky, visitor

__all__ = ["mailbox", "services", "sky", "visitor"]
# Read at once: fixtures clear the environment of what is ours.
HARD = bool(os.environ.get("MOWALERT_HARD"))


@pytest.fixture(scope="session")
def hard() -> bool:
    """Whether everything is tried, as `bash tests/run.sh --hard` does, and not only a sample."""
    return HARD
