"""Which mistakes can be made in a module: those of the library of mutations, and our own in what is compiled."""

from __future__ import annotations

import ast
import random
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cosmic_ray import plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: A removed decorator is noticed by everything, or makes something compiled slow.
_LEFT_OUT = "RemoveDecorator"


@dataclass(frozen=True)
class Mistake:
    """One wrong change of one module: where, what stands there now and with it, and the whole text."""

    line: int
    before: str
    after: str
    text: str


def sample(module: Path, count: int, seed: int, *, compiled: bool = False) -> list[Mistake]:
    """Return so many mistakes, each at another place, drawn at random; all that there are where that is fewer.

    Left out are annotations, which do nothing, and, but where they are asked for, compiled functions, which take minutes to
    compile anew: of these `KERNELS` has a few.
    """
    text = module.read_text("utf-8")
    idle = _idle(text, compiled=compiled)
    places: dict[tuple[int, int], list[tuple[str, int]]] = {}
    tree = get_ast(text)
    for name, occurrence, place in _positions(tree):
        if not any(low <= place < high for low, high in idle):
            places.setdefault(place, []).append((name, occurrence))
    draw = random.Random(seed)
    chosen = draw.sample(sorted(places), len(places))
    found: list[Mistake] = []
    for place in chosen:
        if len(found) == count:
            break
        name, occurrence = draw.choice(places[place])
        try:
            changed = mutate_code(text, plugins.get_operator(name)(), occurrence)
        except AttributeError:  # the library knows no exceptions with a dot in their name
            continue
        if changed is not None and _is_other(text, changed):
            found.append(_mistake(text, changed, place[0]))
    return found


def _positions(tree: object) -> Iterator[tuple[str, int, tuple[int, int]]]:
    """Yield each mistake by the name of its operator and its number, with (line, column) of its place."""
    for name in plugins.operator_names():
        operator_class = plugins.get_operator(name)
        if operator_class.arguments() or name.endswith(_LEFT_OUT):
            continue
        operator = operator_class()
        positions = (place for node in ast_nodes(tree) for place in operator.mutation_positions(node))
        for occurrence, (start, _) in enumerate(positions):
            yield name, occurrence, start


def _is_other(text: str, changed: str) -> bool:
    """Return whether a change is Python, and other Python than before."""
    try:
        return ast.dump(ast.parse(text)) != ast.dump(ast.parse(changed))
    except SyntaxError:
        return False


def _mistake(text: str, changed: str, line: int) -> Mistake:
    pairs = zip(text.splitlines(), changed.splitlines(), strict=False)
    before, after = next(((b, a) for b, a in pairs if b != a), ("", ""))
    return Mistake(line, before.strip(), after.strip(), changed)


