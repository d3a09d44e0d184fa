"""Tests run as the program does, with one thread for linear algebra; surveys are kept apart."""

import os

import pytest

import flatcheck.threads  # noqa: F401  (before numpy is loaded)
from flatcheck.ui.serve import FOLDER


@pytest.fixture(autouse=True, scope="session")
def _own_store(tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test keeps its surveys where the person's own are."""
    os.environ[FOLDER] = str(tmp_path_factory.mktemp("kept"))
