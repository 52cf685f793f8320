"""The server that is begun but not run: its folder, its address, its port."""

from __future__ import annotations

import socket
import sys
from types import SimpleNamespace

import pytest

from gpsq import cli
from gpsq.exceptions import InputError, OutputError
from gpsq.web import serve


@pytest.fixture
def begun(monkeypatch):
    import uvicorn

    from gpsq.web import session

    kept = SimpleNamespace(sockets=[], opened=[], timers=[], said=[])
    monkeypatch.setattr(
        uvicorn, "Server", lambda config: SimpleNamespace(run=lambda sockets: kept.sockets.append((config, *sockets)))
    )
    monkeypatch.setattr(
        serve.threading, "Timer", lambda *how: kept.timers.append(how) or SimpleNamespace(start=lambda: None)
    )
    monkeypatch.setattr(session, "Line", lambda: None)
    return kept


def test_the_page_is_served_on_this_computer_alone_and_its_address_said(begun, tmp_path):
    serve.serve(tmp_path / "a" / "b", 0, open_browser=True, say=begun.said.append)
    ((config, listener),) = begun.sockets
    (said,) = begun.said
    address = said.split()[0]
    assert (tmp_path / "a" / "b").is_dir()
    assert said == f"{address} shows {tmp_path}/a/b. Ctrl+C ends it; everything stays in the folder."
    assert begun.timers == [(0.5, serve.webbrowser.open, [address])]
    assert (config.log_level, config.server_header, config.timeout_graceful_shutdown) == ("warning", False, 2)
    assert listener.fileno() == -1, "it is let go at the end"
    begun.timers.clear()
    serve.serve(tmp_path, 0, open_browser=False, say=begun.said.append)
    assert begun.timers == []


def test_a_file_is_no_folder_and_one_that_cannot_be_made_is_said(begun, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="file: found a file; expected a folder"):
        serve.serve(tmp_path / "file", 0, open_browser=False, say=print)
    with pytest.raises(OutputError, match="deep: cannot be made: Not a directory"):
        serve.serve(tmp_path / "file" / "deep", 0, open_browser=False, say=print)


def test_a_taken_port_is_refused_where_it_is_named_and_passed_over_where_it_is_not(monkeypatch):
    with socket.socket() as taken:
        taken.bind((serve.HOST, 0))
        taken.listen()
        number = taken.getsockname()[1]
        with pytest.raises(
            InputError, match="--port: found a port that is in use; expected a free one; --port 0 takes any"
        ):
            serve._listening(number)
        monkeypatch.setattr(serve, "PORT", number)
        with serve._listening(None) as listener:
            assert listener.getsockname()[0] == "127.0.0.1"
            assert number < listener.getsockname()[1] < number + serve.MORE_PORTS
            assert listener.getsockopt(socket.SOL_SOCKET, socket.SO_ACCEPTCONN) == 1
            assert (listener.family, listener.proto) == (socket.AF_INET, socket.IPPROTO_TCP)
        monkeypatch.setattr(serve, "MORE_PORTS", 1)
        with pytest.raises(InputError):
            serve._listening(None)
        serve._listening(0).close()  # any that is free
    with pytest.raises(InputError, match="--port: found 70000; expected a number from 0 to 65535"):
        serve._listening(70000)


def test_without_its_libraries_it_is_said_how_to_get_them(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    with pytest.raises(OutputError, match=r"gpsq serve needs uvicorn; pip install 'gpsq\[web\]' brings it"):
        serve.serve(tmp_path / "a", 0, open_browser=False, say=print)


def test_the_first_port_is_the_one_that_is_promised(capsys):
    with pytest.raises(SystemExit):
        cli.main(["serve", "--help"])
    said = " ".join(capsys.readouterr().out.replace("│", " ").split())
    assert f"the first free from {serve.PORT} on" in said
