"""The small files beside the recordings, changed by hand through the page: one value at a time, all else kept.

Every change is read, made and written under the campaign's lock, so that page, command line and a second page never
lose each other's work.
"""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.campaign import campaign_file, safe_files, start_log
from gpsq.campaign.device_folders import found_devices
from gpsq.campaign.device_names import device_of
from gpsq.campaign.start_matching import Recording, match
from gpsq.campaign.start_table import delimiter_of
from gpsq.exceptions import CampaignError
from gpsq.reading.folder import recordings_meant

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from gpsq.campaign.start_log import StartEntry
    from gpsq.model import Trace, Unreadable

_NEW_LOG = ",".join(start_log.USUAL) + "\n"


def set_start(folder: Path, file: str, started: str, device: str, files: Sequence[str]) -> None:
    """Write the start of one recording into ``rides.csv``; other rows and columns stay byte for byte.

    Parameters
    ----------
    folder : Path
        Of the campaign.
    file : str
        Path of the recording below it.
    started : str
        ISO 8601 with ``Z`` or an offset, or without one where the campaign names its zone; "" takes the start back.
    device : str
        For a new row.
    files : sequence of str
        All recordings, to find the row that means this one.

    Raises
    ------
    CampaignError
        When the time cannot be followed, or the log holds what could not be kept.
    OutputError
        When the folder cannot be written to.
    """
    zone = campaign_file.load(folder).time_zone
    with safe_files.locked(folder):
        text = _text(folder / start_log.FILE, _NEW_LOG)
        if "\0" in text:
            raise CampaignError(start_log.FILE, "signs that are no text", "a table; it was left as it is")
        entry = _row_of(text, file, zone, files)
        if not started and entry is None:
            return
        row = entry.row if entry else None
        changed = with_start(text, row, file, started, device)
        _refuse_bad_time(changed, file, started, zone, files)
        safe_files.write_text(folder / start_log.FILE, changed)


def _refuse_bad_time(text: str, file: str, started: str, zone: str | None, files: Sequence[str]) -> None:
    """Read the log as the analysis will, and refuse a start that it would not understand."""
    entry = _row_of(text, file, zone, files)
    started = started.strip()
    if started and (entry is None or np.isnat(entry.started)):
        expected = "a time such as 2024-05-14T07:10:00+02:00" if zone is None else f"a time; without offset, in {zone}"
        raise CampaignError(start_log.FILE, f"{started!r} as the start of {file}", expected)


def _row_of(text: str, file: str, zone: str | None, files: Sequence[str]) -> StartEntry | None:
    """Return the row of a log's text that names a file."""
    return match(start_log.parse(text.removeprefix("\ufeff"), zone), map(Recording, files)).starts.get((file, 1))


def _text(path: Path, otherwise: str) -> str:
    try:
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        return otherwise
    except UnicodeDecodeError as error:
        raise CampaignError(path.name, "text that is not UTF-8", "UTF-8; it was left as it is") from error
    except OSError as error:
        raise CampaignError(path.name, f"a file that cannot be read ({error.strerror})", "a readable file") from error


def with_start(text: str, row: int | None, file: str, started: str, device: str) -> str:
    r"""Return a start log's text with the start in row `row` (1 is the first below the heading), or in a new one.

    Examples
    --------
    >>> print(with_start("file,device,started,mood\na.gpx,A,,glad\n", 1, "a.gpx", "2024-05-14T07:10:00Z", "A"), end="")
    file,device,started,mood
    a.gpx,A,2024-05-14T07:10:00Z,glad
    >>> print(with_start("file;device;started\n", None, "b;c.gpx", "", "B"), end="")
    file;device;started
    "b;c.gpx";B;
    """
    lines = _records(text)
    end = "\r\n" if "\r\n" in text else "\n"
    delimiter = delimiter_of(lines[0])
    heads = [head.strip().lower() for head in _cells(lines[0].removeprefix("\ufeff"), delimiter)]
    missing = [name for name in start_log.USUAL if name not in heads]
    if missing:
        raise CampaignError(start_log.FILE, f"no column {missing[0]}", f"the columns {', '.join(start_log.USUAL)}")
    if row is None:
        lines[-1] += "" if lines[-1].endswith(("\n", "\r")) else end
        new = {"file": file, "device": device}
        lines.append(_written([new.get(head, "") for head in heads], delimiter, end))
        row = len(lines) - 1
    cells = _cells(lines[row], delimiter)
    cells += [""] * (len(heads) - len(cells))
    cells[heads.index("started")] = started
    lines[row] = _written(cells, delimiter, end)
    return "".join(lines)


def _cells(line: str, delimiter: str) -> list[str]:
    return next(csv.reader(io.StringIO(line, newline=""), delimiter=delimiter), [])


def _written(cells: list[str], delimiter: str, end: str) -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=end).writerow(cells)
    return text.getvalue()


def _records(text: str) -> list[str]:
    """Return the physical text of each record, its line end included; a quoted line break does not end one."""
    source = list(io.StringIO(text, newline=""))
    if not source:
        return [_NEW_LOG]
    reader = csv.reader(iter(source), delimiter=delimiter_of(source[0]))
    records, begin = [], 0
    try:
        for _ in reader:
            records.append("".join(source[begin : reader.line_num]))
            begin = reader.line_num
    except csv.Error as error:
        raise CampaignError(start_log.FILE, str(error), "a table with commas; it was left as it is") from error
    return records


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
    matches = match(log, recordings_meant([*traces, *unreadable], devices, campaign))
    logged = {file: device for (file, _), device in matches.devices.items()}
    found = {u.file: devices.of_file(u.file) for u in unreadable} | {
        t.file: devices.names[t.file, t.track] for t in traces
    }
    return {file: device_of(file, name, logged.get(file, ""), {}) for file, name in found.items()}


def add_place(folder: Path, lat: float, lon: float, radius_m: float) -> None:
    """Add a private place to ``campaign.toml``; published results will not show what lies in it."""
    for name, value, low, high in (("lat", lat, -90, 90), ("lon", lon, -180, 180), ("radius_m", radius_m, 1, 100_000)):
        if not (math.isfinite(value) and low <= value <= high):
            raise CampaignError("private place", f"{value:g} for {name}", f"a number between {low:g} and {high:g}")

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
        text = _text(folder / campaign_file.FILE, "")
        document = tomlkit.parse(text.removeprefix("\ufeff"))
        change(document)
        safe_files.write_text(folder / campaign_file.FILE, tomlkit.dumps(document))
