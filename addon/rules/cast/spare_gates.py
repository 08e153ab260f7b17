"""Gates that are not there: where links with one gate would get another."""

from collections.abc import Sequence

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .nearest_element import Elements
from .network import LINK, Owner
from .part import Part


def spare_gates(
    parts: Sequence[Part], owners: Sequence[Owner], elements: Elements, joints: IntArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Give joints (s, 2) from ring to link for links with one gate, with section and length as of that gate.

    ``joints`` are those that stand. The section is what conducts as shaft and tip after each other do. Each leads
    from the nearest ring element to the link's element farthest from where it is fed.
    """
    of_gate: dict[str, list[int]] = {}
    for k, owner in enumerate(owners):
        if owner.kind == "gate" and owner.feeds is not None:
            of_gate.setdefault(owner.feeds, []).append(k)
    owner_of = np.repeat(np.arange(len(parts)), np.diff(elements.first))
    rings = np.flatnonzero(np.array([owners[k].kind in ("ring", "upper") for k in owner_of], dtype=bool))
    first, second = owner_of[joints.reshape(-1, 2)].T
    found, sections, paths = [], [], []
    for k, owner in enumerate(owners):
        gates = of_gate.get(owner.name, [])
        if owner.kind != LINK or len(gates) != 1 or not len(rings):
            continue
        gate = gates[0]
        fed = np.flatnonzero((first == gate) & (second == k))
        if not len(fed):
            continue
        at = parts[k].at
        far = int(((at - elements.at[joints[fed[0], 1]]) ** 2).sum(axis=1).argmax())
        ring = rings[((elements.at[rings] - at[far]) ** 2).sum(axis=1).argmin()]
        found.append((int(ring), int(elements.first[k]) + far))
        length = parts[gate].length_mm
        sections.append(float(length.sum() / (length / parts[gate].section_mm2).sum()))
        paths.append(float(length.sum()))
    return np.array(found, dtype=np.int64).reshape(-1, 2), np.array(sections), np.array(paths)
