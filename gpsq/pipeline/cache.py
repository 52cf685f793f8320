"""Answers kept in a folder beside the recordings, each under a digest of all that it depends on.

A digest holds the content asked about, the settings, and the source code of gpsq itself, so an answer is never stale.
Answers are pickles, which could run anything, so each carries a mark that only this user can make (a keyed BLAKE2b,
RFC 7693); others are passed over. The folder may be deleted at any time; where it cannot be written there is no cache.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import os
import pickle  # only what carries the user's own mark is ever loaded
import re
import secrets
import sys
import tempfile
from pathlib import Path
from typing import Any

FOLDER = ".gpsq-cache"
#: The tag by which backups know a folder that can be made again (Cache Directory Tagging Specification).
TAG_NAME, TAG = "CACHEDIR.TAG", "Signature: 8a477f597d28d172789f06886806bc55\n# Made by gpsq; may be deleted.\n"
_MARK_BYTES = 32
_NAME = re.compile(r"[0-9a-f]{64}\.answer")


class Cache:
    """Answers by digest; `forget_unused` deletes those that were neither found nor kept since the cache was opened."""

    def __init__(self, folder: Path, secret: bytes) -> None:
        self.folder, self._secret = folder, secret
        self.used: set[str] = set()

    def get(self, key: str) -> Any:
        """Return the answer kept under a digest, or None."""
        try:
            data = self._path(key).read_bytes()
        except OSError:
            return None
        mark, content = data[:_MARK_BYTES], data[_MARK_BYTES:]
        if not hmac.compare_digest(mark, self._mark(key, content)):
            return None
        self.used.add(self._path(key).name)
        return pickle.loads(content)  # noqa: S301 - marked by this user for this very digest

    def put(self, key: str, answer: Any) -> None:
        """Keep an answer; a disk that is full or read-only keeps none."""
        content = pickle.dumps(answer, protocol=5)
        with contextlib.suppress(OSError):
            self._prepare()
            handle, aside = tempfile.mkstemp(prefix="aside-", dir=self.folder)
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(self._mark(key, content))
                    file.write(content)
                Path(aside).replace(self._path(key))
            except OSError:
                Path(aside).unlink(missing_ok=True)
                raise
            self.used.add(self._path(key).name)

    def forget_unused(self) -> None:
        """Delete the answers that nobody asked for, so that the folder holds one run's worth."""
        with contextlib.suppress(OSError):
            for path in self.folder.iterdir():
                if _NAME.fullmatch(path.name) and path.name not in self.used:
                    path.unlink()

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.answer"

    def _mark(self, key: str, content: bytes) -> bytes:
        mark = hashlib.blake2b(key.encode(), key=self._secret, digest_size=_MARK_BYTES)
        mark.update(content)
        return mark.digest()

    def _prepare(self) -> None:
        if not self.folder.is_dir():
            self.folder.mkdir()
            (self.folder / TAG_NAME).write_text(TAG, encoding="ascii")
            (self.folder / ".gitignore").write_text("*\n", encoding="ascii")


def beside(folder: Path) -> Cache | None:
    """Return the cache of the campaign in a folder, or None where there can be none: then all is worked out anew."""
    place = folder / FOLDER
    secret = _secret()
    if secret is None or place.is_symlink() or not os.access(place if place.is_dir() else folder, os.W_OK):
        return None
    return Cache(place, secret)


def _secret() -> bytes | None:
    """Return what marks this user's answers, made at the first use; None where it cannot be kept."""
    try:
        path = _user_folder() / "mark"
        if not path.is_file():
            path.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as aside:  # readable by the user alone
                aside.write(secrets.token_bytes(_MARK_BYTES))
            # of two first runs at a time one comes first, and both read its mark
            with contextlib.suppress(FileExistsError):
                os.link(aside.name, path)
            Path(aside.name).unlink()
        secret = path.read_bytes()
    except (OSError, RuntimeError):  # RuntimeError: the user has no home
        return None
    return secret if len(secret) == _MARK_BYTES else None


def _user_folder() -> Path:
    given = os.environ.get("LOCALAPPDATA" if sys.platform == "win32" else "XDG_CACHE_HOME", "")
    return (Path(given) if Path(given).is_absolute() else Path.home() / ".cache") / "gpsq"
