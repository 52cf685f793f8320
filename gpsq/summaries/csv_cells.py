"""Text in cells of a table that a spreadsheet will open: one that it would take for a formula is marked as text.

A name that begins with ``=`` comes out of a file that anyone may have made, and a spreadsheet runs what it says. The
apostrophe before such a cell is what spreadsheets themselves mark text with (OWASP, "CSV Injection").
"""

from __future__ import annotations

_MARK = "'"
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # full-width signs are taken alike


def guarded(text: str) -> str:
    """Return a text as a cell that no spreadsheet takes for a formula.

    Examples
    --------
    >>> guarded("=1+1"), guarded(" -2"), guarded("bar-unit"), guarded("'quoted'")
    ("'=1+1", "' -2", 'bar-unit', "'quoted'")
    """
    return f"{_MARK}{text}" if _is_formula(text) else text


def bare(cell: str) -> str:
    """Return the text of a cell as it was before it was guarded.

    Examples
    --------
    >>> bare("'=1+1"), bare("'quoted'")
    ('=1+1', "'quoted'")
    """
    return cell[1:] if cell.startswith(_MARK) and _is_formula(cell[1:]) else cell


def _is_formula(text: str) -> bool:
    return text.startswith(_FORMULA) or text.lstrip(" ").startswith(_FORMULA)
