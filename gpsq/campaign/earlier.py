"""Results folders of earlier campaigns that ``campaign.toml`` names: where they lie, and whether they are any."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from gpsq import digests
from gpsq.campaign import safe_files
from gpsq.exceptions import CampaignError
from gpsq.results import EarlierResults
from gpsq.settings import RESULTS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

#: What is read of each.
TABLES = ("run.json", "devices.csv", "tracks.csv")


def load(folder: Path, names: Sequence[str]) -> tuple[tuple[EarlierResults, ...], tuple[str, ...]]:
    """Return the results folders that can be found, and a line for each name that means none.

    Parameters
    ----------
    folder : Path
        Of the campaign; names are paths from it, of a results folder or of a campaign that holds one.
    names : sequence of str
        As ``[compare] with`` gives them.
    """
    found, problems = [], []
    for name in dict.fromkeys(names):
        here = folder / name
        results = here / RESULTS if safe_files.is_file(here / RESULTS / TABLES[0]) else here
        try:
            shas = [digests.file_sha256(results / table) for table in TABLES]
            found.append(EarlierResults(name, str(results.resolve()), digests.digest(shas)))
        except (OSError, ValueError):  # the latter of a name that no system can hold
            what = "which is no folder"
            with contextlib.suppress(OSError, ValueError):
                what = "which holds no results" if here.is_dir() else what
            expected = "a folder that gpsq analyse wrote, or a campaign that holds one"
            problems.append(str(CampaignError("campaign.toml", f"{name!r} in [compare], {what}", expected)))
    return tuple(found), tuple(problems)
