"""A visit to the local page with a browser: what it asked for elsewhere and what the browser complained of are kept."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import copies

if TYPE_CHECKING:
    from collections.abc import Iterator
    from multiprocessing.process import BaseProcess

PATIENCE_MS = 180_000
PHONE_PX = 600


@contextlib.contextmanager
def begun(folder: Path) -> Iterator[str]:
    """The address of a page for a folder, begun as a person begins it."""
    command = [sys.executable, "-m", "gpsq.cli", "serve", str(folder), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        yield process.stdout.readline().split()[0]
        process.terminate()
        process.wait(PATIENCE_MS / 1000)


@contextlib.contextmanager
def served(folder: Path, port: int = 0) -> Iterator[tuple[str, BaseProcess]]:
    """The address of a page for a folder, and its process: a copy of one that has the libraries."""
    hears, says = copies.CONTEXT.Pipe(duplex=False)
    process = copies.CONTEXT.Process(target=copies.serve, args=(folder, port, says.send))
    process.start()
    says.close()
    yield hears.recv().split()[0], process
    process.terminate()
    process.join(PATIENCE_MS / 1000)
    assert not process.is_alive()
    hears.close()


PICTURES = "**/figures/**"


def without_pictures(context: Any) -> None:
    """Answer each request for a picture with an empty one."""
    empty = '<svg xmlns="http://www.w3.org/2000/svg"/>'
    context.route(PICTURES, lambda asked: asked.fulfill(content_type="image/svg+xml", body=empty))


class Visit:
    """A page, what it asked for elsewhere, and what the browser complained of.

    Without its pictures, until they are asked for, the server need not write all results after each change that the page shows.
    """

    def __init__(self, chromium: Any, address: str, width: int, **more: Any) -> None:
        self.context = chromium.new_context(viewport={"width": width, "height": 900}, accept_downloads=True, **more)
        self.context.set_default_timeout(PATIENCE_MS)
        without_pictures(self.context)
        self.elsewhere, self.complaints = [], []
        self.context.on("request", lambda request: self._asked(request.url, address))
        self.page = self.context.new_page()
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        # Wished for from the beginning: a wish sent together with the key that opens the dialogue can come after it.
        self.page.on("filechooser", lambda _: None)
        self.page.goto(address)

    def _asked(self, url: str, address: str) -> None:
        if not url.startswith((address, "data:")):
            self.elsewhere.append(url)

    def close(self) -> None:
        self.context.close()
        self.quiet()

    def quiet(self) -> None:
        assert (self.elsewhere, self.complaints) == ([], [])

    def drawn(self) -> int:
        """How many recordings the map in the frame shows."""
        frame = self.page.wait_for_selector("#map-page").content_frame()
        frame.wait_for_selector("body[data-recordings]:not([data-recordings='0'])")
        frame.evaluate("document.querySelectorAll('#routes input:not(:checked)').forEach((box) => box.click())")
        assert frame.locator(".leaflet-control-scale-line").inner_text() != "20 m"  # the map knows its size
        return int(frame.evaluate("document.body.dataset.recordings"))

    def pictures(self) -> int:
        """Show the page anew with its pictures; how many there are, each with something drawn in it."""
        self.context.unroute(PICTURES)
        self.page.reload()
        wide = self.page.evaluate(
            """() => Promise.all([...document.querySelectorAll('figure.picture img')].map((image) => {
              image.loading = 'eager';
              return image.decode().then(() => image.naturalWidth);
            }))"""
        )
        assert min(wide) > 100
        return len(wide)

    def figures(self) -> str:
        return self.page.locator("#fix").inner_text()

    def archive(self, do: Any) -> zipfile.ZipFile:
        with self.page.expect_download() as download:
            do()
        return zipfile.ZipFile(io.BytesIO(Path(download.value.path()).read_bytes()))

    def fits(self) -> None:
        """Nothing is to be scrolled sideways; on a phone no element reaches beyond the screen, nor any figure out of its table."""
        assert self.page.evaluate("document.documentElement.scrollWidth") <= self.page.viewport_size["width"]
        if self.page.viewport_size["width"] > PHONE_PX:
            return
        wide = self.page.evaluate(
            """() => [...document.body.querySelectorAll('*')].filter((node) => {
              const box = node.getBoundingClientRect(), most = document.documentElement.clientWidth + 0.5;
              return box.width && !node.closest('svg, .leaflet-pane, .unseen, .skip, thead')
                && (box.right > most || box.left < -0.5);
            }).map((node) => node.outerHTML.slice(0, 120))"""
        )
        assert wide == []
        region = self.page.locator("#fix table").first.locator("..")
        assert region.evaluate("(node) => node.scrollWidth <= node.clientWidth")


def tab_to(page: Any, wanted: str) -> None:
    """Press Tab until the wanted element has the focus, and see that the focus shows."""
    for _ in range(600):
        page.keyboard.press("Tab")
        if page.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            style = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert style != "none"
            return
    raise AssertionError(f"the keyboard does not reach {wanted}")
