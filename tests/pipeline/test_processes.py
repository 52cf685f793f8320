"""One campaign analysed by one process, with a second one beside it, and on all cores: who does what, and the same bytes."""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
import three_days

from gpsq.output.charts import all_charts
from gpsq.output.results_folder import report
from gpsq.pipeline import executors
from gpsq.pipeline.analysis import analyse
from gpsq.pipeline.executors import Local
from gpsq.summary_types import Summaries

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.results import Analysis

    Runs = dict[str, tuple[set[tuple[str, str]], Path]]

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="processes are copied on Linux alone")

#: Analyses argv[1] into a folder of argv[2] in each way of argv[3], cores and from how many fixes on a pool is worth it, and
#: prints who did what. Each is done by a process of its own, a copy of one that has loaded the libraries.
RUNS = """
import json, os, sys, traceback
from functools import partial, wraps
from pathlib import Path
from gpsq.pipeline import executors

def told(module, name):
    done = getattr(module, name)
    @wraps(done)
    def tells(*arguments):
        os.write(1, f"{how} {name} {'here' if os.getpid() == main else os.getpid()}\\n".encode())
        return done(*arguments)
    setattr(module, name, tells)

from gpsq.measures import route
from gpsq.output import results_folder
from gpsq.output.charts import all_charts
from gpsq.output.report import page
from gpsq.output.tables import layers
from gpsq.reading import folder
from gpsq.pipeline import analysis, second_process
from gpsq.pipeline.campaign_run import analyse_into
from gpsq.summaries import summarise
for module, name in (
    (folder, "read_file"), (route, "analyse_route"), (all_charts, "overlays"), (page, "report_page"),
    (summarise, "places_that_stand_out"), (summarise, "devices_compared"),
):
    told(module, name)
local, (source, out, ways) = executors.Local, sys.argv[1:]
how, main = "loading", os.getpid()
second_process.load_what_draws()
second_process.load_what_writes()
analysis.analyse(Path(source), executor=local(processes=1))  # loads what is compiled
for how, (cores, worth) in json.loads(ways).items():
    if os.fork():
        assert os.wait()[1] == 0, how
        continue
    try:
        main = os.getpid()
        os.environ["XDG_CACHE_HOME"] = str(Path(out, "cache", how))
        executors.cores = lambda: cores
        executors.Local = partial(local, cores, worth)
        analyse_into(Path(source), Path(out, how))
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    os._exit(0)
"""
HOW = {"alone": (1, 0), "little": (2, 10**9), "routes": (2, 20_000), "much": (2, 1)}


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    three_days.put(folder)
    return folder


@pytest.fixture(scope="module")
def analysis(campaign: Path) -> Analysis:
    return analyse(campaign, executor=Local(processes=1))


@pytest.fixture(scope="module")
def runs(campaign: Path, tmp_path_factory: pytest.TempPathFactory) -> Runs:
    out = tmp_path_factory.mktemp("runs")
    own = {kept: os.environ[kept] for kept in ("MPLCONFIGDIR", "PYTHONPATH") if kept in os.environ}
    done = subprocess.run(
        [sys.executable, "-c", RUNS, str(campaign), str(out), json.dumps(HOW)],
        stdout=subprocess.PIPE, text=True, check=True, env=own | {"PATH": ""},
    )  # fmt: skip
    told = [line.split() for line in done.stdout.splitlines()]
    return {name: ({(what, who) for how, what, who in told if how == name}, out / name) for name in HOW}


def test_the_campaign_is_of_the_size_that_is_told_apart(campaign: Path, analysis: Analysis) -> None:
    """Its routes are worth a pool at 20,000 fixes, its files are not."""
    files = sum(executors.fixes_in(path) for path in campaign.rglob("*.gpx"))
    assert files < 20_000 < sum(executors.fixes_in(found.route) for found in analysis.routes)


@pytest.mark.parametrize(
    ("how", "read", "routes", "overlays", "report", "places"),
    [
        ("alone", "here", "here", "here", "here", "here"),
        ("little", "aside", "here", "aside", "aside", "here"),
        ("routes", "aside", "aside", "aside", "aside", "here"),
        ("much", "aside", "aside", "aside", "aside", "aside"),
    ],
)
def test_who_does_what(runs: Runs, how: str, read: str, routes: str, overlays: str, report: str, places: str) -> None:
    names = ("read_file", "analyse_route", "overlays", "report_page", "places_that_stand_out", "devices_compared")
    told = {(name, who if who == "here" else "aside") for name, who in runs[how][0]}
    assert told == set(zip(names, (read, routes, overlays, report, places, places), strict=True))


@pytest.mark.parametrize(("how", "processes"), [("little", 1), ("routes", 1), ("much", 3)])
def test_overlays_and_report_are_drawn_by_one_process_or_by_a_copy_a_part(runs: Runs, how: str, processes: int) -> None:
    assert len({who for name, who in runs[how][0] if name in {"overlays", "report_page"}}) == processes


@pytest.mark.parametrize("how", ["little", "routes", "much"])
def test_the_same_bytes_however_it_is_shared_out(runs: Runs, how: str) -> None:
    (_, one), (_, other) = runs["alone"], runs[how]
    names = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file())
    assert len(names) > 20
    assert names == sorted(path.relative_to(other) for path in other.rglob("*") if path.is_file())
    assert [name for name in names if (one / name).read_bytes() != (other / name).read_bytes()] == []


def test_overlays_are_drawn_before_the_summaries_are_known(analysis: Analysis) -> None:
    """A picture that showed a summary would be another; and the report takes those that are given."""
    early = all_charts.overlays(dataclasses.replace(analysis, summaries=Summaries(), notes=()))
    assert early == all_charts.overlays(analysis)
    assert len(early) > 0
    assert report(analysis, early) == report(analysis)
    assert "figures/overlay-a.png" not in report(analysis, ())
