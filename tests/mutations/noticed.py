"""Which mistakes in a module do its tests notice? A sample of them is made, one at a time, and the tests are run on each.

    python tests/mutations/noticed.py gpsq/measures/cross_track.py tests/measures
    python tests/mutations/noticed.py --interpreted gpsq/centreline/robust_middle.py tests/centreline/test_robust_middle.py
    python tests/mutations/noticed.py --kernels

The mistakes are those of cosmic-ray. What is compiled is left out, as it takes long to compile anew; `--interpreted` runs it
as plain Python, a hundred times slower, and makes mistakes in it too: name few tests, or small ones. No file is changed: a
fresh process is given the changed module in place of the right one. It is a fork of one that has loaded the libraries, so
each takes as long as its tests. A mistake counts as noticed where a test fails, where the module cannot be loaded, and where
the tests take far longer than without it.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import gc
import importlib
import os
import signal
import sys
import tempfile
import time
from collections import Counter
from importlib.machinery import SourceFileLoader
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from types import CodeType

ROOT = Path(__file__).resolve().parents[2]
LIBRARIES = (
    "numpy", "scipy.special", "scipy.stats", "scipy.spatial", "scipy.optimize", "pandas", "geopandas", "pyogrio", "shapely",
    "pyproj", "numba", "matplotlib.figure", "lxml.html", "hypothesis", "pytest", "gpxpy", "PIL.Image",
    "_hypothesis_pytestplugin", "pytest_benchmark.plugin", "xdist.plugin", "anyio.pytest_plugin", "hypothesis.internal.entropy",
)  # fmt: skip
NOTICED, TOO_LONG, UNNOTICED = "noticed", "too long", "UNNOTICED"


def verdict(module: Path, text: str, tests: list[str], limit_s: float, *, compiled: bool = False) -> str:
    """Return whether the tests notice when a module has another text."""
    child = os.fork()
    if not child:
        os.setsid()
        os._exit(_tested(module, text, tests, compiled=compiled))
    until = time.monotonic() + limit_s
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            with contextlib.suppress(ProcessLookupError):  # processes that outlive a mistaken test, if any
                os.killpg(child, signal.SIGKILL)
            return UNNOTICED if os.waitstatus_to_exitcode(status) == 0 else NOTICED
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return TOO_LONG


def _tested(module: Path, text: str, tests: list[str], *, compiled: bool) -> int:
    """Run the tests with a changed module, quietly; 0 where none fails."""
    import pytest

    right = SourceFileLoader.get_code

    def get_code(loader: SourceFileLoader, fullname: str) -> CodeType | None:
        if Path(loader.path).resolve() == module:
            return compile(text, loader.path, "exec", dont_inherit=True)
        return right(loader, fullname)

    SourceFileLoader.get_code = get_code  # type: ignore[method-assign]
    sys.dont_write_bytecode = True
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    with tempfile.TemporaryDirectory() as folder:
        if compiled:  # what was compiled of the right module must not be found
            os.environ["NUMBA_CACHE_DIR"] = folder
            sys.modules["numba"].config.reload_config()  # type: ignore[attr-defined]
        options = [
            "-x",
            "-q",
            "-n0",
            "--tb=no",
            "--no-header",
            "--assert=plain",
            "-p",
            "no:cacheprovider",
            "-p",
            "no:unraisableexception",  # collects garbage, which takes as long as many a test
            f"--basetemp={folder}/t",
        ]
        return int(pytest.main([*options, "-m", "not open_data", str(module), *tests]))


def load_what_does_not_rest_on(module: Path) -> None:
    """Load what of gpsq comes to no import of the module, so that it need not be loaded again with each mistake."""
    imports: dict[str, set[str]] = {}
    for path in sorted((ROOT / "gpsq").rglob("*.py")):
        nodes = ast.walk(ast.parse(path.read_text("utf-8")))
        name = _name(path)
        imports[name] = {wanted for node in nodes for wanted in _imported(node)} | {name.rpartition(".")[0]}
    rests, found = {_name(module)}, {_name(module)}
    imports.pop("gpsq")  # names everything, and loads it when it is used
    while found:
        found = {name for name, wanted in imports.items() if name not in rests and wanted & rests}
        rests |= found
    for name in sorted(imports.keys() - rests - {"gpsq.__main__"}):
        importlib.import_module(name)


def _name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def _imported(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom) and node.module:
        packages = [node.module, node.module.rpartition(".")[0]]
        return [*packages, *(f"{node.module}.{alias.name}" for alias in node.names)]
    return []


def measure(given: argparse.Namespace) -> Counter[str]:
    """Print what is not noticed of a sample of mistakes; return how many were and were not."""
    from mistakes import sample

    module, tests = given.module.resolve(), given.tests
    right, begun = module.read_text("utf-8"), time.monotonic()
    if verdict(module, right, tests, 600.0) != UNNOTICED:
        raise SystemExit(f"{module.relative_to(ROOT)}: the tests fail without any mistake")
    limit_s = given.factor * (time.monotonic() - begun) + 10.0
    counts: Counter[str] = Counter()
    for mistake in sample(module, given.count, given.seed, compiled=given.interpreted):
        found = verdict(module, mistake.text, tests, limit_s)
        counts[found] += 1
        if found == UNNOTICED:
            say(f"{module.relative_to(ROOT)}:{mistake.line}: {mistake.before}\n    → {mistake.after}")
    return counts


def measure_kernels() -> Counter[str]:
    """Print which of our own mistakes in what is compiled are not noticed."""
    from mistakes import kernels

    counts: Counter[str] = Counter()
    for module, mistake, tests in kernels(ROOT / "gpsq"):
        found = verdict(ROOT / "gpsq" / module, mistake.text, [f"tests/{tests}"], 600.0, compiled=True)
        counts[found] += 1
        say(f"{found}: {module}:{mistake.line}: {mistake.before} → {mistake.after}")
    return counts


def say(line: str) -> None:
    """Write a line at once: a measurement takes minutes."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    """Read the command line, and print how many of the mistakes were noticed."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("module", type=Path, nargs="?", help="a module of gpsq")
    asked.add_argument("tests", nargs="*", help="the tests that must notice; its doctests are run too")
    asked.add_argument("--count", type=int, default=40, help="mistakes to make at most (40)")
    asked.add_argument("--seed", type=int, default=1, help="draws which (1)")
    asked.add_argument("--factor", type=float, default=5.0, help="tests may take so many times as long (5)")
    asked.add_argument("--kernels", action="store_true", help="our own mistakes in what is compiled")
    asked.add_argument("--interpreted", action="store_true", help="in what is compiled too, run as plain Python")
    given = asked.parse_args()
    if not given.kernels and (given.module is None or not given.tests):
        asked.error("a module and its tests, or --kernels")
    if given.interpreted:
        os.environ["NUMBA_DISABLE_JIT"] = "1"  # asked for when numba is loaded
    os.chdir(ROOT)
    sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]
    for name in LIBRARIES:
        importlib.import_module(name)
    if given.module:
        load_what_does_not_rest_on(given.module.resolve())
    gc.freeze()
    begun = time.monotonic()
    what = "what is compiled" if given.kernels else str(given.module)
    counts = measure_kernels() if given.kernels else measure(given)
    noticed = counts[NOTICED] + counts[TOO_LONG]
    share = f" ({noticed / counts.total():.0%})" if counts else ""
    say(f"{what}: {noticed} of {counts.total()} mistakes noticed{share}, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
