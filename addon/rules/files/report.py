"""report.json: everything one run found, in mm, for people's scripts and other programs."""

import json
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from ..cast.layouts import LayoutFigures
from ..chain.chain import Chain
from ..chain.play import FreePlay
from ..chain.resize import LeastWidth
from ..feed.cuts import CuttingList, Reach
from ..feed.join import Solid
from ..feed.lattice import Lattice
from ..inspect.body_findings import as_point
from ..inspect.finding import Finding
from ..inspect.inspection import Inspection
from ..inspect.light import LightReach
from ..inspect.print_check import PrintCheck

SCHEMA = 1


def inspection_part(inspection: Inspection) -> dict[str, Any]:
    """Give the keys ``bodies``, ``pairs`` and ``webs``.

    What becomes of a gap (printed, web, cast, finished) is null for fused bodies and beyond the search range;
    ``depth_mm`` is null unless fused; the width of a web with no open edge is null.
    """
    return {
        "bodies": [
            {
                "name": b.name,
                "volume_mm3": b.volume_mm3,
                "area_mm2": b.area_mm2,
                "closed": b.closed,
                "genus": b.genus,
                "bounds_mm": b.bounds_mm,
                "wall_mm": b.wall_mm,
                "wall_at": b.wall_at,
            }
            for b in inspection.bodies
        ],
        "pairs": [
            {
                "a": p.a,
                "b": p.b,
                "gap_mm": p.gap_mm,
                "point_a": p.point_a,
                "point_b": p.point_b,
                "linked": p.linked,
                "printed_mm": None if p.ladder is None else p.ladder.printed_mm,
                "web_mm": None if p.ladder is None else p.ladder.web_mm,
                "cast_mm": None if p.ladder is None else p.ladder.cast_mm,
                "finished_mm": None if p.ladder is None else p.ladder.finished_mm,
                "depth_mm": p.depth_mm,
            }
            for p in inspection.pairs
        ],
        "webs": [
            {
                "a": w.a,
                "b": w.b,
                "at": w.at,
                "thickness_mm": w.thickness_mm,
                "area_mm2": w.area_mm2,
                "width_mm": w.width_mm,
                "depth_mm": w.depth_mm,
            }
            for w in inspection.webs
        ],
    }


def findings_part(findings: Iterable[Finding]) -> dict[str, Any]:
    """Give the key ``findings``, worst first."""
    return {
        "findings": [
            {
                "code": f.code,
                "severity": f.severity,
                "bodies": f.bodies,
                "at": f.at,
                "value": f.value,
                "limit": f.limit,
                "text": f.text,
            }
            for f in findings
        ]
    }


def chain_part(chain: Chain, least: LeastWidth | None = None) -> dict[str, Any]:
    """Give the key ``chain``: lengths in mm, inside a chain worn round, else between the outer ends of an open one.

    ``least``: the width at which the design's joint closes up, where that was looked for.
    """
    figures: dict[str, Any] = {
        "family": chain.spec.family,
        "shape": chain.layout.shape,
        "closed": chain.closed,
        "links": chain.count,
        "pitch_mm": chain.pitch_mm,
        "pitch_interval_mm": chain.pitch_interval_mm,
        "fits": [
            {
                "name": fit.name,
                "pitch_mm": fit.pitch_mm,
                "pitch_interval_mm": fit.interval_mm,
                "pulled_mm": fit.pulled_mm,
                "pushed_mm": fit.pushed_mm,
            }
            for fit in chain.fits
        ],
        "inner_length_mm": chain.worn_inner_length_mm,
        "printed_inner_length_mm": chain.printed_inner_length_mm,
        "pushed_inner_length_mm": chain.pushed_inner_length_mm,
        "length_mm": chain.worn_length_mm,
        "printed_length_mm": chain.printed_length_mm,
        "pushed_length_mm": chain.pushed_length_mm,
        "slack_mm": chain.slack_mm,
        "smallest_gap_mm": chain.smallest_gap_mm,
        "asked_mm": chain.asked_mm,
        "sizes": [
            {
                "links": size.links,
                "worn_mm": size.worn_mm,
                "printed_mm": size.printed_mm,
                "pushed_mm": size.pushed_mm,
                "gap_mm": size.gap_mm,
            }
            for size in chain.sizes
        ],
        "clasp_mm": chain.clasp_mm,
        "bends_deg": chain.bends_deg,
        "least_width_mm": None if least is None else least.width_mm,
    }
    return {"chain": figures}


