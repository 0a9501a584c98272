"""Sessions on the plain shell, made anew for each test on a wearer and piece made once."""

from __future__ import annotations

import pytest

from fitkit.panels.controller import SessionController
from fitkit.panels.resolve import Resolver


@pytest.fixture(scope="session")
def resolver() -> Resolver:
    """Wearers and pieces made once for all tests."""
    return Resolver()


@pytest.fixture
def session(shell_files, resolver) -> SessionController:
    """The invented wearer in the plain shell."""
    return SessionController(
        record=shell_files.record, piece=shell_files.piece, resolver=resolver
    )
