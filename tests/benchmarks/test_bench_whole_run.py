"""How long a whole run takes, files to report, as a user starts it, against the number of recordings.

Skipped in a normal test run; measure with ``pytest tests/benchmarks/test_bench_whole_run.py -o addopts= --benchmark-only``
(some ten minutes; the thousand recordings need ``GPSQ_LARGE=1`` and ten more). Kernels are compiled before the first
round; the cache is deleted before each but that of an unchanged campaign.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import campaigns
import numpy as np
import pytest

from gpsq.pipeline import cache

if TYPE_CHECKING:
    from pytest_benchmark.fixture import BenchmarkFixture

SIZES = (100, 300, *((1_000,) if os.environ.get("GPSQ_LARGE") else ()))


def gpsq(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "gpsq.cli", *words], check=True, capture_output=True)


def forget() -> None:
    with cache.opened(Path()) as store:
        assert store is not None
        shutil.rmtree(store.folder.parent)


@pytest.fixture
def week(tmp_path: Path) -> Path:
    """Thirty recordings of half an hour."""
    campaigns.write(tmp_path / "week", 30, 1_800, 2)
    gpsq("analyse", str(tmp_path / "week"))
    return tmp_path / "week"


def test_a_week(benchmark: BenchmarkFixture, week: Path) -> None:
    benchmark.pedantic(gpsq, ("analyse", str(week)), setup=forget, rounds=7)


def test_a_week_unchanged(benchmark: BenchmarkFixture, week: Path) -> None:
    benchmark.pedantic(gpsq, ("analyse", str(week)), rounds=7)


def test_help(benchmark: BenchmarkFixture) -> None:
    benchmark.pedantic(gpsq, ("--help",), rounds=7)


def test_growth_with_the_number_of_recordings(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """Record the exponent: the slope of log(time) on log(recordings), an hour each on 10 routes; medians of 5 rounds."""
    medians = []
    for size in SIZES:
        folder = tmp_path / str(size)
        campaigns.write(folder, size, 3_600, 10)
        medians.append(float(np.median([_seconds(folder) for _ in range(5)])))
        shutil.rmtree(folder)
    exponent = float(np.polyfit(np.log(SIZES), np.log(medians), 1)[0])
    benchmark.extra_info.update(exponent=exponent, medians_s=dict(zip(map(str, SIZES), medians, strict=True)))
    benchmark.pedantic(gpsq, ("--version",), rounds=5)


def _seconds(folder: Path) -> float:
    forget()
    start = time.perf_counter()
    gpsq("analyse", str(folder))
    return time.perf_counter() - start
