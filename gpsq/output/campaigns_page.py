"""What ``gpsq compare`` writes: every device of many campaigns in one table, one page and one figure."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np

from gpsq.digests import version
from gpsq.output import run_file, wording
from gpsq.output.charts.campaigns import campaign_marks, compare_chart, compare_looks, finding
from gpsq.output.folder_swap import replaced
from gpsq.output.report import sketches
from gpsq.output.tables.column import said, saying
from gpsq.output.tables.columns import DEVICES, shown
from gpsq.output.templating import policy_of, render, template_text
from gpsq.output.terminal import columns
from gpsq.output.wording import cell
from gpsq.summaries.across.results_read import number
from gpsq.summaries.csv_cells import guarded
from gpsq.summary_types import Interval

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from gpsq.output.tables.column import Column
    from gpsq.summaries.across.bridge_verdicts import Bridge
    from gpsq.summaries.across.campaigns import Compared, Entry

_NUMBER = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")
BRIDGES = (
    "first", "second", "measure", "state", "via", "campaigns", "ratio", "ratio_low", "ratio_high", "difference_s",
    "difference_low_s", "difference_high_s", "rides_first", "rides_second", "verdict",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One device on one course as it is shown; `mark` tells campaigns apart where several rode the course."""

    device: str
    mark: str
    cells: list[str]


def lines(compared: Compared) -> Iterator[str]:
    """Yield the table for a terminal, a part for each course, then what can be said of each two devices."""
    for course, rows in _by_course(compared):
        yield course
        yield from columns([heads(), *(row.cells for row in rows)])
        yield ""
    yield from compared.notes
    yield ""
    yield from (cell(b.verdict) for b in compared.bridges)


def heads() -> list[str]:
    """Return the heads of the table."""
    return ["device", "rides", "start states", *(c.short_heading for c in shown("compare"))]


def _by_course(compared: Compared) -> Iterator[tuple[str, list[Row]]]:
    """Give the rows of each course, under its name and where it was ridden."""
    for course, entries in groupby(compared.entries, key=lambda entry: entry.course):
        own = list(entries)
        marks = campaign_marks(own)
        said = "; ".join(f"{mark} {name}, route {route}".strip() for (name, route), mark in marks.items())
        named_apart = course if course.startswith("course ") else "no other campaign"
        yield cell(f"{named_apart}: {said}"), [_row(e, marks[e.campaign, e.route]) for e in own]


def _row(entry: Entry, mark: str) -> Row:
    cells = [
        f"{cell(entry.device)} {mark}".strip(),
        entry.figures.get("rides") or wording.UNKNOWN,
        cell(entry.start_states) or wording.UNKNOWN,
        *(_figure(entry, column) for column in shown("compare")),
    ]
    return Row(entry.device, mark, cells)


def _figure(entry: Entry, column: Column) -> str:
    """Return a figure as the table of columns says it, with its bounds where the results have them."""
    ends = {c.source: c.name for c in DEVICES if "." in c.source}
    low, high = (number(entry.figures, ends.get(f"{column.source}.{end}", "")) for end in ("low", "high"))
    found = Interval(number(entry.figures, column.name), low, high)
    inside = wording.between(found, saying(column))
    return said(column, found) + (f" ({inside})" if inside else "")


def write_compared(compared: Compared, out: Path) -> list[Path]:
    """Write ``compare.html``, ``compare.csv``, ``bridges.csv`` and the figure into the folder `out`, in place of earlier ones.

    Raises
    ------
    OutputError
        When the folder is not one of gpsq's, or cannot be written.
    """
    texts = _texts(compared)
    names = sorted([*texts, run_file.NAME])
    data = {"gpsq": version(), "compared": sorted({cell(e.campaign) for e in compared.entries}), "files": names}
    texts[run_file.NAME] = json.dumps(data, indent=1, ensure_ascii=False) + "\n"
    with replaced(out) as aside:
        for name, content in texts.items():
            (aside / name).write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return [out / name for name in names]


def _texts(compared: Compared) -> dict[str, str | bytes]:
    chart = compare_chart(compared)
    found: dict[str, str | bytes] = {
        "compare.csv": _csv([_flat(entry) for entry in compared.entries]),
        "bridges.csv": _csv([_flat_bridge(b) for b in compared.bridges], BRIDGES),
        "compare.html": _page(compared, chart),
    }
    if chart is not None:
        found |= {"compare.svg": chart.wide_svg, "compare.png": chart.wide_png}
        found |= {"compare-square.svg": chart.square_svg, "compare-square.png": chart.square_png}
    return found


def _flat(entry: Entry) -> dict[str, str]:
    whose = {"course": entry.course, "campaign": entry.campaign, "start_states": entry.start_states}
    return whose | {c.name: entry.figures.get(c.name, "") for c in DEVICES}


def _flat_bridge(b: Bridge) -> dict[str, str]:
    figures = {"": b.found.value, "_low": b.found.low, "_high": b.found.high}
    stem, unit, digits = ("ratio", "", 3) if b.is_ratio else ("difference", "_s", 2)
    row = {f"{stem}{end}{unit}": f"{v:.{digits}f}" if np.isfinite(v) else "" for end, v in figures.items()}
    whose = {name: str(getattr(b, name)) for name in BRIDGES if hasattr(b, name)}
    return {name: (whose | row).get(name, "") for name in BRIDGES}


def _in_table(value: str) -> str:
    """Return a value as a cell: a number as it is, a text marked where a spreadsheet would take it for a formula."""
    return value if _NUMBER.fullmatch(value) else guarded(cell(value))


def _csv(rows: Sequence[Mapping[str, str]], names: Sequence[str] = ()) -> str:
    """Return rows of text as CSV; the names of the columns stand there without any row too."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, names or (list(rows[0]) if rows else []), lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: _in_table(value) for name, value in row.items()} for row in rows)
    return text.getvalue()


def _page(compared: Compared, chart: Any) -> str:
    return render(
        "compare.html.j2",
        policy=policy_of(template_text("copy.js")),
        script=template_text("copy.js"),
        css=template_text("look.css") + template_text("report.css"),
        version=version(),
        heads=heads(),
        chart=chart,
        finding=finding(compared),
        looks=compare_looks(compared),
        marks=sketches.MARKS,
        courses=list(_by_course(compared)),
        verdicts=[wording.typeset(b.verdict) for b in compared.bridges],
        notes=compared.notes,
        problems=compared.problems,
        devices=len({entry.device for entry in compared.entries}),
        campaigns=len({entry.campaign for entry in compared.entries}),
    )
