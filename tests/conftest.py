"""What the tests share."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser import missing

if TYPE_CHECKING:
    from collections.abc import Iterator

SHARED = Path(__file__).resolve().parents[2] / "shared"


@pytest.fixture(scope="session", autouse=True)
def _cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests keep no answers among the user's own, and find none there; the fonts that matplotlib listed stay where they are."""
    users = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MPLCONFIGDIR", os.environ.get("MPLCONFIGDIR", str(users / "matplotlib")))
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("user-cache")))
        yield


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


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A headless browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("the package playwright")
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        missing("a Chromium browser")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()
