"""The numbers that the method rests on are those that `docs/values.md` tells: figures of two years need the same ones."""

from __future__ import annotations

import ast
import importlib
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "values.md"
#: What measures; what draws, writes and serves has numbers too, which no figure rests on.
MEASURES = (
    "plane", "arrays", "geometry", "statistics", "campaign", "reading", "rides", "centreline", "measures", "summaries",
    "privacy",
)  # fmt: skip
Told = dict[str, tuple[float, ...]]


@cache
def _on_the_page() -> dict[str, Told]:
    parts = re.split(r"^## `(.+)`$", PAGE.read_text("utf-8"), flags=re.MULTILINE)[1:]
    return {module: _rows(table) for module, table in zip(parts[::2], parts[1::2], strict=True)}


def _rows(table: str) -> Told:
    told: Told = {}
    for names, values, what in re.findall(r"^\| (`.+?`) \| (.+?) \| (.+) \|$", table, re.MULTILINE):
        assert len(what) > 10, f"{names}: what it is"
        each = [tuple(float(number.replace(" ", "")) for number in value.split(",")) for value in values.split(";")]
        told |= dict(zip(re.findall(r"`(\w+)`", names), each, strict=True))
    return told


def _in_the_code(path: Path) -> Told:
    module = importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    set_here = [s for s in ast.parse(path.read_text("utf-8")).body if isinstance(s, ast.Assign | ast.AnnAssign)]
    names = {n.id for s in set_here for n in ast.walk(s) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
    values = {name: getattr(module, name) for name in names if name.isupper()}
    several = {name: value if isinstance(value, tuple) else (value,) for name, value in values.items()}
    return {n: v for n, v in several.items() if v and all(isinstance(x, int | float) and x == x for x in v)}


def _modules() -> list[str]:
    within = [path for part in MEASURES for path in (ROOT / "gpsq" / part).rglob("*.py") if path.stem != "__init__"]
    files = [*within, *(path for part in MEASURES if (path := ROOT / "gpsq" / f"{part}.py").is_file())]
    return sorted(path.relative_to(ROOT / "gpsq").with_suffix("").as_posix() for path in files)


@pytest.mark.parametrize("module", _modules())
def test_the_numbers_of_a_module_are_those_of_the_page(module: str) -> None:
    assert _in_the_code(ROOT / "gpsq" / f"{module}.py") == _on_the_page().get(module, {})


def test_the_page_tells_of_no_module_that_is_not_there() -> None:
    assert set(_on_the_page()) <= set(_modules())
    assert sum(map(len, _on_the_page().values())) > 300
