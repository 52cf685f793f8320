"""``python -m gpsq`` runs the command line, and importing it runs nothing."""

from __future__ import annotations

import runpy
import sys

from gpsq import cli


def test_it_runs_as_a_module_and_not_where_it_is_only_loaded(monkeypatch):
    ran = []
    monkeypatch.setattr(cli, "main", lambda: ran.append(1))
    for name, times in (("gpsq.__main__", 0), ("__main__", 1)):
        monkeypatch.delitem(sys.modules, "gpsq.__main__", raising=False)
        runpy.run_module("gpsq.__main__", run_name=name)
        assert len(ran) == times
