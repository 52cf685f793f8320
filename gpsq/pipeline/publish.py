"""Results fit to publish: the ordinary writers, given an analysis from which everything private is gone."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign import campaign_file, safe_files
from gpsq.output import wording
from gpsq.output.results_folder import write_results
from gpsq.privacy import ends, secret
from gpsq.privacy.publication import Publication, publication

if TYPE_CHECKING:
    from pathlib import Path

    from gpsq.results import Analysis


def publish(
    analysis: Analysis, folder: Path, out: Path, *, tiles: str | None = None, rng: np.random.Generator | None = None
) -> tuple[str, ...]:
    """Write results that may be published, and return plain lines for the person alone.

    Parameters
    ----------
    analysis : the whole analysis of the campaign.
    folder : the campaign's folder. The secret zones are kept there, in ``.gpsq-private.toml``.
    out : the folder of the published results.
    tiles : provider of background tiles for the map, as in `write_results`.
    rng : where new zones are drawn from; the system's own secret source unless given.

    Raises
    ------
    CampaignError
        When ``campaign.toml`` or the kept zones cannot be followed.
    OutputError
        When either folder cannot be written to.
    """
    result = _without_private(analysis, folder, rng)
    write_results(result.analysis, out, tiles=tiles)
    return result.remarks


def preview(analysis: Analysis, folder: Path, *, rng: np.random.Generator | None = None) -> tuple[str, ...]:
    """Return in plain lines, for the person alone, what `publish` would show and cut; nothing is published.

    The secret zones are drawn and kept, if there are none yet, so that what is published is what was previewed.
    """
    result = _without_private(analysis, folder, rng)
    return (*_routes_in_words(analysis, result.analysis), *_names_in_words(analysis, result.analysis), *result.remarks)


def _routes_in_words(whole: Analysis, public: Analysis) -> list[str]:
    """Say how much of each route is shown."""
    said = []
    for found, part in zip(whole.routes, public.routes, strict=True):
        length = wording.metres(found.centreline.length_m) if found.centreline else "unknown length"
        shown = part.centreline.length_m if part.centreline else 0.0
        left = f"{wording.metres(shown)} of {length} is shown, both ends are cut" if shown else "nothing is shown"
        said.append(f"Route {found.route.name}: {left}.")
    return said


def _names_in_words(whole: Analysis, public: Analysis) -> list[str]:
    """Say under which name each device would be published."""
    names = {old.device: new.device for old, new in zip(whole.traces, public.traces, strict=True)}
    kept = ", ".join(repr(old) for old, new in sorted(names.items()) if old == new)
    changed = ", ".join(f"{old!r} as {new!r}" for old, new in sorted(names.items()) if old != new)
    said = f"Devices under their own names: {kept or 'none'}" + (f"; {changed}." if changed else ".")
    return [said, "Times are cut to days, and files get neutral names."]


def _without_private(analysis: Analysis, folder: Path, rng: np.random.Generator | None) -> Publication:
    """Return the publication of an analysis, by the zones that are kept beside it; they are drawn once."""
    said = campaign_file.load(folder)
    with safe_files.locked(folder):
        kept = secret.load(folder)
        drawing = rng or np.random.default_rng(secrets.randbits(128))
        zones, warnings = ends.zones_for(analysis, said.private_places, kept, drawing)
        if zones != kept:
            secret.save(folder, zones)
    result = publication(analysis, zones, frozenset(said.devices.values()))
    return Publication(result.analysis, (*warnings, *result.remarks))
