"""The folder of open recordings and reference values that stands beside a developer's checkout; a user has none.

A test that reads it is marked ``open_data`` and takes the fixture ``shared``: no other way leads there
(`test_open_data` holds the modules to it).
"""

from __future__ import annotations

from pathlib import Path

SHARED = Path(__file__).resolve().parents[3] / "shared"


def open_cases() -> list[Path]:
    """Return the folders of the cases of odd input: none where the folder is absent, so that tests can be collected."""
    return sorted(path.parent for path in (SHARED / "inputs").glob("*/case.toml"))
