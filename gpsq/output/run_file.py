"""``run.json``: what a run rested on, so that it can be repeated: version, settings, inputs, counts."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from gpsq.digests import version
from gpsq.output.wording import cell

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gpsq.results import Analysis

NAME = "run.json"
#: Libraries whose version can change a figure.
LIBRARIES = ("numpy", "scipy", "shapely", "pyproj", "numba")


def run_data(analysis: Analysis, files: Iterable[str] = ()) -> dict[str, Any]:
    """Return version, settings with units, inputs with their SHA-256, counts, and the names of the result files."""
    return {
        "gpsq": version(),
        "title": cell(analysis.title),
        "settings": {name: {"value": value, "unit": unit} for name, value, unit, _ in analysis.settings.rows()},
        "inputs": {cell(name): digest for name, digest in sorted(analysis.inputs.items())},
        "counts": counts(analysis),
        "libraries": library_versions(),
        "notes": [cell(note) for note in analysis.notes],
        "files": sorted(files),
    }


def counts(analysis: Analysis) -> dict[str, int]:
    """Return how many of everything the run found."""
    return {
        "recordings": len(analysis.traces) + len(analysis.unreadable),
        "scored": sum(result.status == "scored" for result in analysis.results),
        "not_scored": sum(result.status != "scored" for result in analysis.results),
        "unreadable": len(analysis.unreadable),
        "devices": len({trace.device for trace in analysis.traces}),
        "rides": len({result.ride for result in analysis.results if result.ride}),
        "routes": len(analysis.routes),
        "points": sum(trace.points for trace in analysis.traces),
        "accepted": sum(trace.accepted for trace in analysis.traces),
        "deviations": len(analysis.deviations),
        "flagged": sum(bool(deviation.flag) for deviation in analysis.deviations),
    }


def library_versions() -> dict[str, str]:
    """Return the versions of the libraries that figures rest on."""
    from importlib.metadata import version as version_of

    return {name: version_of(name) for name in LIBRARIES}


def run_text(analysis: Analysis, files: Iterable[str]) -> str:
    """Return the text of ``run.json``."""
    return json.dumps(run_data(analysis, files), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
