"""``campaign.toml``, changed by hand through the page: one value at a time, all else kept.

Every change is read, made and written under the campaign's lock, so that page, command line and a second page never
lose each other's work.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gpsq.campaign import campaign_file, safe_files, start_log
from gpsq.campaign.device_folders import found_devices
from gpsq.campaign.device_names import device_of
from gpsq.campaign.start_matching import match
from gpsq.exceptions import CampaignError
from gpsq.reading.folder import recordings_meant

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from gpsq.model import Trace, Unreadable
    from gpsq.results import Analysis


def rename_device(folder: Path, old: str, new: str, traces: Sequence[Trace], unreadable: Sequence[Unreadable]) -> None:
    """Give a device another name, in ``[devices]`` of ``campaign.toml``.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    old, new : str
        Name as shown, and as wanted.
    traces, unreadable : sequences
        All recordings, to find what the device is called before any renaming.
    """
    new = " ".join(new.split())
    if not new:
        raise CampaignError(campaign_file.FILE, "an empty name for a device", "a name")
    names = found_names(folder, traces, unreadable)
    recordings: list[Trace | Unreadable] = [*traces, *unreadable]
    found = {names[r.file] for r in recordings if r.device == old}

    def renamed(document: Any) -> None:
        devices = document.setdefault("devices", {})
        for key in [*found, *(key for key, value in devices.items() if value == old)]:
            devices[key] = new

    _change_campaign(folder, renamed)


def found_names(folder: Path, traces: Sequence[Trace], unreadable: Sequence[Unreadable]) -> dict[str, str]:
    """Return file → the name of its device before any renaming."""
    campaign = campaign_file.load(folder)
    devices = found_devices(traces)
    log = start_log.load(folder, campaign)
    meant = recordings_meant([*traces, *unreadable], campaign, devices)
    matches = match(log, meant, campaign.settings.start_bound_s)
    logged = {file: device for (file, _), device in matches.devices.items()}
    found = {u.file: devices.of_file(u.file) for u in unreadable} | {
        t.file: devices.names[t.file, t.track] for t in traces
    }
    return {file: device_of(file, name, logged.get(file, ""), {}) for file, name in found.items()}


def describe(folder: Path, key: str, value: str) -> None:
    """Write ``title`` or ``time_zone`` into ``campaign.toml``; "" takes it out."""
    value = " ".join(value.split())

    def described(document: Any) -> None:
        if value:
            document[key] = value
        else:
            document.pop(key, None)

    _change_campaign(folder, described)


def name_way(folder: Path, route: str, name: str, analysis: Analysis) -> None:
    """Write the name of a route into ``[routes]`` of ``campaign.toml``; "" takes it out, by whatever recording it was given."""
    name = " ".join(name.split())
    files = {t.file for t, r in zip(analysis.traces, analysis.results, strict=True) if r.route == route}

    def named(document: Any) -> None:
        routes = document.setdefault("routes", {})
        for key in [key for key in routes if key == route or key in files]:
            del routes[key]
        if name:
            routes[route] = name
        elif not routes:
            del document["routes"]

    _change_campaign(folder, named)


def add_place(folder: Path, lat: float, lon: float, radius_m: float) -> None:
    """Add a private place to ``campaign.toml``; published results will not show what lies in it."""

    def added(document: Any) -> None:
        import tomlkit

        place = tomlkit.table()
        place.update({"lat": round(lat, 6), "lon": round(lon, 6), "radius_m": round(radius_m, 1)})
        document.setdefault("private_place", tomlkit.aot()).append(place)

    _change_campaign(folder, added)


def remove_place(folder: Path, lat: float, lon: float, radius_m: float) -> None:
    """Take a private place out of ``campaign.toml`` again."""

    def removed(document: Any) -> None:
        places = document.get("private_place", [])
        for number, place in enumerate(places):
            if (place["lat"], place["lon"], place["radius_m"]) == (lat, lon, radius_m):
                del places[number]
                break
        if "private_place" in document and not places:
            del document["private_place"]

    _change_campaign(folder, removed)


def _change_campaign(folder: Path, change: Callable[[Any], None]) -> None:
    """Change ``campaign.toml`` and keep its comments, order and layout."""
    import tomlkit

    with safe_files.locked(folder):
        campaign_file.load(folder)  # a file that cannot be followed is refused, not changed
        text = safe_files.kept_text(folder / campaign_file.FILE, "")
        document = tomlkit.parse(text.removeprefix("\ufeff"))
        change(document)
        changed = tomlkit.dumps(document)
        campaign_file.parse(changed.encode(), folder)
        safe_files.write_text(folder / campaign_file.FILE, changed)
