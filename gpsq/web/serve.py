"""``gpsq serve``: the page on this computer alone."""

from __future__ import annotations

import socket
import threading
import webbrowser
from typing import TYPE_CHECKING

from gpsq.exceptions import InputError, OutputError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

HOST = "127.0.0.1"
PORT = 4780
#: So many ports after the wanted one are tried when others are served already.
MORE_PORTS = 20


def serve(folder: Path, port: int | None, *, open_browser: bool, say: Callable[[str], None]) -> None:
    """Serve the page for the campaign in `folder` until it is stopped.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    port : int, optional
        Of 127.0.0.1; without one, the first free from 4780 on.
    open_browser : bool
        Show the page in the browser.
    say : callable
        Told the address.

    Raises
    ------
    InputError
        When `folder` is a file, or the port is taken.
    OutputError
        When the folder cannot be made, or the libraries of the extra ``web`` are missing.
    """
    try:
        import uvicorn

        from gpsq.web.app import make_app
        from gpsq.web.session import Desk
    except ImportError as missing:
        raise OutputError(f"gpsq serve needs {missing.name}; pip install 'gpsq[web]' brings it.") from missing
    _make(folder)
    with _listening(port) as listener:
        number = listener.getsockname()[1]
        address = f"http://{HOST}:{number}/"
        say(f"{address} shows {folder}. Ctrl+C ends it; everything stays in the folder.")
        if open_browser:
            threading.Timer(0.5, webbrowser.open, [address]).start()
        config = uvicorn.Config(
            make_app(Desk(folder), number), log_level="warning", server_header=False, timeout_graceful_shutdown=2
        )
        uvicorn.Server(config).run(sockets=[listener])


def _make(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise InputError(str(folder), "a file", "a folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{folder}: cannot be made: {error.strerror or error}") from error


def _listening(port: int | None) -> socket.socket:
    """Return a socket that only this computer can reach."""
    for number in [port] if port is not None else range(PORT, PORT + MORE_PORTS):
        # named in full, for only then does asyncio send answers at once instead of waiting 40 ms for more to send
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((HOST, number))
            listener.listen(128)  # whoever is told the address may come at once, and waits until the page is up
        except OSError:
            listener.close()
        except OverflowError as error:
            listener.close()
            raise InputError("--port", str(number), "a number from 0 to 65535") from error
        else:
            return listener
    raise InputError("--port", "a port that is in use", "a free one; --port 0 takes any")
