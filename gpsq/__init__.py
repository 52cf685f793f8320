"""gpsq judges the quality of repeated GPS tracks.

The names below are what a notebook or a script may use; ``docs/notebook.md`` is a worked page. Each is loaded when it is
first used (PEP 562), so ``import gpsq`` stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gpsq.exceptions import GpsqError, InputError
    from gpsq.model import Centreline, CrossTrack, CurveDistances, Deviation, FirstFix, Flag, Route, Trace, Unreadable
    from gpsq.pipeline.frames import Frames, analyse
    from gpsq.results import Analysis, RouteResult, TraceResult
    from gpsq.settings import Settings
    from gpsq.summaries.fair_test import shortfalls
    from gpsq.summary_types import DeviceSummary, Interval, Summaries

    __version__: str

_HOMES = {
    "gpsq.exceptions": ("GpsqError", "InputError"),
    "gpsq.model": (
        "Centreline", "CrossTrack", "CurveDistances", "Deviation", "FirstFix", "Flag", "Route", "Trace", "Unreadable",
    ),
    "gpsq.pipeline.frames": ("Frames", "analyse"),
    "gpsq.results": ("Analysis", "RouteResult", "TraceResult"),
    "gpsq.settings": ("Settings",),
    "gpsq.summaries.fair_test": ("shortfalls",),
    "gpsq.summary_types": ("DeviceSummary", "Interval", "Summaries"),
}  # fmt: skip
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "Analysis",
    "Centreline",
    "CrossTrack",
    "CurveDistances",
    "Deviation",
    "DeviceSummary",
    "FirstFix",
    "Flag",
    "Frames",
    "GpsqError",
    "InputError",
    "Interval",
    "Route",
    "RouteResult",
    "Settings",
    "Summaries",
    "Trace",
    "TraceResult",
    "Unreadable",
    "analyse",
    "shortfalls",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from gpsq.digests import version

        return version()
    if name not in _HOME_OF:
        raise AttributeError(f"module 'gpsq' has no attribute {name!r}")
    return getattr(import_module(_HOME_OF[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__, "__version__"])
