"""How what stands on a page looks, as the browser works it out: whether it is seen, where, how large and how told apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

_FOUND = """(wanted) => wanted.map(([selector, name]) => {
  const [path, pseudo] = selector.split("::"), node = document.querySelector(path);
  if (!node) return "nothing there";
  const style = getComputedStyle(node, pseudo ? `::${pseudo}` : null);
  return name.startsWith("--") ? style.getPropertyValue(name).trim() : style[name];
})"""
#: WCAG 2.2, 1.4.3: contrast ratio of two sRGB colours.
_CONTRAST = """([text, ground]) => {
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((v) => v / 255).map(
      (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const [low, high] = [light(text), light(ground)].sort((a, b) => a - b);
  return (high + 0.05) / (low + 0.05);
}"""


def unlike(page: Any, wanted: Mapping[str, Mapping[str, str]]) -> dict[tuple[str, str], str]:
    """Return what looks otherwise than wanted: by selector and property, what is found there.

    Parameters
    ----------
    wanted : for each selector (the first that fits; ``::before`` for what stands before it) its properties as the browser
        says them; "a|b" takes either, and a word with an exclamation mark before it anything else.
    """
    keys = [(selector, name) for selector, own in wanted.items() for name in own]
    found = page.evaluate(_FOUND, keys)
    return {(s, n): value for (s, n), value in zip(keys, found, strict=True) if not _fits(value, wanted[s][n])}


def _fits(value: str, wanted: str) -> bool:
    return value != wanted[1:] if wanted.startswith("!") else value in wanted.split("|")


def contrast(page: Any, text: str, ground: str) -> float:
    """Return the contrast ratio of two colours as the browser says them."""
    return float(page.evaluate(_CONTRAST, [text, ground]))


def colours(page: Any, *names: str) -> dict[str, str]:
    """Return the page's own colours by name, as the browser says them."""
    return {
        name: page.evaluate(
            "(name) => { const box = document.body.appendChild(document.createElement('i')); "
            "box.style.color = `var(--${name})`; const found = getComputedStyle(box).color; box.remove(); return found; }",
            name,
        )
        for name in names
    }


def words_can_be_read(page: Any, own: dict[str, str], scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for each colour of words on each ground; and the dark look is dark."""
    for text in ("ink", "soft", "accent"):
        assert min(contrast(page, own[text], own[ground]) for ground in ("paper", "leaf", "note")) >= 4.5, text
    assert (contrast(page, own["paper"], "rgb(0, 0, 0)") < 2.0) is (scheme == "dark")
