"""The network of elements freezes as an independent heat solve in three dimensions says: in time and in order.

The reference is `heat_3d.py`, its results pinned in `heat_3d.json`: a pitch of an endless straight curb chain, bare and
with a gate under every link and a ring rod below. Here it is a length of thirteen links, and one with three to one side
is looked at. The design asks for 25 % in time, and what is known of moulds gives no more; until half is solid it comes
nearer. What is solid last is early throughout: thick mould does not know how the mould beside it has warmed. Places
nearer than `APART` in time are not told apart, here as in the rules.
"""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from cast_jobs import cast
from freezing_rods import cases_of, frozen, pinned_figures

from addon.rules.base.progress import finish
from addon.rules.cast.feeding import APART
from addon.rules.cast.network import BUTTON, TRUNK
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.lattice import Lattice, LatticeSolid, Strut
from addon.rules.feed.rods import rod

PINNED = json.loads((Path(__file__).parent / "heat_3d.json").read_text(encoding="utf-8"))
POURS = ("tin-bronze +0 K", "tin-bronze +100 K", "sterling-silver +100 K")
LINKS, LOOKED_AT = 13, 3
CLOSE, CLOSE_AT_LAST = 0.12, 0.22
# From here on two times are clearly not the same.
CLEARLY = 1.1
REACH_MM = 6.0


def solid(role, line, d, feeds=None):
    """Draw a strut through places (k, 3) with diameters (k,); the last piece feeds a body."""
    points = [tuple(float(x) for x in p) for p in line]
    struts = tuple(
        Strut(role, points[k], points[k + 1], d[k], d[k + 1], feeds if k == len(points) - 2 else None)
        for k in range(len(points) - 1)
    )
    return LatticeSolid(role, rod(np.array(points), np.array(d)), struts, d[0] / 4)


@cache
def made(gated: bool):
    """Give the bodies, and network and mould of the length, bare or on its rods."""
    told = PINNED[f"{'gated' if gated else 'chain'} tin-bronze +100 K 0.2 mm"]["inputs"]
    chain = finish(build_chain(ChainSpec(**told["spec"]), LayoutSpec("straight", links=LINKS)))
    bodies = chain.bodies
    if not gated:
        return bodies, *cast(bodies, reach_mm=REACH_MM)
    ring, gate = told["ring"], told["gate"]
    middle = np.array([b.pose.origin for b in bodies])
    out = np.array([1.5 * told["pitch_mm"], 0.0, 0.0])
    low = np.array([0.0, 0.0, ring["axis_z_mm"]])
    solids = [solid("ring", (middle[0] + low - out, middle[-1] + low + out), (ring["d_mm"],) * 2)]
    for body, at in zip(bodies, middle, strict=True):
        heights = (gate["from_z_mm"], gate["tip_from_z_mm"], gate["tip_to_z_mm"])
        line = [at + np.array([0.0, 0.0, z]) for z in heights]
        solids.append(solid("gate", line, (gate["d_mm"], gate["d_mm"], gate["tip_mm"]), body.name))
    plate = float(middle[0, 2] + ring["axis_z_mm"] - ring["d_mm"] / 2)
    network, mould = cast(bodies, Lattice(tuple(solids), plate), reach_mm=REACH_MM)
    # The endless chain has neither trunk nor button: what is thick would keep the ring over it hot.
    own = [k for k, owner in enumerate(network.owners) if owner.kind in (TRUNK, BUTTON)]
    apart = np.isin(network.owner[network.joints], own).any(axis=1)
    return bodies, replace(network, section_mm2=np.where(apart, 0.0, network.section_mm2)), mould


@cache
def froze(gated: bool, pour: str):
    """Give the pinned results, the bodies, the network, and when its elements are half solid."""
    pinned = PINNED[f"{'gated' if gated else 'chain'} {pour} 0.2 mm"]
    bodies, network, mould = made(gated)
    figures = pinned_figures(pinned["inputs"])
    done = frozen(network, mould, cases_of(len(network.at), **figures), longest_s=200.0)
    return pinned, bodies[LOOKED_AT], network, done


def of_kind(network, body, kind):
    """Give the elements of the looked-at link, its gate, or the ring below it."""
    if kind == "ring":
        rows = network.elements_of("ring")
        return rows[np.abs(network.at[rows, 0] - body.pose.origin[0]) <= 4.0]
    names = [o.name if kind == "link" else o.feeds for o in network.owners]
    return network.of_owner(names.index(body.name))


def nearest(network, body, place):
    """Give the element of the looked-at link that is nearest to a pinned place."""
    own = of_kind(network, body, "link")
    return own[np.linalg.norm(network.at[own] - body.pose.origin - place["at_mm"], axis=1).argmin()]


def mean_half(network, done, rows):
    return float(np.average(done.freeze_s[rows, 0], weights=network.volume_mm3[rows]))


@pytest.mark.parametrize("pour", POURS)
@pytest.mark.parametrize("gated", [False, True], ids=["bare", "gated"])
def test_times_to_half_solid_and_to_the_last_are_close(gated, pour):
    pinned, body, network, done = froze(gated, pour)
    for kind, told in pinned["bodies"].items():
        rows = of_kind(network, body, kind)
        assert mean_half(network, done, rows) == pytest.approx(told["half_solid_s"], rel=CLOSE), kind
        assert done.solid_s[rows, 0].max() == pytest.approx(told["last_solid_s"], rel=CLOSE_AT_LAST), kind
    for place in pinned["round_the_link"]:
        assert done.freeze_s[nearest(network, body, place), 0] == pytest.approx(place["half_solid_s"], rel=CLOSE)


@pytest.mark.parametrize("pour", POURS)
def test_the_order_is_from_the_far_flank_to_the_ring(pour):
    """Far flank, crowns in the joints, near flank, gate, ring: as in three dimensions."""
    pinned, body, network, done = froze(True, pour)
    around = {place["share"]: place for place in pinned["round_the_link"]}
    places = [around[share] for share in (0.25, 0.0, 0.75)]
    ours = [done.freeze_s[nearest(network, body, place), 0] for place in places]
    ours += [mean_half(network, done, of_kind(network, body, kind)) for kind in ("gate", "ring")]
    theirs = [place["half_solid_s"] for place in places]
    theirs += [pinned["bodies"][kind]["half_solid_s"] for kind in ("gate", "ring")]
    assert theirs == sorted(theirs)
    for early in range(len(ours)):
        for late in range(early + 1, len(ours)):
            assert ours[late] > (1.0 - APART) * ours[early]
            if theirs[late] > CLEARLY * theirs[early]:
                assert ours[late] > ours[early]
