"""``.gpsq-private.toml``: a campaign's zones, drawn once and kept, so that every publication cuts at the same places.

Two publications with different cuts would show an attacker more than either; so zones are only ever added.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gpsq.campaign import leftovers, safe_files
from gpsq.exceptions import CampaignError
from gpsq.privacy.zones import Zone

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

NAME = leftovers.ZONES
HEAD = """\
# SECRET: what `gpsq publish` hides in this campaign. Whoever has this file and the published results knows where the
# ends of the routes are hidden. Keep it: without it the next publication is cut at other places, and the two together
# show more than either.
"""
_RANGES = {"lat": (-90.0, 90.0), "lon": (-180.0, 180.0), "radius_m": (1.0, 1e6)}


def load(folder: Path) -> tuple[Zone, ...]:
    """Return the zones kept in a campaign's folder, none where nothing was published yet.

    Raises
    ------
    CampaignError
        When the file cannot be read or says something impossible: new zones beside lost ones would show too much.
    """
    try:
        text = safe_files.read_bytes(folder / NAME).decode("utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as error:
        raise CampaignError(
            NAME, f"a file that cannot be read ({error})", "the zones of earlier publications"
        ) from error
    table = safe_files.toml_table(text, NAME)
    zones = table.get("zone", [])
    if not isinstance(zones, list) or set(table) - {"zone"}:
        raise CampaignError(NAME, "other than zones", "[[zone]] with lat, lon, radius_m")
    return tuple(_zone(entry) for entry in zones)


def _zone(entry: Any) -> Zone:
    if not isinstance(entry, dict) or set(entry) != set(_RANGES):
        raise CampaignError(NAME, f"a zone {entry!r}", "[[zone]] with lat, lon, radius_m")
    for key, (low, high) in _RANGES.items():
        value = entry[key]
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise CampaignError(NAME, f"{key} = {value!r}", f"a number between {low:g} and {high:g}")
    return Zone(float(entry["lat"]), float(entry["lon"]), float(entry["radius_m"]))


def save(folder: Path, zones: Sequence[Zone]) -> None:
    """Keep the zones, in one step and for the owner's eyes only.

    Raises
    ------
    OutputError
        When the folder cannot be written to.
    """
    entries = (f"\n[[zone]]\nlat = {z.lat_deg!r}\nlon = {z.lon_deg!r}\nradius_m = {z.radius_m!r}\n" for z in zones)
    safe_files.write_text(folder / NAME, HEAD + "".join(entries), mode=0o600)
