"""Results fit to publish: the ordinary writers, given an analysis from which everything private is gone."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

import numpy as np

from gpsq.campaign import campaign_file, safe_files
from gpsq.output.results_folder import write_results
from gpsq.privacy import ends, publication, secret

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
    said = campaign_file.load(folder)
    with safe_files.locked(folder):
        kept = secret.load(folder)
        drawing = rng or np.random.default_rng(secrets.randbits(128))
        zones, warnings = ends.zones_for(analysis, said.private_places, kept, drawing)
        if zones != kept:
            secret.save(folder, zones)
    result = publication(analysis, zones, frozenset(said.devices.values()))
    write_results(result.analysis, out, tiles=tiles)
    return (*warnings, *result.remarks)
