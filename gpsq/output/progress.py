"""How far the work is, drawn on a terminal."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable


class Progress:
    """A bar on standard error, on a terminal only; the work tells it how far it is."""

    def __init__(self, *, quiet: bool) -> None:
        self.shown = not quiet and sys.stderr.isatty()

    def __enter__(self) -> Callable[[str, int, int], None]:
        if not self.shown:
            return lambda what, done, of: None
        from rich.console import Console
        from rich.progress import Progress as Bars

        self.bar = Bars(console=Console(stderr=True), transient=True, auto_refresh=False)
        self.bar.start()
        self.tasks: dict[str, Any] = {}
        return self._tell

    def _tell(self, what: str, done: int, of: int) -> None:
        if what not in self.tasks:
            self.tasks[what] = self.bar.add_task(what, total=of)
        self.bar.update(self.tasks[what], completed=done, total=of, refresh=True)

    def __exit__(self, *_: object) -> None:
        if self.shown:
            self.bar.stop()
