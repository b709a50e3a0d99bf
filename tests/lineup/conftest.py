"""A fitted practice session, once for all tests of the line-up."""

import pytest

from lineup.folder import facts_of_practice
from lineup.practice import practise
from tracker.lineup.window import Window
from tracker.session.reading import SessionReading, fit_session


@pytest.fixture(scope="session")
def practice():
    return practise(2)


@pytest.fixture(scope="session")
def reading(practice) -> SessionReading:
    found = fit_session(practice.throws, {}, draws=128)
    assert isinstance(found, SessionReading)
    return found


@pytest.fixture(scope="session")
def facts(practice):
    return facts_of_practice(practice)


@pytest.fixture
def window() -> Window:
    return Window()
