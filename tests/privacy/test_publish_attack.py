"""Published results of campaigns of 20 rides, attacked: nobody finds the ends of the routes from them.

The true ends are the simulator's. The bounds are the promise of docs/publish.md: over all ends each attack misses by
200 m or more in the median, and at no end by less than 100 m. GPSQ_ATTACKED_CAMPAIGNS asks for more campaigns.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest
from publish_attack import Seen, guesses, hidden_lengths, seen

from gpsq.output.tables import layers, tables
from gpsq.pipeline.analysis import analyse
from gpsq.plane import geodesic_inverse_m
from gpsq.privacy import publication
from gpsq.privacy.ends import zones_for
from gpsq.simulate import Campaign, CampaignSpec, DeviceSpec, make_campaign, write

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from gpsq.results import Analysis

CAMPAIGNS = int(os.environ.get("GPSQ_ATTACKED_CAMPAIGNS", "8"))


@dataclass(frozen=True, eq=False)
class Attacked:
    """One end of one route: what is seen of it, the guesses, where it truly is, and how much road is hidden there."""

    end: Seen
    guesses: dict[str, np.ndarray]
    true_deg: np.ndarray
    hidden_m: float

    def misses_m(self) -> dict[str, float]:
        return {name: _apart_m(guess, self.true_deg) for name, guess in self.guesses.items()}


def _spec(seed: int) -> CampaignSpec:
    """10 days out and back: late fixes and hot starts, a loop now and then, two ways back."""
    rng = np.random.default_rng((seed, 77))
    device = DeviceSpec("amber", 3.0, interval_s=5, shows_start="log", start_mix=(0.5, 0.4, 0.1))
    return CampaignSpec(
        f"Attack {seed}", float(rng.uniform(-170, 170)), float(rng.uniform(-45, 60)), (device,), days=10,
        length_m=float(rng.uniform(4800, 7500)), shape="loop" if seed % 5 == 4 else "across",
        back=("same street", "parallel street")[seed % 2], faults=0, unlogged=0, never_fixed=seed % 2,
    )  # fmt: skip


def _apart_m(one: np.ndarray, other: np.ndarray) -> float:
    return float(geodesic_inverse_m(one[:1], one[1:], other[:1], other[1:])[0])


def _analysed(campaign: Campaign, folder: Path) -> Analysis:
    write(campaign, folder)
    with (folder / "campaign.toml").open("a") as file:
        file.write("[settings]\nresamples = 100\nstep_m = 10\n")
    return analyse(folder)


def _files(analysis: Analysis, out: Path) -> Path:
    """The files that the attacks read; the others hold no more (tests/privacy/test_publish.py reads them all)."""
    out.mkdir()
    (out / "centrelines.geojson").write_text(layers.centrelines_geojson(analysis))
    (out / "tracks.csv").write_text(tables.csv_text(tables.tracks(analysis)))
    layers.write_geopackage(analysis, out / "results.gpkg")
    return out


def _attacked(campaign: Campaign, out: Path) -> Iterator[Attacked]:
    ends = seen(out)
    for end in ends:
        roads = {name: road[:: 1 if end.is_start else -1] for name, road in campaign.town.roads.items()}
        own = min(roads.values(), key=lambda road: _far_m(road, end, campaign))
        from_end = np.hypot(*(own - campaign.plane.to_metres(*_first_deg(end))).T)
        true = np.array([value[0] for value in campaign.plane.to_degrees(own[:1])])
        yield Attacked(end, guesses(end, ends), true, float(np.argmin(from_end)))


def _first_deg(end: Seen) -> tuple[np.ndarray, np.ndarray]:
    return end.plane.to_degrees(end.line[:1])


def _far_m(road: np.ndarray, end: Seen, campaign: Campaign) -> float:
    """How badly a road fits a published line, in this direction of travel."""
    line = campaign.plane.to_metres(*end.plane.to_degrees(end.line[::20]))
    nearest = [int(np.argmin(np.hypot(*(road - place).T))) for place in line]
    off = sum(float(np.hypot(*(road[k] - place))) for k, place in zip(nearest, line, strict=True))
    return off + (1e9 if nearest[0] > nearest[-1] else 0.0)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Attacked], list[Attacked]]:
    """The ends of all campaigns as published, and those of the first as they are."""
    found: list[Attacked] = []
    uncut: list[Attacked] = []
    for seed in range(CAMPAIGNS):
        campaign, folder = make_campaign(_spec(seed), seed), tmp_path_factory.mktemp("campaign")
        analysis = _analysed(campaign, folder)
        uncut = uncut or list(_attacked(campaign, _files(analysis, folder / "uncut")))
        zones, _ = zones_for(analysis, (), (), np.random.default_rng((seed, 78)))
        found += _attacked(campaign, _files(publication(analysis, zones).analysis, folder / "published"))
    return found, uncut


@pytest.fixture(scope="module")
def attacked(both: tuple[list[Attacked], list[Attacked]]) -> list[Attacked]:
    return both[0]


@pytest.fixture(scope="module")
def uncut(both: tuple[list[Attacked], list[Attacked]]) -> list[Attacked]:
    return both[1]


def test_every_route_is_published_at_both_ends(attacked: list[Attacked]) -> None:
    assert len(attacked) >= 30
    assert len(attacked) == 4 * CAMPAIGNS


def test_no_attack_comes_near(attacked: list[Attacked]) -> None:
    misses = [one.misses_m() for one in attacked]
    near = {name: miss for each in misses for name, miss in each.items() if miss < 100.0}
    assert not near


def test_every_attack_misses_by_200_m_in_the_median(attacked: list[Attacked]) -> None:
    names = {name for one in attacked for name in one.guesses}
    assert {"circle through the tracks' ends", "corner of the bounding box", "mean of the tracks' ends"} <= names
    for name in names:
        misses = [one.misses_m()[name] for one in attacked if name in one.guesses]
        assert np.median(misses) >= 200.0, name


def test_figures_do_not_tell_how_much_is_hidden(attacked: list[Attacked]) -> None:
    """Each way of working it out gives nothing like the truth, at no end and not on average: it never sees it."""
    told: dict[str, list[tuple[float, float]]] = {}
    for one in attacked:
        for name, length_m in hidden_lengths(one.end).items():
            told.setdefault(name, []).append((length_m, one.hidden_m))
    assert {"what late fixes missed", "what late fixes took", "number of tracks"} <= set(told)
    for name, pairs in told.items():
        guess, true = np.array(pairs).T
        assert np.median(true) > 500.0
        assert np.median(np.abs(guess - true)) > 200.0, name
        if "took" not in name and "settling" not in name:
            assert np.median(guess) < 60.0, name


def test_the_attacks_would_find_an_uncut_end(uncut: list[Attacked]) -> None:
    """Without a cut the same attacks find the ends: they are real attacks."""
    assert len(uncut) == 4
    assert all(one.misses_m()["the line's end"] < 100.0 for one in uncut)
