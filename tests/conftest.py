"""What the tests share."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

SHARED = Path(__file__).resolve().parents[2] / "shared"


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of open recordings and reference values that stands beside a developer's checkout.

    A user's fresh clone does not have it; the automatic check does, and there its absence is an error.
    """
    if not SHARED.is_dir():
        if os.environ.get("CI"):
            pytest.fail(f"the shared data are missing: {SHARED}")
        pytest.skip("the folder of open recordings beside the checkout is absent")
    return SHARED
