"""report.json: everything one run found, in mm, for people's scripts and other programs."""

import json
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from ..chain.chain import Chain
from ..feed.lattice import Lattice
from ..inspect.finding import Finding
from ..inspect.inspection import Inspection
from ..inspect.layers import Layers

SCHEMA = 1


def inspection_part(inspection: Inspection) -> dict[str, Any]:
    """Give the keys ``bodies`` and ``pairs``."""
    return {
        "bodies": [
            {
                "name": b.name,
                "volume_mm3": b.volume_mm3,
                "area_mm2": b.area_mm2,
                "closed": b.closed,
                "genus": b.genus,
                "bounds_mm": b.bounds_mm,
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
            }
            for p in inspection.pairs
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


def chain_part(chain: Chain) -> dict[str, Any]:
    """Give the key ``chain``: lengths in mm; a closed chain has inner lengths, an open one outer lengths."""
    figures: dict[str, Any] = {
        "family": chain.spec.family,
        "shape": chain.layout.shape,
        "closed": chain.closed,
        "links": len(chain.bodies),
        "pitch_mm": chain.pitch_mm,
        "pitch_interval_mm": chain.pitch_interval_mm,
        "inner_length_mm": chain.worn_inner_length_mm,
        "printed_inner_length_mm": chain.printed_inner_length_mm,
        "pushed_inner_length_mm": chain.pushed_inner_length_mm,
        "length_mm": chain.worn_length_mm,
        "printed_length_mm": chain.printed_length_mm,
        "slack_mm": chain.slack_mm,
        "smallest_gap_mm": chain.smallest_gap_mm,
        "asked_mm": chain.asked_mm,
        "nearby": [{"links": links, "length_mm": length} for links, length in chain.nearby],
    }
    return {"chain": figures}


def lattice_part(lattice: Lattice, volume_mm3: float) -> dict[str, Any]:
    """Give the key ``lattice``: struts from the feed to the body; ``volume_mm3`` of the struts less the bodies."""
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
    return {"lattice": {"struts": struts, "volume_mm3": volume_mm3}}


def layers_part(layers: Layers | None, layer_mm: float) -> dict[str, Any]:
    """Give the key ``layers``: how many of ``layer_mm`` there are, the largest area, and the islands."""
    if layers is None:
        return {}
    widest = int(np.argmax(layers.area_mm2))
    return {
        "layers": {
            "layer_mm": layer_mm,
            "count": len(layers.heights_mm),
            "largest_area_mm2": layers.area_mm2[widest],
            "largest_area_at_mm": layers.heights_mm[widest],
            "islands": [{"at": i.at, "area_mm2": i.area_mm2, "body": i.body} for i in layers.islands],
        }
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
