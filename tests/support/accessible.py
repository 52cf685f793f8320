"""What axe-core finds of WCAG 2.2 A and AA, and of good practice, on an open page."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from browser import missing

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
#: The dark look differs from the light one in its colours alone (``look.css``): where that was looked at, these are left.
COLOURS = ["color-contrast", "link-in-text-block"]


@cache
def _script() -> str:
    found = find_spec("axe_playwright_python")
    if found is None or found.origin is None:
        missing("the package axe-playwright-python")
    return (Path(str(found.origin)).parent / "axe.min.js").read_text("utf-8")


def serious_violations(page: Any, rules: list[str] = RULES) -> list[str]:
    """A line for each serious or critical violation on a page whose policy is bypassed."""
    page.evaluate(_script() + "; 1")
    result = page.evaluate("(rules) => axe.run(document, {runOnly: rules, resultTypes: ['violations']})", rules)
    return [
        f"{violation['id']}: {node['html'][:120]} {node['failureSummary'][:200]}"
        for violation in result["violations"]
        if violation["impact"] in {"serious", "critical"}
        for node in violation["nodes"]
    ]
