"""The pictures of the sheet: the job from above, from the side, and standing in its flask."""

import math
from html import escape

from .blocks import counted
from .data import SheetData
from .drawing import END, SIDE, TOP, Drawing, draw, svg

FLASK_LETTERS = 0.065  # of the picture: it stands small on the sheet
TALL = 0.6  # height over width of the side view, from which the pictures stand in one row


def pictures(data: SheetData) -> str:
    """Give the section with the three pictures: from above, from the side, and in the flask."""
    top, side = draw(data.bodies, data.struts, TOP), draw(data.bodies, data.struts, SIDE)
    what = f"{counted(len(data.bodies), 'body', 'bodies')}" + (" with their feed metal" if data.struts else "")
    plate = _plate(side)
    tall = side.box[3] > TALL * side.box[2]
    figures = (
        svg(top, title=f"{data.title} from above: {what}"),
        svg(
            side,
            title=f"{data.title} from the side: {what}, plate side down",
            extra=plate,
            ident="job-side",
            letters=0.05 if tall else 0.035,
        ),
        _in_flask(data, side),
    )
    captions = (
        "From above. White: chain. Grey: feed metal.",
        "From the side. Dashed: the plate, which is the pouring side.",
        f"In the flask, {_size(data)} inside, as it stands for filling: pouring side down.",
    )
    made = "".join(
        f"<figure>{picture}<figcaption>{escape(caption)}</figcaption></figure>"
        for picture, caption in zip(figures, captions, strict=True)
    )
    looks = "pictures tall" if tall else "pictures"
    return f'<section class="{looks}"><h2>Pictures</h2>{made}</section>'


def _plate(side: Drawing) -> str:
    left, _, width, _ = side.box
    return f'<path d="M{left:.2f} 0h{width:.2f}" stroke="#000" stroke-width=".25" stroke-dasharray="2 1" fill="none"/>'


def _in_flask(data: SheetData, side: Drawing) -> str:
    """Draw the flask in section: its walls, the job, the trunk and the pouring cone, all in mm at export scale."""
    plan = data.plan
    flask, m, scale, lean = plan.flask.flask, plan.margins, plan.applied_scale, plan.flask.lean
    job = '<use href="#job-side"/>'
    if lean.deg and lean.axis == "y":
        side = draw(data.bodies, data.struts, END)
        job = side.body
    left, top, width, _ = side.box
    middle = scale * (left + 0.5 * width)
    foot = m.trunk_mm + m.cone_mm
    half = 0.5 * flask.diameter_mm
    cone = min(3.0 * plan.trunk_d_mm, 0.6 * flask.diameter_mm)
    aside, deep = _hub(data, scale, left + 0.5 * width)
    wall = 'fill="none" stroke="#000" stroke-width="1"' + (' stroke-dasharray="4 2"' if flask.perforated else "")
    body = (
        f'<rect x="{middle - half:.2f}" y="{foot - flask.height_mm:.2f}" width="{2 * half:.2f}" '
        f'height="{flask.height_mm:.2f}" {wall}/>'
        f'<path d="M{middle - 0.5 * cone:.2f} {foot:.2f}L{middle - 0.5 * plan.trunk_d_mm:.2f} {m.trunk_mm:.2f}'
        f"L{middle + aside - 0.5 * plan.trunk_d_mm:.2f} {deep:.2f}h{plan.trunk_d_mm:.2f}"
        f'L{middle + 0.5 * plan.trunk_d_mm:.2f} {m.trunk_mm:.2f}L{middle + 0.5 * cone:.2f} {foot:.2f}Z" fill="#ddd" '
        f'stroke="#000" stroke-width=".4"/>'
        f'<g transform="rotate({lean.deg} {middle:.2f} 0) scale({scale:.6f})">{job}</g>'
    )
    extent = Drawing(
        body, (middle - half, min(foot - flask.height_mm, scale * top), 2 * half, max(flask.height_mm, foot))
    )
    leaning = f", leaning by {lean.deg} degrees" if lean.deg else ""
    title = f"{data.title} in a flask of {_size(data)}{leaning}, trunk and pouring cone below"
    return svg(extent, title=title, letters=FLASK_LETTERS)


def _hub(data: SheetData, scale: float, middle: float) -> tuple[float, float]:
    """Say where the trunk meets the hub in the picture: how far to the right of the middle, how far below the plate.

    The hub lies beside the job where it is no ring, and comes down with that side of a job that leans.
    """
    hubs = [s.start for s in data.struts if s.role == "trunk"]
    if not hubs:
        return 0.0, 0.0
    lean = data.plan.flask.lean
    along = 1 if lean.deg and lean.axis == "y" else 0
    aside = scale * (sum(hub[along] for hub in hubs) / len(hubs) - middle)
    turn = math.radians(lean.deg)
    return aside * math.cos(turn), aside * math.sin(turn)


def _size(data: SheetData) -> str:
    flask = data.plan.flask.flask
    return f"{flask.diameter_mm:g} x {flask.height_mm:g} mm"
