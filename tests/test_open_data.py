"""Every test that reads the folder of open recordings says so: by its marker and by the fixture that finds the folder."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

HERE = Path(__file__).resolve()
TESTS = next(folder for folder in HERE.parents if folder.name == "tests")
#: The two modules that know where the folder stands.
WHERE = {"open_data", "conftest"}
MARKER, FIXTURE = "open_data", "shared"
NONE: Mapping[str, set[str]] = MappingProxyType({})


@cache
def functions(tree: ast.Module) -> tuple[ast.FunctionDef, ...]:
    return tuple(node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


def arguments(function: ast.FunctionDef) -> set[str]:
    return {a.arg for a in (*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs)}


def decorated(function: ast.FunctionDef, name: str) -> bool:
    """Is `name` one of the words of a decorator, as in ``@pytest.mark.name`` or ``@pytest.name(...)``?"""
    return any(name in re.split(r"\W+", ast.unparse(d).partition("(")[0]) for d in function.decorator_list)


def fixtures(tree: ast.Module) -> dict[str, set[str]]:
    """Return the arguments of the fixtures of a module by their names."""
    return {f.name: arguments(f) for f in functions(tree) if decorated(f, "fixture")}


def leading_there(fixtures: Mapping[str, set[str]]) -> set[str]:
    """Return the names of the fixtures that read the folder, by themselves or through another."""
    found = {FIXTURE}
    while more := {name for name, taken in fixtures.items() if taken & found} - found:
        found |= more
    return found


def module_wide(tree: ast.Module) -> bool:
    marks = [
        node.value
        for node in tree.body
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "pytestmark"
    ]
    return any(MARKER in re.split(r"\W+", ast.unparse(mark)) for mark in marks)


def uses_helper(tree: ast.Module) -> bool:
    return any(isinstance(node, ast.ImportFrom) and (node.module or "").endswith(MARKER) for node in ast.walk(tree))


def other_ways(tree: ast.Module) -> Iterator[str]:
    """Yield the lines that find the folder without the fixture: the constant of the helper, or a path of one's own."""
    for node in ast.walk(tree):
        named = "SHARED" in (getattr(node, "id", ""), getattr(node, "attr", ""))
        imported = isinstance(node, ast.ImportFrom) and any(alias.name == "SHARED" for alias in node.names)
        spelt = (
            isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and re.search(r"^shared$|/shared(/|$)|^shared/", node.value)
        )
        if named or imported or spelt:
            yield f"line {node.lineno} finds the folder without the fixture `{FIXTURE}`"


def objections(source: str, common: Mapping[str, set[str]] = NONE) -> list[str]:
    """Return what a test module does wrong; `common` are the fixtures of other modules that it may take."""
    if not re.search(rf"(?i){FIXTURE}|{'|'.join([MARKER, *map(re.escape, leading_there(common))])}", source):
        return []  # it takes nothing that leads there, nor names the folder or the marker
    tree = ast.parse(source)
    there, whole = leading_there({**common, **fixtures(tree)}), module_wide(tree)
    found = list(other_ways(tree))
    for test in (f for f in functions(tree) if f.name.startswith("test_")):
        reads, marked = bool(arguments(test) & there), whole or decorated(test, MARKER)
        if reads and not marked:
            found.append(f"{test.name} reads the folder and is not marked `{MARKER}`")
        if (marked or uses_helper(tree)) and not reads:
            found.append(f"{test.name} is of the open recordings and takes no fixture that finds them")
    return found


def test_every_test_of_the_open_recordings_says_so() -> None:
    paths = [path for path in TESTS.rglob("*.py") if path != HERE]
    common: dict[str, set[str]] = {}
    for path in (path for path in paths if not path.name.startswith("test_")):
        common |= fixtures(ast.parse(path.read_text(encoding="utf-8")))
    found = {
        str(path.relative_to(TESTS)): objections(path.read_text(encoding="utf-8"), common)
        for path in paths
        if path.stem not in WHERE
    }
    assert {path: wrong for path, wrong in found.items() if wrong} == {}


RIGHT = "@pytest.mark.open_data\ndef test_a(shared): ..."
FIXED = "@pytest.fixture(scope='module')\ndef park(shared): ...\n"


@pytest.mark.parametrize(
    "source",
    [
        RIGHT,
        "pytestmark = pytest.mark.open_data\ndef test_a(tmp_path, shared): ...",
        "pytestmark = [pytest.mark.slow, pytest.mark.open_data]\ndef test_a(shared): ...",
        FIXED + "@pytest.mark.open_data\ndef test_a(park): ...\ndef test_b(tmp_path): ...",
        "def test_a(): assert frame['shared_m'].isna().all()",
    ],
)
def test_what_says_so_is_accepted(source: str) -> None:
    assert objections(source) == []


@pytest.mark.parametrize(
    ("source", "word"),
    [
        ("def test_a(shared): ...", "not marked"),
        (FIXED + "def test_a(park): ...", "not marked"),
        (FIXED + "@pytest.fixture\ndef week(park): ...\ndef test_a(week): ...", "not marked"),
        ("@pytest.mark.slow\ndef test_a(shared): ...", "not marked"),
        ("@pytest.mark.open_data\ndef test_a(): ...", "no fixture"),
        ("from open_data import open_cases\n" + RIGHT + "\ndef test_b(): ...", "no fixture"),
        ("from conftest import SHARED\n" + RIGHT, "line 1 finds"),
        (RIGHT + "\ndef test_b(): list((SHARED / 'data').iterdir())", "line 3 finds"),
        ("import open_data\n" + RIGHT + "\ndef test_b(): open_data.SHARED.is_dir()", "line 4 finds"),
        ("DATA = Path(__file__).parents[2] / 'shared'\n" + RIGHT, "line 1 finds"),
        ("DATA = '../shared/data'\n" + RIGHT, "line 1 finds"),
    ],
)
def test_what_does_not_is_named(source: str, word: str) -> None:
    (only,) = objections(source)
    assert word in only
