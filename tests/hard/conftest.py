"""Whether all is to be broken, or a sample; pages as the tests of pages have them; a process to hurt."""

import os

import pytest
from hard.victims import inbox, patterns, place, stores_on, victim, whole
from web.conftest import mailbox, services, sky, visitor

__all__ = [
    "inbox",
    "mailbox",
    "patterns",
    "place",
    "services",
    "sky",
    "stores_on",
    "victim",
    "visitor",
    "whole",
]
# Read at once: fixtures clear the environment of what is ours.
HARD = bool(os.environ.get("MOWALERT_HARD"))


@pytest.fixture(scope="session")
def hard() -> bool:
    """Whether everything is tried, as `bash tests/run.sh --hard` does, and not only a sample."""
    return HARD


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the year, by far the longest test, begin first, beside all the others."""
    items.sort(key=lambda item: item.path.name != "test_soak.py")
