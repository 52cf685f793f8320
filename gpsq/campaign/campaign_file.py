"""``campaign.toml``: what a person says about the whole campaign."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from gpsq.campaign import safe_files
from gpsq.exceptions import CampaignError
from gpsq.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

FILE = "campaign.toml"
_KEYS = (
    "title",
    "time_zone",
    "devices",
    "reference",
    "routes",
    "private_place",
    "cut_passes",
    "compare",
    "settings",
    "streets",
    "streets_source",
)
_PLACE_RANGES = {"lat": (-90.0, 90.0), "lon": (-180.0, 180.0), "radius_m": (1.0, 100_000.0)}


@dataclass(frozen=True)
class PrivatePlace:
    """A circle that published results must not show."""

    lat_deg: float
    lon_deg: float
    radius_m: float


@dataclass(frozen=True)
class Campaign:
    """What ``campaign.toml`` says; the defaults where there is none.

    Attributes
    ----------
    time_zone : name of the zone that times without one are in, or None.
    devices : a file or a device's name → the name wanted.
    reference : a route's name or a file → the file of its reference line, below the campaign's folder.
    routes : a route's letter or a recording on it → the name wanted.
    compare : results folders of earlier campaigns, or campaigns that hold them, from the campaign's folder.
    cut_passes : recordings that hold many passes are to be cut into them.
    streets : a file of lines, below the campaign's folder, to be drawn pale below maps; streets_source : whose it is.
    """

    title: str = ""
    time_zone: str | None = None
    devices: Mapping[str, str] = field(default_factory=dict)
    reference: Mapping[str, str] = field(default_factory=dict)
    private_places: tuple[PrivatePlace, ...] = ()
    compare: tuple[str, ...] = ()
    cut_passes: bool = False
    settings: Settings = field(default_factory=Settings)
    streets: str = ""
    streets_source: str = ""
    routes: Mapping[str, str] = field(default_factory=dict)


def load(folder: Path) -> Campaign:
    """Read ``campaign.toml`` in `folder`; without one, return the defaults.

    Raises
    ------
    CampaignError
        For a key that is not known, a value of the wrong kind or out of range, by name.
    """
    try:
        data = safe_files.read_bytes(folder / FILE)
    except FileNotFoundError:
        return Campaign()
    except OSError as error:
        raise CampaignError(FILE, f"a file that cannot be read ({error.strerror})", "a readable file") from error
    return parse(data, folder)


def parse(data: bytes, folder: Path) -> Campaign:
    """Read the bytes of a ``campaign.toml`` that lies, or is to lie, in `folder`; refused as by `load`."""
    try:
        table = safe_files.toml_table(data.decode("utf-8-sig"), FILE)
    except UnicodeDecodeError as error:
        raise CampaignError(FILE, "text that is not UTF-8", "TOML in UTF-8") from error
    _refuse_unknown(table, _KEYS, "")
    return Campaign(
        title=_text(table, "title"),
        time_zone=_time_zone(table),
        devices=_texts(table, "devices"),
        reference=_references(table, folder),
        private_places=_places(table),
        compare=_compare(table),
        cut_passes=_yes_or_no(table, "cut_passes"),
        settings=_settings(table),
        streets=_streets(table, folder),
        streets_source=_text(table, "streets_source"),
        routes=_texts(table, "routes"),
    )


def _refuse_unknown(table: Mapping[str, Any], known: Iterable[str], where: str) -> None:
    known = sorted(known)
    for key in table:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1)
            hint = f"{near[0]}, perhaps, or one of " if near else "one of "
            raise CampaignError(FILE, f"the key {key!r}{where}", hint + ", ".join(known))


def _text(table: Mapping[str, Any], key: str) -> str:
    value = table.get(key, "")
    if not isinstance(value, str):
        raise CampaignError(FILE, f"{key} = {value!r}", "text in quotes")
    return value


def _yes_or_no(table: Mapping[str, Any], key: str) -> bool:
    value = table.get(key, False)
    if not isinstance(value, bool):
        raise CampaignError(FILE, f"{key} = {value!r}", "true or false")
    return value


def _texts(table: Mapping[str, Any], key: str) -> dict[str, str]:
    value = table.get(key, {})
    if not isinstance(value, dict) or not all(isinstance(v, str) and v.strip() for v in value.values()):
        raise CampaignError(FILE, f"[{key}] = {value!r}", 'lines such as "old name" = "new name"')
    return value


def _time_zone(table: Mapping[str, Any]) -> str | None:
    name = _text(table, "time_zone")
    if not name:
        return None
    check_zone(name)
    return name


def check_zone(name: str) -> None:
    """Refuse what is not the name of a time zone."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise CampaignError(
            FILE, f"time_zone = {name!r}", 'a name of the IANA time zone data such as "Europe/Paris"'
        ) from error


def _streets(table: Mapping[str, Any], folder: Path) -> str:
    """Return the file of streets; it must be there, and its source be named, for that is printed below pictures."""
    file = _text(table, "streets")
    if file and not safe_files.is_file(folder / file):
        raise CampaignError(FILE, f"the streets {file!r}, which do not exist", "a file of lines below the folder")
    if file and not _text(table, "streets_source").strip():
        raise CampaignError(FILE, "streets without streets_source", "whose they are, to be printed below the pictures")
    return file


def _references(table: Mapping[str, Any], folder: Path) -> dict[str, str]:
    references = _texts(table, "reference")
    for name, file in references.items():
        if not safe_files.is_file(folder / file):
            raise CampaignError(
                FILE,
                f"the reference {file!r} of {name!r}, which does not exist",
                "a GPX or GeoJSON file below the folder",
            )
    return references


def _compare(table: Mapping[str, Any]) -> tuple[str, ...]:
    told = table.get("compare", {})
    names = told.get("with", []) if isinstance(told, dict) else None
    if not isinstance(names, list) or not all(isinstance(name, str) and name.strip() for name in names):
        raise CampaignError(FILE, f"compare = {told!r}", 'with = ["../spring"] below [compare]')
    _refuse_unknown(told, ("with",), " in [compare]")
    return tuple(names)


def _places(table: Mapping[str, Any]) -> tuple[PrivatePlace, ...]:
    places = table.get("private_place", [])
    if not isinstance(places, list) or not all(isinstance(place, dict) for place in places):
        raise CampaignError(FILE, "private_place that is no list", "[[private_place]] with lat, lon, radius_m")
    return tuple(_place(place) for place in places)


def _place(place: Mapping[str, Any]) -> PrivatePlace:
    _refuse_unknown(place, _PLACE_RANGES, " in [[private_place]]")
    values = []
    for key, (low, high) in _PLACE_RANGES.items():
        value = place.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            found = "nothing" if value is None else repr(value)
            raise CampaignError(
                FILE, f"{found} for {key} in [[private_place]]", f"a number between {low:g} and {high:g}"
            )
        values.append(float(value))
    return PrivatePlace(*values)


def _settings(table: Mapping[str, Any]) -> Settings:
    values = table.get("settings", {})
    if not isinstance(values, dict):
        raise CampaignError(FILE, f"settings = {values!r}", "[settings] with lines such as gap_s = 60")
    _refuse_unknown(values, (f.name for f in fields(Settings)), " in [settings]")
    try:
        return Settings().with_values(**values)
    except ValueError as error:
        raise CampaignError(FILE, f"in [settings]: {error}", "a number in that range") from error
