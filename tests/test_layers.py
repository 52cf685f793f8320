"""The layers of the house: a module imports only from lower layers, and stages never import each other."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "gpsq"
#: The floors of the house, lowest first: a module imports only from floors below its own. Stages share one floor, so they
#: never import each other; what a module does not name here is a mistake.
FLOORS = (
    {"exceptions", "settings", "_compiled", "cache", "aside"},
    {"arrays", "durable"},
    {"results"},
    {"model"},
    {"_nearest"},
    {"plane", "polyline", "weeks", "intervals", "resampling", "_boxes", "flat", "neighbours", "executors"},
    {"align", "_frechet", "_hausdorff", "power", "survival", "stations", "same_course", "runs"},
    {"consensus", "_discrete_frechet"},
    {"curves", "line_ends"},
    {"line_quality", "medoid"},
    {"reading", "routes", "firstfix", "centreline", "crosstrack", "deviations", "flags", "clocks", "passes", "companions",
     "recorded", "statistics", "comparison", "hats", "places", "accuracy", "ranking", "protocol"},
    {"route_analysis", "check", "simulate", "league", "trueness", "summaries", "arranging"},
    {"recalling", "sorting"},
    {"analysis", "demo"},
    {"privacy"},
    {"output"},
    {"frames", "fleet", "into"},
    {"web", "progress"},
    {"cli"},
)  # fmt: skip
FLOOR = {name: number for number, floor in enumerate(FLOORS) for name in floor}


def modules() -> list[tuple[str, Path]]:
    """Return (name of the module or package directly in gpsq, file) for every source file."""
    found = []
    for file in sorted(PACKAGE.rglob("*.py")):
        inside = file.relative_to(PACKAGE).parts
        if inside != ("__init__.py",) and "demo_routes" not in inside:
            found.append((inside[0].removesuffix(".py"), file))
    return found


def imported(file: Path) -> set[str]:
    """Return the gpsq modules that a file imports when it runs, in functions too; type-checking imports do not count."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            node.body = []
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "gpsq":
            names |= {alias.name for alias in node.names if alias.name != "__version__"}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("gpsq."):
            names.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            names |= {a.name.split(".")[1] for a in node.names if a.name.startswith("gpsq.")}
    return names


def test_every_module_has_a_floor() -> None:
    assert {name for name, _ in modules()} <= set(FLOOR)


@pytest.mark.parametrize(("name", "file"), modules(), ids=lambda value: str(value).rsplit("/", 1)[-1])
def test_imports_go_down(name: str, file: Path) -> None:
    upward = {other for other in imported(file) if other != name and FLOOR[other] >= FLOOR[name]}
    assert not upward, f"{file.name} on floor {FLOOR[name]} imports {upward}"


def test_only_the_plane_imports_pyproj() -> None:
    importers = {
        file.name
        for _, file in modules()
        if "import pyproj" in (text := file.read_text("utf-8")) or "from pyproj" in text
    }
    assert importers == {"plane.py"}


HEAVY = ("numba", "pandas", "geopandas", "folium", "matplotlib", "scipy", "shapely", "pyproj", "lxml", "gpxpy")


def loaded(modules: str) -> set[str]:
    """Return which of the heavy libraries are loaded by importing some modules."""
    code = f"import sys; import {modules}; print(*(name for name in {HEAVY} if name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize("modules", ["gpsq", "gpsq.cli", "gpsq.pipeline.campaign_run"])
def test_a_light_start(modules: str) -> None:
    """`gpsq --help` answers in under half a second because nothing heavy is imported before it is used."""
    assert loaded(modules) == set()


def test_each_of_two_processes_loads_its_own() -> None:
    """Who reads needs no compiled code, who makes the report no tables: loading them is most of the work on a week."""
    assert "numba" not in loaded("gpsq.reading, gpsq.pipeline.remembering")
    assert not loaded("gpsq.output.report.page, gpsq.output.charts.all_charts, gpsq.summaries.summarise") & {
        "numba",
        "pandas",
        "folium",
    }
    assert not loaded("gpsq.pipeline.analysis, gpsq.output.results_folder") & {"matplotlib", "pandas", "folium"}
