"""The worked page runs, and its results are what it says."""

from __future__ import annotations

import doctest
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]


def test_the_worked_page_runs_as_it_stands(monkeypatch):
    monkeypatch.chdir(TOP)
    found = doctest.testfile(str(TOP / "docs" / "notebook.md"), module_relative=False, encoding="utf-8")
    assert found.attempted > 20
    assert found.failed == 0
