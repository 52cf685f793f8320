"""From the bytes of an XML document to UTF-8, whatever its encoding says; and what a file is that is no recording."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from gpsq.exceptions import UnreadableFile

_BOMS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_DECLARED = re.compile(rb"""<\?xml[^>]{0,200}?encoding\s*=\s*["']([A-Za-z0-9._:-]+)["']""")
_ENTITY = re.compile(rb"<!ENTITY\s", re.IGNORECASE)
_DECLARATION = re.compile(rb"\s*(?:<\?xml[^>]*\?>)?\s*")
_HTML = re.compile(
    rb"\s*(?:<\?xml[^>]*\?>)?\s*(?:<!--.*?-->\s*)*+<(?:!doctype\s+html|html|head|body)\b", re.IGNORECASE | re.DOTALL
)


@dataclass(frozen=True)
class Document:
    """An XML document as UTF-8 without a byte order mark, and what was odd about its encoding."""

    data: bytes
    notes: tuple[str, ...] = ()


def to_utf8(data: bytes) -> Document:
    """Decode `data` by its byte order mark, its declaration, or as UTF-8; where none fits, as Windows-1252.

    Examples
    --------
    >>> to_utf8("<?xml version='1.0' encoding='UTF-8'?><a>Süd</a>".encode("latin-1")).data.decode()[-10:]
    '<a>Süd</a>'
    """
    for mark, codec in _BOMS:
        if data.startswith(mark):
            return _decoded(data, codec)
    if data[:2] in (b"<\0", b"\0<"):
        return _decoded(data, "utf-16-le" if data[1:2] == b"\0" else "utf-16-be")
    declared = _DECLARED.match(data.lstrip()[:300])
    codec = declared[1].decode("ascii").lower() if declared else "utf-8"
    if codec.replace("_", "-") in {"utf-8", "utf8", "us-ascii", "ascii"} or codec.startswith(
        ("utf-16", "utf-32", "ucs")
    ):
        return _utf8_or_guess(data)
    try:
        return Document(data.decode(codec).encode())
    except (LookupError, UnicodeError):
        return _utf8_or_guess(data)


def _decoded(data: bytes, codec: str) -> Document:
    text = data.decode(codec, "replace")
    odd = ("Some bytes are no characters in the file's encoding and were replaced.",) if "�" in text else ()
    return Document(text.encode("utf-8", "replace"), odd)


def _utf8_or_guess(data: bytes) -> Document:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return _guess(data)
    return Document(data)


def _guess(data: bytes) -> Document:
    text = data.decode("utf-8", "replace")
    bad = text.count("�")
    if sum(ord(c) > 127 for c in text) - bad > bad:
        return Document(text.encode(), (f"{bad} bytes are no characters in UTF-8 and were replaced.",))
    note = "The text is not in the encoding that the file declares; it was read as Windows-1252."
    return Document(data.decode("cp1252", "replace").encode(), (note,))


def refuse_entities(data: bytes, file: str) -> None:
    """Raise `UnreadableFile` where the document declares entities: before any parser sees it."""
    if _ENTITY.search(data):
        raise UnreadableFile(
            file, "a document type that declares entities, which could hide other files or grow without end",
            "GPX without entities", "entities_refused",
        )  # fmt: skip


def refuse_what_is_no_xml(data: bytes, file: str) -> None:
    """Raise `UnreadableFile` for an empty file or a web page under the name of a recording."""
    if not data.strip(b" \t\r\n\0"):
        found = "an empty file" if not data.strip() else "nothing but zero bytes"
        raise UnreadableFile(file, found, "a recording", "empty_file")
    head = data[:4096]
    if _HTML.match(head):
        raise UnreadableFile(
            file, "a web page, perhaps a sign-in page saved in place of the download", "a GPX document", "html_page"
        )
    blank = _DECLARATION.match(data)
    if blank and blank.end() == len(data):
        raise UnreadableFile(file, "an XML declaration and nothing else", "a GPX document", "empty_file")