def play_part(play: FreePlay) -> dict[str, Any]:
    """Give the key ``free_play``: how far each kind of joint moves, both ways, and the tightest curves of the chain.

    What meets nothing within half a turn, and a curve that cannot be, is null. Angles and slides (out, in) are those of
    `JointPlay`.
    """
    over, edgewise = play.least_radius_mm
    joints = [
        {
            "name": joint.name,
            "between": joint.of,
            "slide_mm": joint.slide_mm,
            "bend_y_deg": joint.bend_y_deg,
            "bend_z_deg": joint.bend_z_deg,
            "twist_deg": joint.twist_deg,
            "best_bend_y_deg": joint.best_bend_y_deg,
            "best_bend_z_deg": joint.best_bend_z_deg,
            "best_slide_y_mm": joint.best_slide_y_mm,
            "best_slide_z_mm": joint.best_slide_z_mm,
        }
        for joint in play.joints
    ]
    return {"free_play": {"joints": joints, "least_radius_mm": {"over_face": over, "edgewise": edgewise}}}


def layouts_part(compared: Sequence[LayoutFigures]) -> dict[str, Any]:
    """Give the key ``layouts``: what the same links take in every shape, all null where ``refusal`` says why not."""
    return {
        "layouts": [
            {
                "shape": one.shape,
                "links": one.links,
                "size_mm": one.size_mm,
                "across_mm": one.across_mm,
                "layers": one.layers,
                "flask_mm": None if one.flask is None else (one.flask.flask.diameter_mm, one.flask.flask.height_mm),
                "flask_fits": None if one.flask is None else one.flask.fits and not one.flask.findings,
                "investment_cm3": one.investment_cm3,
                "refusal": one.refusal,
            }
            for one in compared
        ]
    }


def lattice_part(
    lattice: Lattice, volume_mm3: float, solid: Solid | None = None, cutting: CuttingList | None = None
) -> dict[str, Any]:
    """Give the key ``lattice``: struts from the feed to the body; ``volume_mm3`` of the struts less the bodies.

    With the joined ``solid`` also the proof that without the lattice exactly the bodies are left, with ``cutting`` the
    cuts in the order of work: ``strut`` numbers ``struts``, ``there`` and ``after`` tell which tools get to a cut with
    all metal in place and in its turn.
    """
    struts = [
        {
            "role": s.role,
            "from": s.start,
            "to": s.end,
            "d_from_mm": s.d_start_mm,
            "d_to_mm": s.d_end_mm,
            "feeds": s.feeds,
        }
        for s in lattice.struts
    ]
    part: dict[str, Any] = {"struts": struts, "volume_mm3": volume_mm3}
    if solid is not None and solid.mesh is not None:
        part["proof"] = {
            "solid_mm3": solid.volume_mm3,
            "bodies_mm3": solid.bodies_volume_mm3,
            "lattice_mm3": solid.lattice_volume_mm3,
            "residue": solid.residue,
            "shells": solid.shells,
            "genus": solid.genus,
        }
    if cutting is not None:
        part["cutting"] = _cutting_figures(cutting)
    return {"lattice": part}


def _cutting_figures(cutting: CuttingList) -> dict[str, Any]:
    return {
        "tool": cutting.tool,
        "stub_area_mm2": cutting.stub_area_mm2,
        "returns_mm3": cutting.returns_mm3,
        "cuts": [
            {
                "number": c.number,
                "kind": c.kind,
                "round": c.turn or None,
                "strut": c.strut,
                "feeds": c.feeds,
                "tool": c.tool,
                "at": c.at,
                "ahead": c.ahead,
                "diameter_mm": c.diameter_mm,
                "area_mm2": c.area_mm2,
                "stub_mm": c.stub_mm,
                "clear_mm": c.clear_mm,
                "there": _reach_figures(c.there),
                "after": _reach_figures(c.after),
            }
            for c in cutting.cuts
        ],
    }


def _reach_figures(reaches: Sequence[Reach]) -> list[dict[str, Any]]:
    return [
        {
            "tool": r.tool,
            "fits": r.fits,
            "clearance_mm": r.clearance_mm,
            "blocker": r.blocker,
            "toward": r.toward,
            "at": r.at,
            "stub_mm": r.stub_mm,
        }
        for r in reaches
    ]


