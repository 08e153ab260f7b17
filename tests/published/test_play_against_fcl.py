"""Free play against python-fcl (the Flexible Collision Library, a general collision library).

Its collide is asked step by step along every motion, on the very triangles that are built, then bisected between the
last free step and the first that meets. The motions are written out here anew, in the world.
"""

import math

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.chain.play import free_play
from addon.rules.chain.spec import ChainSpec
from tests.gap_shapes import turn_about
from tests.straight_chains import curb, straight_chain

fcl = pytest.importorskip("fcl")

STEP_DEG, STEP_MM = 1.0, 0.05
MOST_DEG, MOST_MM = 180.0, 12.0
ROUNDS = 12
# What free play promises.
NEAR_DEG, NEAR_MM = 0.1, 0.01

# Chains at pitches that leave their joints free, and how many kinds of joint each has: twelve in all.
CHAINS = {
    "curb": (curb(chord_mm=0.12), [6.8], "flat", 1),
    "curb, close": (curb(chord_mm=0.12), [6.4], "out", 1),
    "long narrow curb": (ChainSpec("curb", 1.8, 14.0, 7.4, 0.3, chord_mm=0.12), [8.6], "flat", 1),
    "curb with facets": (curb(chord_mm=0.12, facet_mm=0.3), [6.9], "flat", 1),
    "trace": (ChainSpec("trace", 2.0, 12.0, 8.0, 0.4, chord_mm=0.12), [7.0], "out", 1),
    "trace laid flat": (ChainSpec("trace", 1.6, 10.0, 7.5, 0.4, chord_mm=0.12), [5.9], "flat", 1),
    "belcher": (
        ChainSpec("belcher", 1.6, 10.0, 9.0, 0.4, chord_mm=0.12, section="D", wire_width_mm=2.4),
        [5.9],
        "out",
        1,
    ),
    "figaro": (
        ChainSpec("figaro", 1.5, 8.0, 6.5, 0.3, long_link_mm=13.0, chord_mm=0.12),
        [4.4, 6.6],
        "flat",
        3,
    ),
    "box": (
        ChainSpec("box", 1.2, 9.0, 8.0, 0.3, chord_mm=0.12, section="rectangle", wire_width_mm=3.0),
        [5.1],
        "out",
        1,
    ),
    "anchor": (ChainSpec("anchor", 2.0, 17.0, 11.0, 0.3, chord_mm=0.12), [10.9], "out", 1),
}


class Joint:
    """Two bodies of a chain, and the point midway between their centres."""

    def __init__(self, first, second):
        self.first, self.second = first, second
        self.middle = (first.pose.origin + second.pose.origin) / 2
        self.models = [self._model(body.mesh) for body in (first, second)]

    @staticmethod
    def _model(mesh):
        made = fcl.BVHModel()
        made.beginModel(len(mesh.points), len(mesh.triangles))
        made.addSubModel(mesh.points, mesh.triangles)
        made.endModel()
        return made

    def meets(self, *, slide=0.0, axis=(1.0, 0.0, 0.0), angle=0.0):
        """Whether the metal meets with the links slid apart, then the second turned about the point midway."""
        half = np.array([slide / 2, 0.0, 0.0])
        turn = turn_about(axis, angle)
        place = turn @ (self.second.pose.origin + half - self.middle) + self.middle
        one = fcl.CollisionObject(
            self.models[0], fcl.Transform(self.first.pose.rotation, self.first.pose.origin - half)
        )
        other = fcl.CollisionObject(self.models[1], fcl.Transform(turn @ self.second.pose.rotation, place))
        return bool(fcl.collide(one, other, fcl.CollisionRequest(), fcl.CollisionResult()))


def first_meeting(meets, step, most):
    """Stepped, then bisected."""
    free = 0.0
    while not meets(free + step):
        free += step
        if free > most:
            return math.inf
    low, high = free, free + step
    for _ in range(ROUNDS):
        middle = (low + high) / 2
        low, high = (low, middle) if meets(middle) else (middle, high)
    return high


def expected(joint, axis, sign, slide=0.0):
    turned = first_meeting(
        lambda angle: joint.meets(slide=slide, axis=axis, angle=math.radians(sign * angle)), STEP_DEG, MOST_DEG
    )
    return sign * turned


@pytest.mark.parametrize("name", CHAINS)
def test_twelve_joints(name):
    spec, pitches, face, kinds = CHAINS[name]
    chain = straight_chain(spec, pitches, face=face)
    plays = finish(free_play(chain)).joints
    assert len(plays) == kinds
    bodies = {body.name: body for body in chain.bodies}
    # x along the chain, y across the width, z normal to the face: which stands upright, or the face lies up.
    along, across, normal = np.eye(3) if face == "flat" else np.array([(1.0, 0, 0), (0, 0, 1.0), (0, -1.0, 0)])
    for play in plays:
        joint = Joint(*(bodies[body] for body in play.of))
        assert not joint.meets()
        out, back = (
            first_meeting(lambda s, j=joint, way=way: j.meets(slide=way * s), STEP_MM, MOST_MM) for way in (1, -1)
        )
        assert play.slide_mm == pytest.approx((out, -back), abs=NEAR_MM)
        for told, slides, axis in (
            (play.twist_deg, (0.0, 0.0), along),
            (play.bend_y_deg, (0.0, 0.0), across),
            (play.bend_z_deg, (0.0, 0.0), normal),
            (play.best_bend_y_deg, play.best_slide_y_mm, across),
            (play.best_bend_z_deg, play.best_slide_z_mm, normal),
        ):
            for value, slide, sign in zip(told, slides, (-1, 1), strict=True):
                assert value == pytest.approx(expected(joint, tuple(axis), sign, slide), abs=NEAR_DEG)
