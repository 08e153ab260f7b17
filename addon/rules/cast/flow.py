"""Pressures and flows in the network at one time: metal in what is full, mould gas in what is still empty.

Every element is a node with one pressure over that outside the flask. Between full elements metal flows, between empty
ones gas, which leaves through the mould around them; where they meet, metal that enters drives out as much gas, as
incompressible. So gas that has another way out, by a second gate for one, needs no rule of its own.

Metal in a joint: dp = friction + losses + inertia. Friction is laminar (Hagen, Poiseuille) or by Blasius' factor,
whichever is more, so that it has no jump. Where a bore widens, what Borda and Carnot give is lost; at a front the metal
carries its velocity head with it, and the surface tension of metal that does not wet holds it back. Inertia counts
while metal gains speed; the blow as a front closes is left out, since gas and mould soften it and it lasts no time.
Newton's rounds for what goes with the square of the flow, all joints together in each (after H. Cross, 1936).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import FloatArray, IntArray
from .cases import Cases, Sized
from .elimination import Elimination, solve
from .hydraulics import gas_let_out, laminar_drop, turbulent_drop, velocity_head, widening_loss
from .network import Network

BoolArray = npt.NDArray[np.bool_]

# Molten silver, gold and copper alloys near their liquidus; from memory (4 to 6).
VISCOSITY_PA_S = 5e-3
# Air at the temperature of a flask, about 900 K; from memory.
GAS_VISCOSITY_PA_S = 4e-5
# From the cavity to where the gas is free: cracks, the flask's end, its holes. Our judgement; it enters as a logarithm.
GAS_DEPTH_MM = 6.0
# Gas creeps out between mould and metal that does not wet it: so much of an element's surface lets out to the last.
LEAST_LEAK = 0.3
ROUNDS = 6
# Flows may change so much in the last round, as a share of the largest.
AGREE = 0.05
# Metal is slowing down that keeps less than this share of its speed in a step.
SLOWER = 0.999
# A leak of all metal, as a share of what it passes, so that metal that nothing feeds has a pressure too.
_LEAK = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """The ends of m joints by element, to sum over all joints of an element.

    An end has number k at the first element of joint k, m + k at its second. ``one`` and ``other`` (n,): two ends of
    each element, 2 m in place of what is not there; ``further`` ends of ``crossings``, whose begin at ``begins``.
    """

    one: IntArray
    other: IntArray
    further: IntArray
    crossings: IntArray
    begins: IntArray

    @classmethod
    def of_joints(cls, count: int, joints: IntArray) -> "Ends":
        """Sort the ends of joints (m, 2) among ``count`` elements."""
        element = joints.T.ravel()
        order = np.argsort(element, kind="stable")
        begin = np.searchsorted(element[order], np.arange(count + 1))
        degree = np.diff(begin)
        padded = np.append(order, np.full(2, len(element)))
        one, other = (np.where(degree > k, padded[begin[:-1] + k], len(element)) for k in range(2))
        place = np.arange(len(element)) - begin[element[order]]
        further = place >= 2
        crossings, begins = np.unique(element[order][further], return_index=True)
        return cls(one, other, order[further], crossings, begins)

    def sums(self, at_first: FloatArray, at_second: FloatArray) -> FloatArray:
        """Sum what stands at the first and second ends of joints, (m, b) each, over every element: (n, b)."""
        ends = np.concatenate((at_first, at_second, np.zeros((1, at_first.shape[1]))))
        result = ends[self.one]
        result += ends[self.other]
        if len(self.crossings):
            result[self.crossings] += np.add.reduceat(ends[self.further], self.begins, axis=0)
        return result


@dataclass(frozen=True, slots=True, eq=False)
class Channels:
    """What joints and elements do to a flow in every case. mm, s, Pa; flows in mm3/s from a joint's first element.

    ``drop_pa`` (m, b) the weight from first to second. ``laminar`` and ``turbulent`` (m, b): drops at unit flow for a
    viscosity of 1 Pa s. ``losses`` (2, m, b): by the square of a flow forth and back. ``velocity`` (2, m, b): the same
    for the head of a front in the second and in the first element; ``tension_pa`` (2, m, b) what holds it back there.
    ``inertia`` (m, b). ``gas`` (m, b) and ``leak`` (n, b): mm3/s per Pa. ``root_pa`` (b,) with the cone full,
    ``standing_pa`` (n, b) what metal that stands would then have everywhere.
    """

    plan: Elimination
    ends: Ends
    joints: IntArray
    section_mm2: FloatArray
    drop_pa: FloatArray
    laminar: FloatArray
    turbulent: FloatArray
    losses: FloatArray
    velocity: FloatArray
    tension_pa: FloatArray
    inertia: FloatArray
    gas: FloatArray
    leak: FloatArray
    root: int
    root_pa: FloatArray
    standing_pa: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """How far metal has come: ``filled`` (n, b) share, ``full`` (n, b), ``shut`` (n, b) nothing moves in it any more.

    ``stood`` (m, b): joints whose front stands for good. ``runs`` (n, b): a full element whose metal can still run into
    an empty one. ``viscosity`` (n, b) Pa s, where there is no metal that of what will come. ``excess_mm3`` (n, b): what
    a full element holds too much. ``supply_mm3_s`` (b,): most that the root can give. ``coming_mm3_s`` (n, b): what
    came into an element in the last step.
    """

    filled: FloatArray
    full: BoolArray
    shut: BoolArray
    stood: BoolArray
    runs: BoolArray
    viscosity: FloatArray
    excess_mm3: FloatArray
    supply_mm3_s: FloatArray
    coming_mm3_s: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """Metal's flow (m, b) mm3/s, pressures (n, b) Pa of metal or gas.

    ``front`` (m, b): 1 where metal may run into the second element, -1 into the first; ``held`` (m, b) where its
    pressure does not suffice; ``slows`` (m, b) where it ran faster before. ``limited`` (b,): the root gives all it can
    and is not full.
    """

    mm3_s: FloatArray
    pa: FloatArray
    front: npt.NDArray[np.int8]
    held: BoolArray
    slows: BoolArray
    limited: BoolArray


def channels(network: Network, sizes: Sized, cases: Cases, plan: Elimination) -> Channels:
    """Work out the joints and elements of a network for the cases."""
    joints = network.joints
    first, second = joints.T
    rho = cases.liquid_g_cm3 * 1000.0
    section = np.maximum(sizes.section_mm2, 1e-9)
    is_open = sizes.section_mm2 > 0.0
    whole = sizes.length_mm[first] + sizes.length_mm[second]
    mouth = np.sqrt(4.0 / np.pi * section)
    within = np.minimum(sizes.path_mm, whole / 2.0)
    areas = [np.maximum(sizes.volume_mm3[end] / sizes.length_mm[end], section) for end in (first, second)]
    # Half of each element, and between them what neither of them reaches, as wide as the joint.
    pieces = [
        (sizes.bore_mm[end], area, within * sizes.length_mm[end] / whole)
        for end, area in zip((first, second), areas, strict=True)
    ]
    pieces.append((mouth, section, sizes.path_mm - within))
    laminar, turbulent, inertia = (np.zeros_like(section) for _ in range(3))
    for bore, area, length in pieces:
        laminar += laminar_drop(length, bore, area)
        turbulent += turbulent_drop(rho, length, bore, area)
        inertia += rho * 1e-6 * length / area
    head = velocity_head(rho, section)
    loss = network.loss[:, None]
    losses = np.stack([head * (loss + widening_loss(section, area)) for area in (areas[1], areas[0])])
    velocity = np.stack([velocity_head(rho, area) for area in (areas[1], areas[0])])
    tension = np.stack([4e3 * cases.tension_n_m / np.minimum(sizes.bore_mm[end], mouth) for end in (second, first)])
    bores = np.minimum(sizes.bore_mm[first], sizes.bore_mm[second])
    gas = np.where(is_open, section * bores**2 / (32.0 * GAS_VISCOSITY_PA_S * sizes.path_mm), 0.0)
    lets_out = gas_let_out(cases.permeability_m2, GAS_VISCOSITY_PA_S, sizes.bore_mm, GAS_DEPTH_MM)
    leak = sizes.cooling_mm2 * lets_out
    standing = cases.push_kpa * 1000.0 + rho * cases.pull_m_s2 * 1e-3 * network.depth_mm[:, None]
    return Channels(
        plan=plan,
        ends=Ends.of_joints(len(sizes.volume_mm3), joints),
        joints=joints,
        section_mm2=sizes.section_mm2,
        drop_pa=rho * cases.pull_m_s2 * 1e-3 * (network.depth_mm[second] - network.depth_mm[first])[:, None],
        laminar=laminar,
        turbulent=turbulent,
        losses=losses,
        velocity=velocity,
        tension_pa=tension,
        inertia=inertia,
        gas=gas,
        leak=leak,
        root=network.root,
        root_pa=standing[network.root],
        standing_pa=standing,
    )


def at_rest(ways: Channels) -> Flow:
    """Give a network in which nothing flows yet."""
    m, b = ways.drop_pa.shape
    none = np.zeros((m, b), dtype=bool)
    return Flow(
        np.zeros((m, b)), np.zeros_like(ways.leak), np.zeros((m, b), dtype=np.int8), none, none, np.zeros(b, dtype=bool)
    )


def flow_step(ways: Channels, before: Flow, metal: Reach, seconds: FloatArray) -> Flow:
    """Give the flow of metal at the end of a step of ``seconds`` (b,) that began with the flow ``before``.

    No metal flows back out of a front, none passes what is shut, and no more leaves the root than it has.
    """
    first, second = ways.joints.T
    is_open = ways.section_mm2 > 0.0
    full_1, full_2 = metal.full[first], metal.full[second]
    free = is_open & ~metal.shut[first] & ~metal.shut[second] & ~metal.stood
    between = free & full_1 & full_2
    forth, back = free & metal.runs[first] & ~full_2, free & metal.runs[second] & ~full_1
    fronts = forth | back
    to_gas = np.where(is_open & ~full_1 & ~full_2, ways.gas, 0.0)
    gas_leak = np.where(metal.full, 0.0, ways.leak * np.maximum(1.0 - metal.filled, LEAST_LEAK))
    traces = np.where(metal.full, 1.0 + _LEAK, 1.0)
    mu = 0.5 * (metal.viscosity[first] + metal.viscosity[second])
    laminar, turbulent = ways.laminar * mu, ways.turbulent * np.sqrt(np.sqrt(mu))
    front_head = np.where(forth, ways.velocity[0], np.where(back, ways.velocity[1], 0.0))
    driving = ways.drop_pa - np.where(forth, ways.tension_pa[0], 0.0) + np.where(back, ways.tension_pa[1], 0.0)
    # A front that has just come to a joint brings its speed with it: it has not to be set in motion again.
    was = before.mm3_s.copy()
    _arrive(ways, was, metal.coming_mm3_s, fronts, forth, ~before.held)
    inertia = ways.inertia / seconds
    given = metal.excess_mm3 / seconds  # What is too much goes back or on.
    given[ways.root] = 0.0

    held = before.held & fronts
    slows = before.slows
    guess, limited, busy = was, before.limited, np.ones(len(seconds), dtype=bool)
    flow, pa = np.zeros_like(was), before.pa
    for round_ in range(ROUNDS):
        moving = between | (fronts & ~held)
        size = np.abs(guess)
        root = np.sqrt(size)
        rough = turbulent * root * np.sqrt(root)
        is_rough = rough > laminar
        loss = (np.where(guess >= 0.0, ways.losses[0], ways.losses[1]) + front_head) * size
        held_back = np.where(slows, 0.0, inertia)
        slope = np.where(is_rough, 1.75 * rough, laminar) + 2.0 * loss + held_back
        rest = np.where(is_rough, 0.75 * rough, 0.0) * guess + loss * guess + held_back * was
        passing = np.where(moving, 1.0 / slope, 0.0)
        pushed = passing * (driving + rest)
        answer = _pressures(ways, passing + to_gas, pushed, traces, gas_leak, given, limited, metal.supply_mm3_s)
        fall = answer[first] - answer[second]
        found = passing * fall + pushed
        # Gas and metal that stand: the front opens when what drives it is more than what holds it.
        opens = held & np.where(forth, fall + driving > 0.0, fall + driving < 0.0)
        wrong = moving & ((forth & (found < 0.0)) | (back & (found > 0.0)))
        out = _out_of_root(ways, found)
        over = ~limited & (out > metal.supply_mm3_s * (1.0 + 1e-9))
        above = limited & (answer[ways.root] > ways.root_pa * (1.0 + 1e-9))
        off = np.abs(found - guess).max(axis=0) > AGREE * np.abs(found).max(axis=0)
        flow, pa = np.where(busy, found, flow), np.where(busy, answer, pa)
        if round_ == 0:
            held = np.where(busy & opens, False, held)
        held = held | (busy & wrong)
        limited = np.where(busy, (limited | over) & ~above, limited)
        busy = busy & (off | over | above | wrong.any(axis=0) | (opens.any(axis=0) & (round_ == 0)))
        if not busy.any():
            break
        guess = np.where(busy, np.where(wrong, 0.0, found), guess)
        slows = np.where(busy, np.abs(guess) < SLOWER * np.abs(was), slows)
    flow = np.where(held, 0.0, flow)
    front = forth.astype(np.int8) - back.astype(np.int8)
    return Flow(flow, pa, front, held, np.abs(flow) < SLOWER * np.abs(was), limited)


def _pressures(
    ways: Channels,
    passing: FloatArray,
    pushed: FloatArray,
    traces: FloatArray,
    leak: FloatArray,
    given: FloatArray,
    limited: BoolArray,
    supply: FloatArray,
) -> FloatArray:
    """Solve for the pressures (n, b): what comes to an element leaves it again."""
    sums = ways.ends.sums(passing, passing)
    diagonal = sums * traces + leak
    diagonal[diagonal <= 0.0] = 1.0
    right = given - ways.ends.sums(pushed, -pushed)
    forward, backward = -passing, -passing.copy()
    root = ways.root
    right[root] = np.where(limited, right[root] + supply, ways.root_pa)
    diagonal[root] = np.where(limited, diagonal[root], 1.0)
    at_first, at_second = ways.joints[:, 0] == root, ways.joints[:, 1] == root
    forward[at_first] *= limited
    backward[at_second] *= limited
    return solve(ways.plan, diagonal, forward, backward, right)


def _out_of_root(ways: Channels, flow: FloatArray) -> FloatArray:
    at_first, at_second = ways.joints[:, 0] == ways.root, ways.joints[:, 1] == ways.root
    return np.asarray(flow[at_first].sum(axis=0) - flow[at_second].sum(axis=0))


def _arrive(
    ways: Channels, flow: FloatArray, coming: FloatArray, fronts: BoolArray, forth: BoolArray, is_new: BoolArray
) -> None:
    """Set the flow (m, b) of fronts without one to what comes to their element from behind, shared among its fronts."""
    joint, case = np.nonzero(fronts)
    ahead = forth[joint, case]
    behind = np.where(ahead, ways.joints[joint, 0], ways.joints[joint, 1])
    section = ways.section_mm2[joint, case]
    whole = np.zeros_like(coming)
    np.add.at(whole, (behind, case), section)
    share = np.where(ahead, 1.0, -1.0) * coming[behind, case] * section / whole[behind, case]
    fresh = (flow[joint, case] == 0.0) & is_new[joint, case]
    flow[joint[fresh], case[fresh]] = share[fresh]
