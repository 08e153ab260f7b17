"""What to say where a curve bends more tightly than the joints of a chain."""

import numpy as np

from ..base.errors import CannotBuild
from ..solid.mesh import FloatArray
from .bending import least_radius_mm
from .measure import Measure
from .path import Path, bends_rad
from .pattern import Pattern
from .row import Row
from .spec import ChainSpec, LayoutSpec


def bent_too_far(
    spec: ChainSpec,
    layout: LayoutSpec,
    pattern: Pattern,
    measure: Measure,
    row: Row,
    path: Path,
    pitches_mm: FloatArray,
    at: tuple[int, int],
) -> CannotBuild:
    """Say where a curve bends so tightly that bodies ``at`` meet, how tightly, and which radius would do there."""
    bends = bends_rad(path)
    first, last = (int(row.station[body]) for body in at)
    joints = np.arange(first, last) if 2 * (last - first) <= row.stations else np.arange(last, first + row.stations)
    joints = np.unique(np.concatenate((joints, joints + 1, joints - 1)) % row.stations if row.closed else joints)
    turned = np.linalg.norm(bends[joints, 1:], axis=1)
    worst = int(joints[int(turned.argmax())])
    chord = path.origins[(worst + 1) % row.stations] - path.origins[worst]
    x, y, z = path.origins[worst] + chord / 2
    radius = float(np.linalg.norm(chord) / (2 * np.sin(max(float(turned.max()), 1e-6) / 2)))
    over = bool(abs(bends[worst, 1]) >= abs(bends[worst, 2]))
    needed = least_radius_mm(
        measure,
        pattern,
        pitches_mm,
        spec.gap_mm,
        links=len(row.kind),
        face=layout.face,
        over_face=over,
        both=not layout.cyclic,
    )
    pair = " and ".join(f"link {body + 1}" for body in at)
    where = f"layout.points: the curve bends too tightly near ({x:.1f}, {y:.1f}, {z:.1f}), between {pair}: "
    if not np.isfinite(needed):
        return CannotBuild(
            f"{where}the joints of this chain keep {spec.gap_mm:g} mm straight but not on a bend; ask for a smaller "
            "gap_mm, or lay the chain straight"
        )
    return CannotBuild(
        f"{where}its radius there is about {radius:.1f} mm, and this link needs {np.ceil(needed * 10) / 10:.1f} mm or "
        f"more to keep {spec.gap_mm:g} mm; open that bend or take a smaller link"
    )
