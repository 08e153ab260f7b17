"""Pictures of a job as SVG: rods drawn as white strokes with a dark edge, the farthest first, so that near ones cover.

Chain is white, lattice grey, so that they differ on a black-and-white print.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..feed.lattice import Strut
from ..solid.mesh import Body, FloatArray, Mesh
from .outlines import Slice, slices, thinned
from .strokes import Strokes, strut_strokes, wire_strokes

TOP = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])  # rows: right, up, towards the eye
SIDE = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
END = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
MOST_TRIANGLES = 4000
STEEP = 0.8  # share of a piece's length that runs towards the eye, from which it is drawn as a disc
RANK = 0.45
MESH_RIM, MESH_SEAM = 0.18, 0.15  # mm of dark edge, and of white that closes what thinning tore open
PAPER = {"chain": "#fff", "lattice": "#aaa"}


@dataclass(frozen=True, slots=True)
class Drawing:
    """The inside of an SVG in mm, y downwards, and its box: left, top, width, height."""

    body: str
    box: tuple[float, float, float, float]


def draw(bodies: Sequence[Body], struts: Sequence[Strut], axes: FloatArray) -> Drawing:
    """Draw bodies and struts as seen along ``axes`` (3, 3), rows to the right, up and towards the eye."""
    marks: list[tuple[float, str]] = []
    low, high = [], []
    for strokes in (wire_strokes(bodies), strut_strokes(struts)):
        if len(strokes.width_mm):
            marks += _stroke_marks(strokes, axes)
            seen = strokes.points @ axes.T
            half = 0.5 * strokes.width_mm[:, None, None]
            low.append((seen - half).min(axis=(0, 1))[:2])
            high.append((seen + half).max(axis=(0, 1))[:2])
    bare = [b for b in bodies if b.wire is None]
    thin = {id(b.mesh): thinned(b.mesh, MOST_TRIANGLES // len(bare)) for b in bare}
    for body in bare:
        placed = Mesh(body.pose.apply(thin[id(body.mesh)].points), thin[id(body.mesh)].triangles)
        marks += _mesh_marks(slices(placed, axes))
        seen = placed.points @ axes.T
        low.append(seen.min(axis=0)[:2])
        high.append(seen.max(axis=0)[:2])
    if not marks:
        return Drawing("", (0.0, 0.0, 1.0, 1.0))
    marks.sort(key=lambda mark: mark[0])
    left, bottom = np.min(low, axis=0)
    right, top = np.max(high, axis=0)
    box = (float(left), float(-top), float(right - left), float(top - bottom))
    inside = "".join(text for _, text in marks)
    return Drawing(f'<g fill="none" stroke-linejoin="round" stroke-linecap="round">{inside}</g>', box)


def svg(
    drawing: Drawing,
    *,
    title: str,
    extra: str = "",
    margin_mm: float = 2.0,
    ident: str | None = None,
    letters: float = 0.05,
) -> str:
    """Wrap a drawing as an SVG element with a title for those who cannot see it, and a bar of length below it.

    ``letters``: height of the words at the bar, as a share of the longer side of the drawing.
    """
    left, top, width, height = drawing.box
    bar = _bar_length(width)
    bar_y = top + height + 2.5 * margin_mm
    size = max(width, height) * letters
    box = (left - margin_mm, top - margin_mm, width + 2.0 * margin_mm, height + 4.5 * margin_mm + 1.4 * size)
    group = f'<g id="{ident}">{drawing.body}</g>' if ident else drawing.body
    line = max(width, height) * 0.003
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escape(title)}" '
        f'viewBox="{_n(box[0])} {_n(box[1])} {_n(box[2])} {_n(box[3])}"><title>{escape(title)}</title>'
        f"{group}{extra}"
        f'<path d="M{_n(left)} {_n(bar_y - 0.3 * size)}v{_n(0.3 * size)}h{bar:g}v{_n(-0.3 * size)}" fill="none" '
        f'stroke="#000" stroke-width="{_n(line)}"/>'
        f'<text x="{_n(left + bar / 2)}" y="{_n(bar_y + 1.1 * size)}" font-size="{_n(size)}" '
        f'text-anchor="middle">{bar:g} mm</text></svg>'
    )


def _stroke_marks(strokes: Strokes, axes: FloatArray) -> list[tuple[float, str]]:
    """Give the dark edge and the paper-white inside of each piece, each with its depth.

    Rods that do not cross lie at least half of both thicknesses apart. So an edge ranked 0.45 thicknesses behind its
    axis still covers what passes behind the rod, and the insides of its own rod, ranked as much in front, cover it.
    """
    seen = strokes.points @ axes.T
    seen[:, :, 1] *= -1.0
    along = seen[:, 2] - seen[:, 0]
    end_on = np.abs(along[:, 2]) > STEEP * np.linalg.norm(along, axis=1)
    square = strokes.square & ~end_on
    rim = np.clip(0.12 * strokes.width_mm, 0.08, 0.3)
    flat = np.linalg.norm(along[:, :2], axis=1, keepdims=True)
    longer = np.where(square, rim, 0.0)[:, None] * along[:, :2] / np.maximum(flat, 1e-9)
    outer = seen[:, :, :2].copy()
    outer[:, 0] -= longer
    outer[:, 2] += longer
    depth, width = seen[:, 1, 2], strokes.width_mm
    paper = PAPER[strokes.kind]
    marks = []
    rows = zip(
        outer.tolist(),
        seen[:, :, :2].tolist(),
        width.tolist(),
        rim.tolist(),
        depth.tolist(),
        square.tolist(),
        strict=True,
    )
    for edge, inside, wide, thin, near, cut in rows:
        cap = ' stroke-linecap="butt"' if cut else ""
        back = f'<path d="{_line(edge)}" stroke="#000" stroke-width="{_n(wide)}"{cap}/>'
        front = f'<path d="{_line(inside)}" stroke="{paper}" stroke-width="{_n(wide - 2.0 * thin)}"{cap}/>'
        marks += [(near - RANK * wide, back), (near + RANK * wide, front)]
    return marks


def _mesh_marks(parts: Sequence[Slice]) -> list[tuple[float, str]]:
    """Give the shape of each slice twice: dark and wider, ranked behind its neighbours, then paper-white."""
    marks = []
    for part in parts:
        shape = "".join(f"{_line(t)}Z" for t in _down(part.triangles))
        back = f'<path d="{shape}" fill="#000" stroke="#000" stroke-width="{2.0 * (MESH_RIM + MESH_SEAM):g}"/>'
        front = f'<path d="{shape}" fill="#fff" stroke="#fff" stroke-width="{2.0 * MESH_SEAM:g}"/>'
        marks += [(part.depth - part.behind, back), (part.depth, front)]
    return marks


def _down(shapes: FloatArray) -> list[list[list[float]]]:
    down: list[list[list[float]]] = (shapes * np.array([1.0, -1.0])).tolist()
    return down


def _line(points: Sequence[Sequence[float]]) -> str:
    first, *rest = points
    return f"M{_n(first[0])} {_n(first[1])}" + "".join(f"L{_n(x)} {_n(y)}" for x, y in rest)


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _bar_length(width: float) -> float:
    """Give 1, 2 or 5 times a power of ten mm, about a quarter of the width."""
    power = 10.0 ** np.floor(np.log10(max(width, 1e-3) / 4.0))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= max(width, 1e-3) / 4.0 * 1.0001))
