"""What the maker's keep-outs, and starts inside joints, mean for the lattice."""

from collections.abc import Sequence

from ..inspect.finding import Finding
from ..solid.mesh import Body, FloatArray
from .anchors import Anchors
from .explain import entry
from .keep_out import keep_out
from .lattice import Lattice, place
from .spec import FeedSpec


def anchor_findings(bodies: Sequence[Body], found: Sequence[Anchors], view: FloatArray) -> list[Finding]:
    """Say which bodies the maker closes to gates, whose start he keeps out, and whose start lies in a joint.

    ``found`` the anchors of the bodies seen in ``view`` (3,). From above only the first is told: a print begins below.
    """
    from_above = bool(view[2] < 0)
    kinds: dict[str, list[int]] = {}
    for k, one in enumerate(found):
        if one.closed:
            kinds.setdefault("closed", []).append(k)
        elif one.kept_out.any() and not from_above:
            kinds.setdefault("start", []).append(k)
        elif one.in_joint[: one.holds].any() and not from_above:
            kinds.setdefault("joint", []).append(k)
    told = []
    for kind, rows in kinds.items():
        first = rows[0]
        who = bodies[first].name if len(rows) == 1 else f"{bodies[first].name} and {len(rows) - 1} more"
        code, severity, text = _TEXTS[kind]
        if kind == "closed" and from_above:
            code, severity, text = _TEXTS["closed above"]
        marked = found[first].in_joint if kind == "joint" else found[first].kept_out
        row = int(marked.argmax())
        names = tuple(bodies[k].name for k in rows)
        told.append(Finding(code, severity, names, f"{who}: {text}", at=place(found[first].points[row] * view)))
    return told


def kept_out_gates(bodies: Sequence[Body], lattice: Lattice, spec: FeedSpec) -> list[Finding]:
    """Find the gates of any lattice, planned or edited, whose tips reach into what the maker keeps out."""
    number = {body.name: k for k, body in enumerate(bodies)}
    found = []
    for above in (False, True):
        kept = keep_out(bodies, spec, above=above)
        for gate in lattice.solids if kept else ():
            tip = next((s for s in gate.struts if s.feeds in number), None)
            if tip is None or tip.feeds is None or gate.above != above:
                continue
            body = bodies[number[tip.feeds]]
            met = entry(body.placed().corners(), tip)
            if met is None:
                continue
            local = (met[0] - body.pose.origin) @ body.pose.rotation
            room = float(kept.to_marked(body, local[None])[0]) - tip.d_end_mm / 2
            if room < 0.0:
                text = (
                    f"a gate of {body.name} reaches {-room:.2f} mm into a part you keep out; move it, or make its tip "
                    "thinner"
                )
                found.append(Finding("strut-near", "stop", (body.name,), text, at=tip.end, value=room, limit=0.0))
    return found


_TEXTS = {
    "closed": (
        "no-gate",
        "stop",
        "every place where a gate could enter from below is kept out, so it stays without metal; free a part of it, or "
        "turn it so that a free part looks down",
    ),
    "closed above": (
        "strut-unrouted",
        "warn",
        "every place where a gate could enter from above is kept out, so the upper ring does not feed it; free a part "
        "of it",
    ),
    "start": (
        "island",
        "warn",
        "printing begins where you keep gates out, so its gate stands beside that place and the start hangs in the "
        "air; free it, or turn the link so that another part comes lowest",
    ),
    "joint": (
        "free-play",
        "note",
        "printing begins inside a joint, so its gate must stand there; file that stub flush, or turn the link",
    ),
}
