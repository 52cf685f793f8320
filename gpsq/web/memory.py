"""What was worked out before and still holds: read files and analysed routes, known by their content.

The analysis asks an executor to read files and to analyse routes; this one first looks whether the same was
asked before.
"""

from __future__ import annotations

import dataclasses
import hashlib
from concurrent.futures import Executor
from functools import partial
from typing import TYPE_CHECKING, Any

from gpsq.reading import read_file
from gpsq.route_analysis import Measured, Member, analyse_route

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from gpsq.model import Flag, Route, RouteResult, Trace
    from gpsq.settings import Settings

Answer = tuple["RouteResult", tuple[Measured, ...]]


class Memory(Executor):
    """An executor that answers from memory where it can; `forget_unused` keeps only what the last run asked for."""

    def __init__(self) -> None:
        self.known: dict[Any, Any] = {}
        self.used: set[Any] = set()
        self.worked_out = 0

    def map(
        self,
        fn: Callable[..., Any],
        *iterables: Iterable[Any],
        timeout: float | None = None,
        chunksize: int = 1,
        buffersize: int | None = None,
    ) -> Iterator[Any]:
        """Yield ``fn`` of each set of arguments, in order, one after the other."""
        for arguments in zip(*iterables, strict=True):
            if fn is analyse_route:
                yield self._route(*arguments)
            elif isinstance(fn, partial) and fn.func is read_file:
                yield self._file(fn, *arguments)
            else:
                yield fn(*arguments)

    def forget_unused(self) -> None:
        """Drop what no run has asked for since the last call."""
        self.known = {key: answer for key, answer in self.known.items() if key in self.used}
        self.used = set()

    def _recalled(self, key: Any, work: Callable[[], Any]) -> Any:
        self.used.add(key)
        if key not in self.known:
            self.known[key] = work()
            self.worked_out += 1
        return self.known[key]

    def _file(self, task: partial[Any], path: Path, name: str) -> Any:
        try:
            content = hashlib.sha256(path.read_bytes()).hexdigest()
        except OSError:
            return task(path, name)
        key = (content, name, tuple(sorted((k, v) for k, v in task.keywords.items() if k != "settings")))
        return self._recalled((key, task.keywords.get("settings")), lambda: task(path, name))

    def _route(
        self, route: Route, members: Sequence[Member], decisions: Sequence[Flag], settings: Settings
    ) -> Answer:
        own = {m.trace.key for m in members}
        flags = tuple(f for f in decisions if (f.sha256, f.track) in own)
        key = (route.name, _lines(route), tuple(map(_member, members)), flags, settings)
        result, measured = self._recalled(key, lambda: analyse_route(route, members, decisions, settings))
        return dataclasses.replace(result, route=route), tuple(map(_renumbered, measured, members))


def _lines(route: Route) -> str:
    digest = hashlib.sha256()
    for xy_m in route.xy_m:
        digest.update(xy_m.tobytes())
    return digest.hexdigest()


def _member(member: Member) -> tuple[Any, ...]:
    """Return what a route's analysis depends on of one trace, its number left out."""
    return member.ride, member.duplicate_of, *_trace(member.trace)


def _trace(trace: Trace) -> tuple[str, ...]:
    # the arrays follow from content and settings, which stand in the key of the file; all else is written out
    plain = (f.name for f in dataclasses.fields(trace) if f.name not in _ARRAYS)
    return tuple(f"{name}={getattr(trace, name)!r}" for name in plain)


_ARRAYS = frozenset({"time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "segment", "point"})


def _renumbered(measured: Measured, member: Member) -> Measured:
    """Give an answer the trace's present number: it moves when recordings are added before it."""
    deviations = tuple(dataclasses.replace(d, trace=member.number) for d in measured.deviations)
    return dataclasses.replace(measured, number=member.number, deviations=deviations)