def print_part(check: PrintCheck | None, refused: str | None = None, *, faces: bool = False) -> dict[str, Any]:
    """Give the keys ``layers`` and, where it was asked for, ``light``; heights and sizes in print size, from the plate.

    Places are in the job's own size. Without a check the keys are there only where it was ``refused``: ``layers`` is
    null then, and ``layers_refused`` says why. With ``faces`` the light on every face of every body is listed, in the
    order of its mesh.
    """
    if check is None:
        return {} if refused is None else {"layers": None, "layers_refused": refused}
    layers, peel = check.layers, check.peel
    figures = {
        "layer_mm": check.layer_mm,
        "count": len(layers.heights_mm),
        "scale": check.scale,
        "plate_mm": check.plate_mm,
        "largest_area_mm2": peel.area_mm2,
        "largest_area_at_mm": layers.heights_mm[peel.layer],
        "largest_jump_mm2": peel.jump_mm2,
        "largest_jump_at_mm": layers.heights_mm[peel.jump_layer],
        "peel_n": check.peel_n,
        "heights_mm": layers.heights_mm,
        "areas_mm2": layers.area_mm2,
        "regions": layers.region_count,
        "islands": [
            {"at": check.in_job(i.at), "height_mm": i.at[2], "area_mm2": i.area_mm2, "body": i.body}
            for i in layers.islands
        ],
        "overhangs": [
            {
                "body": o.body,
                "at": check.in_job(o.at),
                "area_mm2": o.area_mm2,
                "angle_deg": o.angle_deg,
                "span_mm": o.span_mm,
                "reach_mm": o.reach_mm,
                "begins": o.begins,
            }
            for o in check.overhangs
        ],
        "cups": [
            {
                "opens": opens,
                "body": c.body,
                "at": check.in_job(c.at),
                "volume_mm3": c.volume_mm3,
                "depth_mm": None if c.spill_mm is None else c.spill_mm - c.floor_mm,
            }
            for opens, cups in (("film", check.suction), ("plate", check.drip), ("mould", check.traps))
            for c in cups
        ],
        "slots": [
            {
                "a": s.a,
                "b": s.b,
                "at": check.in_job(s.at),
                "width_mm": s.width_mm,
                "way_mm": s.way_mm,
                "area_mm2": s.area_mm2,
            }
            for s in check.slots
        ],
    }
    return {"layers": figures, **({} if check.light is None else {"light": _light_figures(check, check.light, faces)})}


def _light_figures(check: PrintCheck, light: LightReach, faces: bool) -> dict[str, Any]:
    count, weight = len(check.names), np.where(light.buried, 0.0, light.area_mm2)
    area = np.bincount(light.body, weight, count)
    lit = np.bincount(light.body, weight * light.share, count)
    least = np.ones(count)
    np.minimum.at(least, light.body[weight > 0.0], light.share[weight > 0.0])
    begins = np.searchsorted(light.body, np.arange(count + 1))
    bodies = []
    for k, name in enumerate(check.names):
        body = {"name": name, "mean": lit[k] / area[k] if area[k] > 0.0 else 1.0, "least": least[k]}
        here = slice(begins[k], begins[k + 1])
        bodies.append({**body, "faces": np.round(light.share[here], 4)} if faces else body)
    blind = sum(patch.area_mm2 for patch in check.patches)
    return {
        "directions": light.directions,
        "pixel_mm": light.pixel_mm,
        "sampling_error": light.sampling_error,
        "pixel_error": np.sort(light.pixel_error)[int(0.99 * (len(light.pixel_error) - 1))],
        "limit": check.blind_limit,
        "area_mm2": area.sum(),
        "blind_mm2": blind,
        "blind_share": check.blind_share,
        "bodies": bodies,
        "patches": [
            {
                "body": check.part_names[p.body],
                "at": check.in_job(as_point(p.at)),
                "area_mm2": p.area_mm2,
                "share": p.share,
            }
            for p in check.patches
        ],
    }


def report_text(verb: str, name: str, parts: Sequence[dict[str, Any]]) -> str:
    """Put the parts of one run into the JSON text of report.json."""
    report: dict[str, Any] = {"schema": SCHEMA, "unit": "mm", "verb": verb, "name": name}
    for one in parts:
        report.update(one)
    return json.dumps(_plain(report), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
