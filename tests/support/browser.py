"""What tests that open pages need, and what they do where it is missing."""

from __future__ import annotations

import os
from typing import NoReturn

import pytest


def missing(what: str) -> NoReturn:
    """Skip where a developer's machine lacks something; the automatic check must have it."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing")
    pytest.skip(f"{what} is missing, and pages cannot be opened without it")
