"""What the tests share."""

from __future__ import annotations

import contextlib
import gc
import importlib
import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from _pytest.doctest import DoctestModule
from browser import Window, missing
from hypothesis import HealthCheck, settings
from open_data import SHARED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from browser import Opened

# The same examples in every run, and none refused for a slow machine: whoever tests an unchanged gpsq twice gets one answer.
# They are 40 where a test does not say how many it needs to meet what is rare; exploring takes more, and others each time.
settings.register_profile(
    "repeatable", derandomize=True, deadline=None, max_examples=40, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile(
    "exploring", settings.get_profile("repeatable"), derandomize=False, max_examples=200, print_blob=True
)
settings.load_profile("exploring" if os.environ.get("GPSQ_LONG") else "repeatable")


# What Python compiles of the source is kept beside it, for the dozens of processes that tests begin, though many a
# container is set up to keep none; the numerical kernels are kept there anyway.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# Every process that a test begins runs this gpsq, wherever it stands: not another one that is installed, which would
# be another's answer and would have its kernels compiled too.
os.environ["PYTHONPATH"] = os.pathsep.join(
    filter(None, [str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH", "")])
)

#: Needs the library of mutations, an extra of its own.
collect_ignore = ["mutations"]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """The whole suite runs in two processes; what was chosen runs in this one, at once and under a debugger."""
    chosen = config.args_source is pytest.Config.ArgsSource.ARGS or config.option.keyword
    return 0 if chosen else 2


#: What takes longest is begun first, in this order: begun last, it would keep one process at work while the other has
#: nothing to do.
LONGEST = (
    "test_story.py", "test_cli.py", "test_starts_played.py", "test_cache.py", "test_publish_attack.py", "test_executors.py",
    "test_publish.py", "test_processes.py", "test_kill.py", "test_fleet.py", "test_curve_distances.py", "test_pictures.py",
    "test_line_scores.py", "test_simulate.py", "test_requests.py", "test_kept_zones.py", "test_lone_weeks.py", "test_pages.py",
    "test_odd_names.py", "test_accessible.py", "test_consensus_line.py", "test_folder_swap.py",
)  # fmt: skip


def pytest_sessionstart(session: pytest.Session) -> None:
    """Of two processes that load all tests, one begins at the other end: each takes over what the other has compiled.

    What cannot be loaded is not noticed here, but where it is collected.
    """
    tests = Path(__file__).parent
    if os.environ.get("PYTEST_XDIST_WORKER") == "gw1" and str(tests) in {
        str(Path(a).resolve()) for a in session.config.args
    }:
        for path in sorted(tests.glob("*/test_*.py"), reverse=True):
            sys.path.insert(0, str(path.parent))  # as pytest itself does with each
            with contextlib.suppress(Exception, pytest.skip.Exception):
                importlib.import_module(path.stem)


@pytest.hookimpl(wrapper=True)
def pytest_collect_file() -> Iterator[None]:
    """No docstring of a test is an example to run (this hook is asked for files below this folder only)."""
    found = yield
    return [one for one in found if not isinstance(one, DoctestModule)]  # type: ignore[return-value,attr-defined]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest modules first; all else keeps its order."""
    order = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: order.get(item.path.name, len(order)))


def pytest_collection_finish() -> None:
    """What was collected stays: the collector of garbage need not look through it again and again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def _cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests keep no answers among the user's own, and find none there; the fonts that matplotlib listed stay where they are."""
    users = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MPLCONFIGDIR", os.environ.get("MPLCONFIGDIR", str(users / "matplotlib")))
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("user-cache")))
        yield


@pytest.fixture(scope="session", autouse=True)
def _kernels(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Processes that share the tests out compile the kernels together; one alone compiles those that it comes to."""
    if "PYTEST_XDIST_WORKER" in os.environ:
        import kernels

        kernels.compile_together(tmp_path_factory.getbasetemp().parent)


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of open recordings and reference values; who takes it is marked ``open_data``.

    A user's fresh clone does not have it; the automatic check does, and there its absence is an error.
    """
    if not SHARED.is_dir():
        if os.environ.get("CI"):
            pytest.fail(f"the shared data are missing: {SHARED}")
        pytest.skip("the folder of open recordings beside the checkout is absent")
    return SHARED


#: No name of any other computer leads anywhere.
NOWHERE_ELSE = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A headless browser: the one that has no windows at all where it is there, which begins a page in a tenth of the time."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("the package playwright")
    named = (shutil.which(name) for name in ("chromium-headless-shell", "chromium", "chromium-browser"))
    path = os.environ.get("CHROMIUM") or next(filter(None, named), None)
    if path is None:
        missing("a Chromium browser")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=["--no-sandbox", NOWHERE_ELSE])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def open_page(chromium: Any) -> Iterator[Callable[..., Opened]]:
    """Show a file, with the network off, in the one window that a module has."""
    window = Window(chromium, offline=True)
    yield window.show
    window.context.close()
