"""The demo campaign: one week of a baker's errand in a ferry town that exists on no map.

``python -m gpsq.simulate.demo FOLDER`` writes it; the same command always writes the same bytes.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

from gpsq.simulate.campaign import Campaign, make_campaign
from gpsq.simulate.spec import CampaignSpec, DeviceSpec
from gpsq.simulate.writing import write

DEMO_SEED = 51


def demo_spec() -> CampaignSpec:
    """Return what the demo consists of; its place lies in the open sea, so that nobody's street is shown."""
    bar = DeviceSpec(
        "bar-unit", 2.0, interval_s=2, shows_start="no-fix points", start_mix=(0.7, 0.3, 0.0), quality=True
    )
    pocket = DeviceSpec("pocket-unit", 3.2, style="smart", shows_start="log", start_mix=(0.2, 0.6, 0.2), decimals=6)
    bag = DeviceSpec("bag-unit", 4.8, interval_s=3, shows_start="file time", start_mix=(0.0, 0.6, 0.4), decimals=6)
    return CampaignSpec(
        title="Kettlewick: rolls for the ferry",
        lon_deg=-24.05,
        lat_deg=56.21,
        devices=(bar, pocket, bag),
        first_day=dt.date(2025, 9, 8),
        length_m=3800.0,
        cruise_mps=4.9,
        lights=5,
        canyon_share=0.12,
        canyon_factor=1.8,
        parallel_m=70.0,
        drive_left=True,
        detour_off_m=(80.0, 130.0),
        detour_long_m=(350.0, 550.0),
        never_fixed=1,
        slow_fixes=1,
    )


def demo_campaign() -> Campaign:
    """Return the demo campaign in memory, with its true answers."""
    return make_campaign(demo_spec(), DEMO_SEED)


def main(arguments: list[str]) -> int:
    """Write the demo into the folder named; return the exit status."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m gpsq.simulate.demo FOLDER\n")
        return 2
    write(demo_campaign(), Path(arguments[0]))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
