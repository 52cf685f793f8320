"""How long the results of 30 recordings of 1,800 fixes take to write; run with ``--benchmark-only``."""

from __future__ import annotations

from typing import TYPE_CHECKING

from output_sample import sample

from gpsq.output.results_folder import write_results

if TYPE_CHECKING:
    from pathlib import Path

    from pytest_benchmark.fixture import BenchmarkFixture


def test_write_results(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    analysis = sample(rides=(5, 5), length_m=9000.0)
    written = benchmark.pedantic(write_results, (analysis, tmp_path / "results"), rounds=3, warmup_rounds=1)
    assert all(path.is_file() for path in written)
