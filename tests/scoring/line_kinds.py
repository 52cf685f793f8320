"""Campaigns on which centrelines are scored: every kind of few and many, near and far, dense and sparse.

A kind and a seed make one campaign, always the same. All are drawn like the standard ones (five days of three devices,
6 to 9 km, detours and faults) and differ from them in what their name says.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np

from gpsq.simulate import Campaign, CampaignSpec, make_campaign, standard_spec

if TYPE_CHECKING:
    from collections.abc import Callable

#: A spike is a single fix this far off: under what the reader sets aside as no position at all.
SPIKE_M, SPIKES = (150.0, 300.0), 3


def _with(**values: object) -> Callable[[CampaignSpec], CampaignSpec]:
    return lambda spec: dataclasses.replace(spec, **values)


def _devices(count: int) -> Callable[[CampaignSpec], CampaignSpec]:
    def change(spec: CampaignSpec) -> CampaignSpec:
        have = spec.devices
        more = [dataclasses.replace(have[k % len(have)], name=f"{have[k % len(have)].name} {k}") for k in range(count)]
        return dataclasses.replace(spec, devices=tuple(more))

    return change


def _sampled(interval_s: int) -> Callable[[CampaignSpec], CampaignSpec]:
    def change(spec: CampaignSpec) -> CampaignSpec:
        slow = tuple(dataclasses.replace(d, style="steady", interval_s=interval_s) for d in spec.devices)
        return dataclasses.replace(spec, devices=slow)

    return change


KINDS: dict[str, Callable[[CampaignSpec], CampaignSpec]] = {
    "five days of three": lambda spec: spec,
    "three days": _with(days=3, detours=1),
    "one device": _devices(1),
    "eight devices": _devices(8),
    "2 km": _with(length_m=2500.0, detours=0, spur=False, tunnel=False),
    "8 km": _with(length_m=8000.0),
    "25 km": _with(length_m=25_000.0),
    "1 s": _sampled(1),
    "4 s": _sampled(4),
    "10 s": _sampled(10),
    "no detours": _with(detours=0),
    "spikes": lambda spec: spec,
    "street canyons": _with(canyon_share=0.25, canyon_factor=2.5),
    "many detours": _with(detours=4),
}


def in_turn(number: int, first: int) -> tuple[str, int]:
    """Return the kind and the seed of a campaign by its number: all kinds in turn, a hundred seeds on each time round."""
    turn, kind = divmod(number, len(KINDS))
    return list(KINDS)[kind], first + 100 * turn + kind


def campaign_of_kind(kind: str, seed: int) -> Campaign:
    """Return the campaign of a kind and a seed."""
    campaign = make_campaign(KINDS[kind](standard_spec(seed)), seed)
    return _spiked(campaign) if kind == "spikes" else campaign


def _spiked(campaign: Campaign) -> Campaign:
    """Move single fixes of every recording far aside; the true offsets stay those without them."""
    rng, moved = np.random.default_rng((campaign.seed, 93)), []
    for recording in campaign.recordings:
        xy_m = campaign.plane.to_metres(recording.lon_deg, recording.lat_deg)
        if len(xy_m) > 100:
            at = rng.choice(np.arange(30, len(xy_m) - 30), SPIKES, replace=False)
            angle = rng.uniform(0.0, 2.0 * np.pi, SPIKES)
            xy_m[at] += rng.uniform(*SPIKE_M, SPIKES)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        lon, lat = campaign.plane.to_degrees(xy_m)
        moved.append(dataclasses.replace(recording, lon_deg=lon, lat_deg=lat))
    return dataclasses.replace(campaign, recordings=tuple(moved))