def _idle(text: str, *, compiled: bool) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Return the stretches, as (line, column) from and to, of annotations, guards, and, unless asked for, what is compiled."""
    found: list[ast.expr | ast.stmt] = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.AnnAssign | ast.arg) and node.annotation is not None:
            found.append(node.annotation)
        elif isinstance(node, ast.ClassDef):  # frozen or not: that nothing is written to is the rule, not the behaviour
            found += [d for d in node.decorator_list if isinstance(d, ast.Call)]
        elif isinstance(node, ast.FunctionDef):
            if not compiled and any(isinstance(d, ast.Name) and d.id == "compiled" for d in node.decorator_list):
                found.append(node)
            elif node.returns is not None:
                found.append(node.returns)
        elif isinstance(node, ast.keyword) and node.arg == "strict":  # of a zip: a guard against mistakes, itself
            found.append(node.value)
        elif isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            found.append(node)
    return [((n.lineno, n.col_offset), (n.end_lineno or n.lineno, n.end_col_offset or 0)) for n in found]


#: Mistakes in what is compiled: the module, what stands there, what is put in its place, and the tests that must notice.
KERNELS = (
    ("geometry/_in_order.py", "NEXT if before >= stay else STAY", "NEXT if before > stay else STAY", "geometry"),
    ("geometry/_in_order.py", "NEXT if before >= stay else STAY", "STAY", "geometry"),
    ("geometry/_in_order.py", "cost = 0.0 if piece[i] != piece[i - 1] else passing", "cost = passing", "geometry"),
    ("geometry/_in_order.py", "value[j] = best + gain[j]", "value[j] = best + gain[j] ** 2", "geometry"),
    ("geometry/_in_order.py", "if value[k] > value[j]:", "if value[k] < value[j]:", "geometry"),
    ("centreline/robust_middle.py", "pull[t] = ws[t] / max(", "pull[t] = 1.0 / max(", "centreline"),
    ("centreline/group_medians.py", "(column[(seen - 1) // 2] + column[seen // 2]) / 2.0", "column[seen // 2]", "centreline"),
    ("centreline/near_means.py", "if here >= 3:", "if here >= 30:", "centreline"),
    ("centreline/near_means.py", "running[t] -= 1.0", "running[t] -= 0.0", "centreline"),
    ("centreline/near_means.py", "elsewhere[j + beside, t]", "elsewhere[j - beside, t]", "centreline/test_kernels_by_numpy.py"),
    ("centreline/strands.py", "piece[first] == piece[last] and ", "", "centreline/test_kernels_by_numpy.py"),
    ("centreline/medoid.py", "gain += 1.0 - (away_m / cap_m) ** 2", "gain += 1.0", "centreline/test_medoid.py"),
    ("centreline/slow_sampling.py", "vertex[j] = a + share * (b - a)", "vertex[j] = a", "centreline/test_kernels_by_numpy.py"),
    ("centreline/scatter.py", "min(away[k], most) ** 2", "away[k] ** 2", "centreline/test_kernels_by_numpy.py"),
    ("centreline/weights.py", "RIDERS_LINE_M**2 * total", "RIDERS_LINE_M * total", "centreline/test_weights.py"),
    ("summaries/devices/others.py", "(others - 1) // 2, others // 2", "others // 2, others // 2", "summaries/test_others.py"),
    ("geometry/_hausdorff.py", " and _segment_d2(qx, qy, b, s) <= best2", "", "geometry/test_kernels_by_shapely.py"),
    ("geometry/_hausdorff.py", "min(cheap, max(ends, crossing))", "min(cheap, ends)", "geometry/test_curve_distances.py"),
    ("geometry/_frechet.py", "top_low = max(top_low, below)", "top_low = max(top_low, 0.0)", "geometry/test_curve_distances.py"),
    ("geometry/_frechet.py", "half2 < 0.0 or along < half", "half2 < 0.0", "geometry/test_kernels_by_shapely.py"),
    ("geometry/_discrete_frechet.py", "max(value, low2, d2", "max(low2, d2", "geometry/test_curve_distances.py"),
    ("geometry/_discrete_frechet.py", "ahead = min(best_below, corner)", "ahead = best_below", "geometry/test_curve_distances.py"),
    ("geometry/_nearest.py", "leg_x * to_y - leg_y * to_x < 0", "leg_x * to_y - leg_y * to_x > 0", "geometry/test_polyline.py"),
    ("geometry/_boxes.py", "max(-x_past, -x_before), max(", "max(-x_past, -x_before), min(", "geometry/test_kernels_by_shapely.py"),
    ("geometry/_abreast.py", "elif seen[j] == number[j] // 2:", "elif seen[j] == 0.0:", "geometry/test_kernels_by_shapely.py"),
)  # fmt: skip


def kernels(package: Path) -> list[tuple[str, Mistake, str]]:
    """Return our own mistakes in what is compiled: module, mistake, and the tests that must notice."""
    found = []
    for module, before, after, tests in KERNELS:
        text = (package / module).read_text("utf-8")
        if before not in text:
            raise ValueError(
                f"{module}: {before!r} stands there no more: mend the list of mistakes in what is compiled"
            )
        line = text[: text.index(before)].count("\n") + 1
        found.append((module, Mistake(line, before, after, text.replace(before, after, 1)), tests))
    return found
