"""Straight chains at given pitches, laid without any fit: for the tests of free play."""

import numpy as np

from addon.rules.chain.chain import Chain, JointFit
from addon.rules.chain.families import draw
from addon.rules.chain.path import straight
from addon.rules.chain.pattern import Pattern
from addon.rules.chain.row import row_of, stood
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.sweep import meshes_of
from addon.rules.solid.mesh import Body, Pose


def curb(**sizes):
    """The curb whose figures were seen beforehand."""
    given = {"wire_mm": 2.2, "link_length_mm": 12.2, "link_width_mm": 9.7, "gap_mm": 0.4, **sizes}
    return ChainSpec("curb", **given)


def straight_chain(spec: ChainSpec, pitches, links=8, face="flat", pattern: Pattern | None = None) -> Chain:
    """A straight chain of ``links`` whose joint types have the ``pitches``; its limits of pitch are not known."""
    pattern = draw(spec) if pattern is None else pattern
    row = row_of(pattern, links, closed=False, face=face)
    pitches = np.asarray(pitches, dtype=float)
    path = straight(pitches[row.joint], face)
    rotations, origins = stood(row, path)
    meshes = meshes_of(pattern.links, spec.chord_mm)
    bodies = tuple(
        Body(f"link {k + 1}", meshes[row.kind[k]][0], Pose(rotations[k], origins[k]), meshes[row.kind[k]][1])
        for k in range(links)
    )
    nan = float("nan")
    return Chain(
        spec=spec,
        layout=LayoutSpec("straight", links=links, face=face),
        pattern=pattern,
        row=row,
        bodies=bodies,
        joints=tuple((int(a), int(b)) for a, b in row.linked),
        path=path,
        closed=False,
        fits=tuple(
            JointFit(name, float(p), (p, p), float(p), nan, nan)
            for name, p in zip(pattern.joints, pitches, strict=True)
        ),
        smallest_gap_mm=spec.gap_mm,
        smallest_gap_between=("link 1", "link 2"),
        verified=True,
        worn_inner_length_mm=None,
        printed_inner_length_mm=None,
        pushed_inner_length_mm=None,
        worn_length_mm=None,
        printed_length_mm=None,
        pushed_length_mm=None,
        slack_mm=None,
        asked_mm=None,
        sizes=(),
        radius_mm=None,
        eased_from_mm=None,
    )
