"""A second process and cores by hand: work is done at once, here, and noted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


class Second:
    """In place of a second process: it does at once what it is given, where it is there."""

    def __init__(self, noted: list[Any], *, is_there: bool) -> None:
        self.noted, self.is_there = noted, is_there

    def begin(self, fn: Callable[..., Any], *arguments: Any) -> Callable[[], Any]:
        self.noted.append((fn.__name__, *arguments))
        answer = fn(*arguments)
        return lambda: answer


class Cores:
    processes = 2

    def __init__(self, noted: list[Any], *, is_much: bool) -> None:
        self.noted, self._is_much = noted, is_much

    def shutdown(self) -> None:
        self.noted.append(("cores end",))

    def is_much(self, jobs: Iterable[Any]) -> bool:
        self.jobs = list(jobs)
        return self._is_much

    def __enter__(self) -> Cores:
        return self

    def __exit__(self, *_: object) -> None:
        self.shutdown()


def named(name: str) -> Callable[[], None]:
    """Return a function of that name that does nothing."""

    def nothing() -> None:
        pass

    nothing.__name__ = name
    return nothing
