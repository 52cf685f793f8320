"""What was worked out before and still holds is not worked out again: files read and routes analysed, by content."""

from __future__ import annotations

import dataclasses
from concurrent.futures import Executor
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from gpsq import digests
from gpsq.reading import read_file

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from gpsq.measures.route import Measured, Member
    from gpsq.model import Flag, Route, Trace
    from gpsq.pipeline.cache import Cache
    from gpsq.results import Analysis
    from gpsq.rides.arrange import Arranged
    from gpsq.settings import Settings


Found = TypeVar("Found", bound="Analysis | Arranged")


class Recalling(Executor):
    """An executor that answers from a cache where it can, and asks another one where it cannot."""

    def __init__(self, inner: Executor, store: Cache) -> None:
        self.inner, self.store = inner, store

    def map(
        self,
        fn: Callable[..., Any],
        *iterables: Iterable[Any],
        timeout: float | None = None,
        chunksize: int = 1,
        buffersize: int | None = None,
    ) -> Iterator[Any]:
        """Yield ``fn`` of each set of arguments, in order."""
        jobs = list(zip(*iterables, strict=True))
        if isinstance(fn, partial) and fn.func is read_file:
            return self._files(fn, jobs)
        # by its name: loading it takes long, and a process that only reads need not
        if getattr(fn, "__name__", "") == "analyse_route":
            return self._routes(fn, jobs)
        return self.inner.map(fn, *zip(*jobs, strict=True)) if jobs else iter(())

    def _files(self, task: partial[Any], jobs: Sequence[tuple[Path, str]]) -> Iterator[Any]:
        seen = [_content(path) for path, _ in jobs]
        keys = [
            content and digests.digest("file", digests.code(), content, name, dict(task.keywords))
            for content, (_, name) in zip(seen, jobs, strict=True)
        ]
        # a file that was changed while it was read is not remembered
        return self._answers(task, jobs, keys, lambda k: _content(jobs[k][0]) == seen[k])

    def _routes(
        self, fn: Callable[..., Any], jobs: Sequence[tuple[Route, Sequence[Member], Sequence[Flag], Settings]]
    ) -> Iterator[Any]:
        keys = [_route_key(*job) for job in jobs]
        for (route, members, *_), (result, measured) in zip(
            jobs, self._answers(fn, jobs, keys, lambda _: True), strict=True
        ):
            yield dataclasses.replace(result, route=route), tuple(map(_renumbered, measured, members))

    def _answers(
        self,
        fn: Callable[..., Any],
        jobs: Sequence[tuple[Any, ...]],
        keys: Sequence[str],
        holds: Callable[[int], bool],
    ) -> Iterator[Any]:
        known = {k: self.store.get(key) for k, key in enumerate(keys) if key}
        missing = [k for k in range(len(jobs)) if known.get(k) is None]
        asked = iter(self.inner.map(fn, *zip(*(jobs[k] for k in missing), strict=True)) if missing else ())
        for k, key in enumerate(keys):
            answer = known.pop(k, None)
            if answer is None:
                answer = next(asked)
                if key and holds(k):
                    self.store.put(key, answer)
            yield answer


def _content(path: Path) -> str:
    try:
        return digests.file_sha256(path)
    except OSError:
        return ""


def _route_key(route: Route, members: Sequence[Member], decisions: Sequence[Flag], settings: Settings) -> str:
    own = {m.trace.key for m in members}
    flags = [f for f in decisions if (f.sha256, f.track) in own]
    # numbers of traces move when recordings are added before them, and change nothing
    traces = [(m.ride, m.duplicate_of, m.trace) for m in members]
    return digests.digest("route", digests.code(), route.name, route.plane, list(route.xy_m), traces, flags, settings)


def _renumbered(measured: Measured, member: Member) -> Measured:
    """Give an answer the trace's present number."""
    deviations = tuple(dataclasses.replace(d, trace=member.number) for d in measured.deviations)
    return dataclasses.replace(measured, number=member.number, deviations=deviations)


class Kept:
    """What was found before of the same readings.

    Parameters
    ----------
    traces : as read; each is kept with its file already, so they are kept again only where they were cut.
    about : the readings, and what was asked of them.
    """

    def __init__(self, store: Cache, traces: tuple[Trace, ...], about: Any) -> None:
        self.store, self.traces = store, traces
        self.about = digests.digest(digests.code(), about)

    def whole(self, kind: type[Found], more: Any, work: Callable[[], Found]) -> Found:
        """Return what was kept of that kind, or else the answer of `work`, then kept; `more` is what else it rests on."""
        key = digests.digest(kind.__name__, self.about, more)
        answer = self.store.get(key)
        if answer is not None:
            known, rests_on = answer
            self.store.used |= rests_on  # the next change needs them, though this run does not
            return kind(**{"traces": self.traces, **known})
        found = work()
        kept = {f.name: getattr(found, f.name) for f in dataclasses.fields(found)}
        if found.traces == self.traces:
            del kept["traces"]
        self.store.put(key, (kept, frozenset(self.store.used)))
        return found


def contents(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return a digest of each file named below a folder, "" where it cannot be read."""
    return {name: _content(folder / name) for name in names}
