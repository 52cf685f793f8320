"""Specifications drawn at random, so that a measure of gpsq does not rest on one kind of campaign."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.simulate.spec import QUIET, ROUGH, SHOWS_START, CampaignSpec, DeviceSpec

if TYPE_CHECKING:
    from collections.abc import Sequence

NAMES = ("amber", "basalt", "cedar", "dune")


def standard_spec(seed: int) -> CampaignSpec:
    """Return a campaign of 5 days, 2 directions, 3 devices and 6 to 9 km, at least one device starting hot at times.

    Examples
    --------
    >>> spec = standard_spec(4)
    >>> spec.days, len(spec.devices), 6000 <= spec.length_m <= 9000
    (5, 3, True)
    """
    rng = np.random.default_rng((seed, 91))
    shows = [str(s) for s in rng.choice(SHOWS_START, 3, replace=False)]
    devices = tuple(_device(rng, k, shows[k], hot=k == 0) for k in range(3))
    return CampaignSpec(title=f"Standard {seed}", devices=devices, **_place(rng), **_road(rng), **_trouble(rng, 30))


def drawn_spec(seed: int) -> CampaignSpec:
    """Return a campaign of any kind: 1 to 4 devices, 3 to 7 days, dense or coarse, late starts only, and so on.

    Examples
    --------
    >>> kinds = [drawn_spec(seed) for seed in range(40)]
    >>> sorted({len(spec.devices) for spec in kinds}), sorted({spec.days for spec in kinds})
    ([1, 2, 3, 4], [3, 4, 5, 6, 7])
    """
    rng = np.random.default_rng((seed, 92))
    count, days = int(rng.integers(1, 5)), int(rng.integers(3, 8))
    shows = [str(s) for s in rng.choice(SHOWS_START, count, replace=False)]
    devices = tuple(_device(rng, k, shows[k], hot=k == 0) for k in range(count))
    more: dict[str, Any] = {
        "days": days,
        "all_late": bool(rng.random() < 0.15),
        "far_memory": bool(rng.random() < 0.7),
        "shared_sigma_m": float(rng.choice([0.0, 0.5])),
        "canyon_share": float(rng.choice([0.0, 0.1, 0.25])),
        "canyon_factor": float(rng.uniform(1.5, 2.5)),
        "lateral_m": float(rng.uniform(0.3, 1.0)),
    }
    trouble = _trouble(rng, count * days * 2)
    return CampaignSpec(title=f"Drawn {seed}", devices=devices, **_place(rng), **_road(rng), **trouble, **more)


def _pick(rng: np.random.Generator, values: Sequence[Any], weights: Sequence[float]) -> Any:
    return values[int(rng.choice(len(values), p=weights))]


def _device(rng: np.random.Generator, k: int, shows_start: str, hot: bool) -> DeviceSpec:
    rough = k > 0 and rng.random() < 0.12
    style = _pick(rng, ("steady", "smart"), (0.75, 0.25))
    mix = _pick(rng, ((0.8, 0.15, 0.05), (0.4, 0.5, 0.1), (0.05, 0.75, 0.2)), (0.3, 0.4, 0.3))
    return DeviceSpec(
        name=NAMES[k],
        sigma_m=float(rng.uniform(6.0, 8.0) if rough else rng.uniform(1.5, 5.0)),
        correlation=ROUGH if rough else QUIET,
        style=style,
        interval_s=1 if style == "smart" else int(_pick(rng, (1, 2, 3, 5), (0.55, 0.15, 0.15, 0.15))),
        shows_start=shows_start,
        start_mix=(0.8, 0.15, 0.05) if hot else mix,
        first_fix_error_m=float(rng.uniform(5.0, 20.0)),
        decimals=int(_pick(rng, (5, 6, 7), (0.15, 0.35, 0.5))),
        quality=bool(rng.random() < 0.4),
        elevation=bool(rng.random() < 0.8),
    )


def _place(rng: np.random.Generator) -> dict[str, Any]:
    lon = _pick(rng, (rng.uniform(-179, 179), 179.99, -179.99), (0.9, 0.05, 0.05))
    lat = _pick(rng, (rng.uniform(30, 58), rng.uniform(-48, -10), rng.uniform(60, 70)), (0.5, 0.3, 0.2))
    day = dt.date(2025, 1, 6) + dt.timedelta(weeks=int(rng.integers(0, 50)))
    return {"lon_deg": float(lon), "lat_deg": float(lat), "first_day": day}


def _road(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "length_m": float(rng.uniform(6100, 8700)),
        "shape": _pick(rng, ("across", "loop"), (0.85, 0.15)),
        "back": _pick(rng, ("same street", "parallel street"), (0.5, 0.5)),
        "parallel_m": float(rng.uniform(60, 100)),
        "spur": bool(rng.random() < 0.2),
        "drive_left": bool(rng.random() < 0.4),
        "lane_m": float(rng.uniform(1.0, 3.0)),
        "cruise_mps": float(rng.uniform(4.5, 6.5)),
        "lights": int(rng.integers(3, 12)),
        "tunnel": bool(rng.random() < 0.2),
        "layout": _pick(rng, ("by device", "by day"), (0.75, 0.25)),
    }


def _trouble(rng: np.random.Generator, recordings: int) -> dict[str, Any]:
    return {
        "detours": int(_pick(rng, (0, 1, 2), (0.2, 0.5, 0.3))) if recordings >= 12 else 1,
        "detour_off_m": _pick(rng, ((66.0, 90.0), (80.0, 180.0), (150.0, 300.0)), (0.3, 0.5, 0.2)),
        "detour_long_m": _pick(rng, ((320.0, 450.0), (400.0, 800.0)), (0.4, 0.6)),
        "faults": int(_pick(rng, (0, 1, 2), (0.3, 0.5, 0.2))),
        "late_starts": int(_pick(rng, (0, 1, 2), (0.5, 0.3, 0.2))),
        "never_fixed": int(_pick(rng, (0, 1), (0.6, 0.4))),
        "slow_fixes": int(_pick(rng, (0, 1, 3), (0.5, 0.3, 0.2))),
    }
