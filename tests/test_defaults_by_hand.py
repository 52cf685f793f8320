"""What nobody said is not known: a figure is nan, a time no time, a text empty, a count nought, and nothing is claimed."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

import gpsq

if TYPE_CHECKING:
    from collections.abc import Iterator

#: What means something else where it is left out, by hand.
OTHERWISE: dict[str, Any] = {
    "Recording.track": 1,  # the first of its file
    "Stretch.by_itself": True,
    "Place.station_m": 0.0, "Place.basis": "none", "Place.is_bound": True,  # where the line begins, and that is a bound
    "_OnLine.settled_from": 0.0,  # from the first fix on
    "Trace.start_basis": "none", "Trace.date_known": True,
    "FirstFix.start_state": "unknown", "FirstFix.place_basis": "none",
    "Recording.date_known": True, "Moments.date_known": True,
    "Plot.y": (0.0, 1.0), "Hidden.radius_m": 0.0, "Plane.projection": "tmerc", "Companion.ahead_s": 0.0,
    "Line.colour": "#1c2428", "Line.width_pt": 1.0, "Line.alpha": 1.0,
    "Received.outcome": "kept", "FoundDevices.sites": frozenset(), "Member.data": b"",
}  # fmt: skip
#: Their values are choices: the settings of a campaign, what is simulated, and how the stages are gone through.
CHOICES = {"gpsq.settings", "gpsq.simulate.spec", "gpsq.simulate.plan", "gpsq.pipeline.stages"}


def _classes() -> Iterator[type]:
    for found in pkgutil.walk_packages(gpsq.__path__, "gpsq."):
        if found.name not in CHOICES and not found.name.endswith("__main__"):
            module = importlib.import_module(found.name)
            yield from (c for c in vars(module).values() if inspect.isclass(c) and c.__module__ == found.name)


def _defaults() -> Iterator[tuple[str, Any]]:
    for c in _classes():
        if dataclasses.is_dataclass(c):
            for f in dataclasses.fields(c):
                if f.default is not dataclasses.MISSING:
                    yield f"{c.__name__}.{f.name}", f.default
        elif issubclass(c, tuple):
            yield from ((f"{c.__name__}.{name}", value) for name, value in getattr(c, "_field_defaults", {}).items())


@pytest.mark.parametrize(("name", "value"), [pytest.param(*of, id=of[0]) for of in _defaults()])
def test_what_is_left_out_claims_nothing(name: str, value: Any) -> None:
    if name in OTHERWISE:
        assert value == OTHERWISE[name]
    elif isinstance(value, float | np.datetime64):
        assert np.isnat(value) if isinstance(value, np.datetime64) else np.isnan(value)
    else:
        assert value is None or value is False or value in ((), "") or (value == 0 and isinstance(value, int))


def test_what_is_otherwise_is_there() -> None:
    assert set(OTHERWISE) <= dict(_defaults()).keys()
