"""Findings about free play: does the chain bend as far as its printed layout and its wearer ask of it."""

import numpy as np

from ..chain.chain import Chain
from ..chain.play import FreePlay, JointPlay
from ..chain.tightest import types_between
from ..solid.mesh import FloatArray, IntArray
from .finding import Finding

# Free play is found to a tenth of a degree; a radius that differs by less than this share is the same.
SAME_DEG = 0.1
SAME_SHARE = 1e-3
WAYS = ("over the face", "edgewise")


def play_findings(chain: Chain, play: FreePlay) -> tuple[Finding, ...]:
    """Stop a chain whose printed layout, or the curve it is worn on, asks more bend of a joint than it gives."""
    return (*_printed(chain, play), *_worn(chain, play))


def _printed(chain: Chain, play: FreePlay) -> tuple[Finding, ...]:
    """Compare the bends of the layout with those each type of joint gives at its best slide."""
    if not play.joints or len(chain.row.joint) == 0:
        return ()
    ends, bends = _bends_deg(chain)
    found = []
    for way, asked in enumerate(bends.T):
        given = _given_deg(chain, play.joints, way)[np.where(asked >= 0, 1, 0), chain.row.joint]
        lacks = np.abs(asked) - given
        worst = int((lacks > lacks.max() - SAME_DEG / 100).argmax())
        if lacks[worst] <= SAME_DEG:
            continue
        a, b = ends[worst]
        names = (chain.bodies[a].name, chain.bodies[b].name)
        radius = play.least_radius_mm[way]
        wider = f"on a curve of at least {radius:.1f} mm radius" if np.isfinite(radius) else "straight"
        text = (
            f"the layout bends the joint of {names[0]} and {names[1]} by {abs(asked[worst]):.1f} deg {WAYS[way]}; it "
            f"gives {given[worst]:.1f} before metal meets metal, {lacks[worst]:.1f} too few: lay the chain {wider}, "
            f"or take a thinner wire or a wider link"
        )
        x, y, z = (chain.bodies[a].pose.origin + chain.bodies[b].pose.origin) / 2
        value, limit = float(abs(asked[worst])), float(given[worst])
        found.append(Finding("free-play", "stop", names, text, (float(x), float(y), float(z)), value, limit))
    return tuple(found)


def _worn(chain: Chain, play: FreePlay) -> tuple[Finding, ...]:
    """Compare the circle the chain is worn on with the tightest it can lie on, face outward."""
    inner, least = chain.worn_inner_length_mm, play.least_radius_mm[0]
    if inner is None or not play.joints:
        return ()
    depth = _depth_mm(chain)
    radius = inner / (2 * np.pi) + depth
    if radius >= least * (1 - SAME_SHARE):
        return ()
    if np.isfinite(least):
        longest = float(max(fit.pitch_mm for fit in chain.fits))
        asked, given = (float(np.degrees(2 * np.arcsin(min(1.0, longest / (2 * r))))) for r in (radius, least))
        text = (
            f"worn round at {inner:.1f} mm inside, the chain bends {asked:.1f} deg a joint over the face; it gives "
            f"{given:.1f} before links meet, {asked - given:.1f} too few: ask for at least "
            f"{2 * np.pi * (least - depth):.0f} mm inside, or take shorter links, a thinner wire or a wider link"
        )
    else:
        text = (
            f"worn round at {inner:.1f} mm inside, the chain must bend over the face, and its links meet at once: take "
            f"a thinner wire, a wider link or a larger gap"
        )
    return (Finding("free-play", "stop", (), text, value=float(radius), limit=float(least)),)


def _bends_deg(chain: Chain) -> tuple[IntArray, FloatArray]:
    """Give the bodies (j, 2) either side of every joint from station to station, and its bends (j, 2) as laid out."""
    row = chain.row
    first = np.searchsorted(row.station, np.arange(row.stations))
    ends = np.stack((first, np.roll(first, -1)), axis=1)[: len(row.joint)]
    here, there = (chain.path.rotations[ends[:, side]] for side in (0, 1))
    ahead = np.einsum("nij,ni->nj", here, there[:, :, 0])
    over, edgewise = np.arctan2(-ahead[:, 2], ahead[:, 0]), np.arctan2(ahead[:, 1], ahead[:, 0])
    return ends, np.degrees(np.stack((over, edgewise), axis=1))


def _given_deg(chain: Chain, joints: tuple[JointPlay, ...], way: int) -> FloatArray:
    """Give how far each type of joint bends, (2, t): to the negative side, and to the positive.

    A type that was not moved itself, of a tapered chain, is taken to give the least of those that were.
    """
    number = {body.name: i for i, body in enumerate(chain.bodies)}
    given = np.full((2, len(chain.fits)), np.inf)
    moved = np.zeros(len(chain.fits), dtype=np.bool_)
    for joint in joints:
        types = types_between(chain.row, number[joint.of[0]], number[joint.of[1]])
        if len(types) == 1:
            low, high = joint.best_bend_z_deg if way else joint.best_bend_y_deg
            given[:, types[0]] = np.minimum(given[:, types[0]], (-low, high))
            moved[types[0]] = True
    given[:, ~moved] = given.min(axis=1, keepdims=True)
    return given


def _depth_mm(chain: Chain) -> float:
    """Give how far the metal of the links reaches inward from the chain's axis, face outward."""
    inward = [
        -((body.points() - place) @ frame[:, 2]).min()
        for body, place, frame in zip(
            chain.bodies[: chain.links], chain.path.origins, chain.path.rotations, strict=False
        )
    ]
    return float(max(inward))
