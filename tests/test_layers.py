"""The floors of the house: a folder imports only from folders below it, and nothing imports in a circle."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
PACKAGE = TOP / "gpsq"
#: Lowest first. What stands on one line does not import from its neighbours.
FLOORS = (
    ("exceptions", "settings"),
    ("arrays", "digests"),
    ("plane",),
    ("model",),
    ("summary_types",),
    ("results",),
    ("geometry", "statistics", "campaign", "simulate"),
    ("reading", "rides", "centreline"),
    ("measures",),
    ("summaries",),
    ("output", "privacy"),
    ("pipeline",),
    ("web",),
    ("cli",),
    ("__main__",),
)
FLOOR = {name: number for number, floor in enumerate(FLOORS) for name in floor}
MOST_IN_A_FOLDER = 16
MOST_BESIDE_THE_FOLDERS = 9
LONGEST_LINES = 350


def modules() -> dict[str, Path]:
    """Return every module of the package by its dotted name; a folder's own is named with its ``__init__``."""
    files = (f for f in sorted(PACKAGE.rglob("*.py")) if "demo_routes" not in f.parts)
    return {".".join(f.relative_to(TOP).with_suffix("").parts): f for f in files}


MODULES = modules()


@cache
def imported(name: str) -> set[str]:
    """Return the modules of gpsq that a module imports, in functions and for type checking too."""
    found = set()
    for node in ast.walk(ast.parse(MODULES[name].read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} imports relatively"
            inside = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (
                inside
                if all(n in MODULES or f"{n}.__init__" in MODULES for n in inside)
                else {str(node.module)} | inside
            )
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    named = {n if n in MODULES else f"{n}.__init__" for n in found}
    return {n for n in named & set(MODULES) if n not in {name, "gpsq.__init__"}}


def room(name: str) -> str:
    """Return the folder or module directly in gpsq that a module stands in."""
    return name.split(".")[1]


def folder(name: str) -> str:
    """Return the innermost folder that a module stands in; a module beside folders is a room of its own."""
    parent = name.rpartition(".")[0]
    return (
        name
        if any(other.startswith(f"{parent}.") and other.count(".") > name.count(".") for other in MODULES)
        else parent
    )


def test_every_room_has_a_floor_and_every_floor_a_room() -> None:
    assert {room(name) for name in MODULES} - {"__init__"} == set(FLOOR)


@pytest.mark.parametrize("name", [n for n in MODULES if n != "gpsq.__init__"])
def test_imports_go_down(name: str) -> None:
    upward = {o for o in imported(name) if room(o) != room(name) and FLOOR[room(o)] >= FLOOR[room(name)]}
    assert not upward, f"{name} on floor {FLOOR[room(name)]} imports {upward}"


def test_no_circle_between_modules_nor_folders() -> None:
    arrows = {name: imported(name) for name in MODULES}
    TopologicalSorter(arrows).prepare()  # raises CycleError, with the circle
    between: dict[str, set[str]] = {}
    for name, others in arrows.items():
        between.setdefault(folder(name), set()).update(folder(o) for o in others if folder(o) != folder(name))
    TopologicalSorter(between).prepare()


def test_no_folder_is_a_hall_and_no_module_a_book() -> None:
    sizes: dict[Path, int] = {}
    for file in MODULES.values():
        sizes[file.parent] = sizes.get(file.parent, 0) + 1
    assert {f.name: n for f, n in sizes.items() if n > MOST_IN_A_FOLDER} == {}
    assert sizes[PACKAGE] <= MOST_BESIDE_THE_FOLDERS + 2  # the package as it is imported and as it is run come on top
    lines = {name: len(file.read_text("utf-8").splitlines()) for name, file in MODULES.items()}
    assert {name: n for name, n in lines.items() if n > LONGEST_LINES} == {}


def test_every_folder_is_named_where_the_house_is_described() -> None:
    told = (TOP / "DEVELOPERS.md").read_text("utf-8")
    folders = {file.parent.relative_to(PACKAGE).as_posix() for file in MODULES.values()} - {"."}
    assert {f for f in folders if f"`{f}/`" not in told} == set()


def test_only_the_plane_imports_pyproj() -> None:
    importers = {
        name
        for name, f in MODULES.items()
        if "import pyproj" in (text := f.read_text("utf-8")) or "from pyproj" in text
    }
    assert importers == {"gpsq.plane"}


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


def test_pictures_are_painted_without_the_plots_of_matplotlib() -> None:
    """They take a third of the time that matplotlib takes to load."""
    code = (
        "import sys; from gpsq.output.drawing import rendering, sheet;"
        "s = sheet.Sheet(2.0, 1.0); s.write(0.1, 0.1, 'a'); rendering.pixels(s, 50);"
        "print('matplotlib.figure' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


def test_each_of_two_processes_loads_its_own() -> None:
    """Who reads needs no compiled code, who makes the report no tables: loading them is most of the work on a week."""
    assert not loaded("gpsq.reading, gpsq.pipeline.analysis")
    drawing = loaded("gpsq.output.report.page, gpsq.output.charts.all_charts")
    assert not drawing & {"numba", "pandas", "folium"}
    assert not loaded("gpsq.pipeline.stages, gpsq.output.results_folder") & {"matplotlib", "pandas", "folium"}
