"""A page in full, as lines of text: what stands there, in order, with all that a person or a script goes by.

A line is an element with its classes, its id, what it is for (each attribute), and its own words; an element within a
line of words stands in it, in brackets. What is drawn is left out, and so are the rows of tables that are compared cell by
cell elsewhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

#: Elements that stand within a line of words; `bdi` and `span` without attributes leave no trace but their words.
INLINE = {"a", "bdi", "br", "button", "code", "em", "input", "progress", "small", "span", "strong", "svg"}
#: What is told by a word alone.
BARE = {
    "required", "hidden", "multiple", "download", "defer", "open", "webkitdirectory", "data-finding", "data-live",
    "data-quiet", "data-said",
}  # fmt: skip


def outline(root: Any, left_out: Collection[str] = ()) -> list[str]:
    """Return the lines of an element and all within it.

    Parameters
    ----------
    root : an element of lxml.
    left_out : attributes that are not told, such as a path that is another in each run.
    """
    return list(_lines(root, 0, {"style", *left_out}))


def heads_and_heads_said(root: Any) -> Iterator[tuple[list[str], list[str]]]:
    """Give for each row below a heading the heading's cells, and those that the row's cells name.

    The row's own name needs none, nor does a cell that fills a line of its own.
    """
    for table in root.iter("table"):
        heads = [plain(head.text_content()) for head in table.iterfind("thead/tr/th")]
        for row in table.iterfind("tbody/tr"):
            named = [k for k, cell in enumerate(row) if cell.tag == "th" and cell.get("scope") == "row"]
            assert len(named) == 1, heads
            alone = {k for k, cell in enumerate(row) if "full" in (cell.get("class") or "").split()} | set(named)
            yield heads, [heads[k] if k in alone else plain(cell.get("data-head")) for k, cell in enumerate(row)]


def swatches(root: Any) -> Iterator[tuple[str, str | None, str | None, str | None, str | None]]:
    """Give for each device that is shown with its line: its name, the line's colour and dashes, the mark and its colour."""
    for key in root.iter("span"):
        if key.get("class") == "key" and key.find("svg") is not None:
            *line, mark = key.find("svg")
            of_line = (line[0].get("stroke"), line[0].get("stroke-dasharray")) if line else (None, None)
            yield plain(key.text_content()), *of_line, mark.get("d"), mark.get("fill")


def plain(text: str | None) -> str:
    """Return words with one kind of space and of minus sign."""
    return " ".join((text or "").replace("\N{MINUS SIGN}", "-").split())


def _lines(node: Any, depth: int, left_out: set[str]) -> Iterator[str]:
    """Give an element's own line, then those of the elements in it that stand apart, in order."""
    indent, begun = " " * depth, _called(node, left_out)
    words = [node.text or ""]
    for child in node:
        if not isinstance(child.tag, str) or _is_told_elsewhere(child):
            words.append(child.tail or "")
        elif child.tag in INLINE and not any(
            c.tag not in INLINE for c in child.iterdescendants() if child.tag != "svg"
        ):
            words += [_within(child, left_out), child.tail or ""]
        else:
            if begun or plain("".join(words)):
                yield f"{indent}{begun} {plain(''.join(words))}".rstrip()
            begun, words = "", []
            yield from _lines(child, depth + 1, left_out)
            words.append(child.tail or "")
    if begun or plain("".join(words)):
        yield f"{indent}{begun} {plain(''.join(words))}".rstrip()


def _is_told_elsewhere(node: Any) -> bool:
    """Whether it is a script or style within the page, or rows of figures, whose cells are compared one by one."""
    if node.tag == "tbody":
        return node.getparent().find("thead") is not None and node.find(".//form") is None
    return node.tag == "style" or (node.tag == "script" and not node.get("src"))


def _within(node: Any, left_out: set[str]) -> str:
    """Return an element that stands in a line of words."""
    if node.tag == "svg":
        return _drawn(node, left_out)
    inner = "".join([node.text or "", *(_within(child, left_out) + (child.tail or "") for child in node)])
    if node.tag in {"bdi", "br"} or (node.tag == "span" and not node.attrib):
        return f"{' ' if node.tag == 'br' else ''}{inner}"
    return f"[{f'{_called(node, left_out)} {plain(inner)}'.strip()}]"


def _drawn(node: Any, left_out: set[str]) -> str:
    """Return what a drawing is of, and of which kinds of line it is made; "" for one that is there for the eye alone."""
    if node.get("aria-hidden") == "true" and node.get("focusable") == "false":
        return ""
    lines = ", ".join(path.get("class") or "" for path in node.iter("path"))
    return f"[{_called(node, left_out | {'viewbox'})}: {lines}]"


def _called(node: Any, left_out: set[str]) -> str:
    """Return an element's name, classes, id and attributes."""
    known = {name: value for name, value in node.attrib.items() if name not in left_out}
    name = node.tag + "".join(f".{c}" for c in known.pop("class", "").split())
    name += f"#{known.pop('id')}" if "id" in known else ""
    return " ".join([name, *(_attribute(key, value) for key, value in known.items())])


def _attribute(key: str, value: str) -> str:
    if key in BARE:
        return key
    return f"{key}={plain(value)}" if " " not in plain(value) else f"{key}='{plain(value)}'"
