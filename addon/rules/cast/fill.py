"""Filling: metal runs from the button through the network and cools, until all is full or every front stands.

In every step the flow is worked out from where the metal is (`flow`), what flowed is moved, and the heat goes with it,
along the metal and into the mould (`running_heat`, `mould_law`). A front is an element that is being filled. It stands
for good once so much of it is solid that it no longer runs (M. Flemings, Solidification Processing, 1974: most of it in
alloys that freeze at one temperature, 0.2 to 0.5 in those that freeze over a range). Each case has its own clock.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from ..solid.mesh import FloatArray
from .cases import Cases, Sized, sized
from .elimination import Elimination, elimination
from .enthalpy import heat_at, heat_content, solid_share, temperature_at
from .flow import VISCOSITY_PA_S, BoolArray, Channels, Flow, Reach, at_rest, channels, flow_step
from .mould_around import Surroundings, surroundings
from .mould_law import MouldState, advance, held_j, pull
from .mould_law import at_rest as mould_at_rest
from .network import Mould, Network
from .reached import reached
from .running_heat import Running, running_heat

# Why an element is not full: the metal froze, its pressure did not suffice, gas held it up, or nothing came near.
FULL, SOLID, PRESSURE, GAS, NOT_REACHED = range(5)

# The share solid at which a front stands: skin-freezing below the first range in K, mushy above the second. Flemings
# gives 0.2 to 0.5 for mushy alloys; the ranges are our judgement.
STANDS = (0.5, 0.3)
STANDS_RANGE_K = (30.0, 120.0)
# The share solid at which grains lock and nothing moves (from memory, 0.6 to 0.7), and the power by which viscosity
# rises on the way there (I. Krieger, T. Dougherty, Trans. Soc. Rheol. 3, 1959).
LOCKED = 0.65
THICKENS = 2.5 * LOCKED

# Steps: in so many even ones the metal comes in; finer, down to a share of an even one, where a front would pass more
# than so many elements; no more than so much longer than the last; the longest in s and as a share of the time gone
# by. A case takes at most so many times the steps asked for.
STEPS = 60
ELEMENTS = 2.5
FINEST = 0.25
GROWTH = 1.5
LONGEST_STEP_S = 0.02
LONGEST_STEP = 0.03
LONGEST_S = 20.0
MOST_STEPS = 15
# A case has come to rest when for a share of the time gone, and for some seconds, less came in than this share, at that
# rate in all the time gone, and what came did not grow.
STILL = 1e-3
STILL_SHARE = 0.1
LEAST_S = 0.05
SHOWN = 60
# What has come no further than this share of a bore is the bulge of the metal that waits behind it, about a half ball,
# and no more than so much of its element.
BULGE, MOST_BULGE = 1.0 / 3.0, 0.9
# What comes in too much in a step goes on so often within it.
CASCADE = 3
# Every so many steps it is asked whether a case is lost.
ASKED = 6
# The clock of a case that has ended all but stands.
_STANDING_S = 1e-9
_FULL = 1e-6
_NO_G = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Filled:
    """How n elements filled in b cases. Times in s from the first metal in the button, in each case's own time.

    ``filled`` (n, b) share; ``fill_s`` (n, b) when full, nan if never; ``front_c`` (n, b) degC as the front left the
    element, or where it stands; nan where no metal came. ``metal_c`` (n, b) at the end, ``end_s`` (b,), and ``state``
    of the mould, for the freezing to go on from. ``speed_m_s`` (n, b): the fastest that metal ran through a joint of
    the element. ``reason`` (n, b): FULL, SOLID, PRESSURE, GAS or NOT_REACHED. ``times_s`` (s,) and ``shown`` (s, n):
    filled shares of case 0. ``volume_imbalance`` and ``heat_imbalance`` (b,): what the sums gained or lost, over what
    came in.
    """

    filled: FloatArray
    fill_s: FloatArray
    front_c: FloatArray
    metal_c: FloatArray
    state: MouldState
    end_s: FloatArray
    speed_m_s: FloatArray
    reason: npt.NDArray[np.int8]
    times_s: FloatArray
    shown: npt.NDArray[np.float32]
    volume_imbalance: FloatArray
    heat_imbalance: FloatArray


def front_stands(cases: Cases) -> FloatArray:
    """Give the share solid (b,) at which a front stands, by the freezing range."""
    return np.asarray(np.interp(cases.liquidus_c - cases.solidus_c, STANDS_RANGE_K, STANDS))


def fill(
    network: Network,
    mould: Mould,
    cases: Cases,
    *,
    around: Surroundings | None = None,
    plan: Elimination | None = None,
    stands: FloatArray | None = None,
    steps: int = STEPS,
    longest_s: float = LONGEST_S,
    lost: Callable[[FloatArray], BoolArray] | None = None,
) -> Steps[Filled]:
    """Let the metal of every case run into the network, until all is full, or nothing moves, or ``longest_s``.

    ``around`` of the same cases and ``plan`` of the network's joints are worked out when not given. ``stands`` (b,):
    the share solid at which a front stands. ``steps``: in how many the metal comes in, if it comes evenly. Elements
    that only shut spare joints lead to are left out. ``lost`` is shown now and then the shares (n, b) that elements can
    still come to, and a case (b,) ends that it gives up.
    """
    sizes = sized(network, cases)
    plan = elimination(len(network.volume_mm3), network.joints) if plan is None else plan
    around = surroundings(mould, sizes, cases) if around is None else around
    march = _March(network, sizes, cases, around, plan, front_stands(cases) if stands is None else stands, steps)
    while march.busy.any() and march.steps < MOST_STEPS * steps and march.time.min() < longest_s:
        march.step(longest_s)
        if lost is not None and march.steps % ASKED == 0:
            march.busy = march.busy & ~lost(march.still_to_come())
        yield march.share
    return march.result()


class _March:
    """The march through time: where the metal is, how it runs and how hot it is, in every case.

    ``filled`` (n, b) shares, a trace over 1 where more came than there was room for; ``heat`` (n, b) J/g of the metal
    in the elements and ``tip`` of what came first; ``solid`` and ``tip_solid`` the shares solid that go with them.
    ``stopped`` (n, b): fronts that stand for good. ``leads`` (m, b): joints that brought the metal a front is made of,
    ``stood`` those whose front stands: the rest of its element another may fill from the other side. ``time``,
    ``next_s`` (b,): each case's clock and its next step.
    """

    def __init__(
        self,
        network: Network,
        sizes: Sized,
        cases: Cases,
        around: Surroundings,
        plan: Elimination,
        stands: FloatArray,
        steps: int,
    ) -> None:
        n, b = sizes.volume_mm3.shape
        self.ways: Channels = channels(network, sizes, cases, plan)
        self.around, self.cases, self.stands = around, cases, stands
        self.content = heat_content(cases)
        self.first, self.second = network.joints.T
        self.root = network.root
        self.volume, self.bore = sizes.volume_mm3, sizes.bore_mm
        self.passing = cases.conductivity_w_m_k * 1e-3 * sizes.bridge_mm
        self.gram = cases.liquid_g_cm3 * 1e-3
        self.bulge = np.minimum(BULGE * sizes.bore_mm / sizes.length_mm, MOST_BULGE)
        self.pour_mm3_s = cases.pour_g_s / self.gram
        self.joints, self.is_open = network.joints, sizes.section_mm2 > 0.0
        self.wanted = reached(self.joints, self.root, self.is_open, np.ones((n, b), dtype=bool))
        self.net_mm3 = np.where(self.wanted, self.volume, 0.0).sum(axis=0) - self.volume[self.root]
        self.part_mm3 = self.net_mm3 / steps

        self.filled = np.zeros((n, b))
        self.pour_j = heat_at(self.content, cases.pour_c[None])[0]
        self.heat = np.tile(self.pour_j, (n, 1))
        self.flask_j = heat_at(self.content, cases.flask_c[None])[0]
        self.tip, self.solid, self.tip_solid = self.heat.copy(), np.zeros((n, b)), np.zeros((n, b))
        self.stopped = np.zeros((n, b), dtype=bool)
        self.leads, self.stood = (np.zeros((len(self.joints), b), dtype=bool) for _ in range(2))
        self.state = mould_at_rest(around)
        self.flow: Flow = at_rest(self.ways)
        self.came, self.last_s = np.zeros((n, b)), np.ones(b)
        self.time, self.busy = np.zeros(b), np.ones(b, dtype=bool)
        self.next_s = np.minimum(self.part_mm3 / self.pour_mm3_s, LONGEST_STEP_S)
        self.still_s = np.zeros(b)
        self.rate, self.poured = np.zeros(b), np.zeros(b)
        self.steps, self.share = 0, 0.0

        self.fill_s, self.front_c = np.full((n, b), np.nan), np.full((n, b), np.nan)
        self.reason = np.full((n, b), NOT_REACHED, dtype=np.int8)
        self.speed, self.held = np.zeros_like(self.passing), np.zeros(self.passing.shape, dtype=bool)
        self.times, self.shown = [0.0], [np.zeros(n, dtype=np.float32)]

    def step(self, longest_s: float) -> None:
        """Go one step on in every case that has not ended."""
        seconds = np.where(self.busy, np.minimum(self.next_s, np.maximum(longest_s - self.time, 1e-9)), _STANDING_S)
        full = self.is_full()
        reach = self._reach(full, seconds)
        flow = flow_step(self.ways, self.flow, reach, seconds)
        moved = self._worth_moving(flow, seconds)
        before, after = self.filled, self._moved_on(moved, full, seconds)
        self._heat(before, after, moved, seconds)
        self._note(before, after, flow, seconds)
        self.filled, self.flow = after, flow
        self.time = self.time + np.where(self.busy, seconds, 0.0)
        self.steps += 1
        if self.busy[0]:
            self.times.append(float(self.time[0]))
            self.shown.append(np.minimum(after[:, 0], 1.0).astype(np.float32))
        self.last_s = seconds
        self._go_on(flow, full, seconds)

    def _worth_moving(self, flow: Flow, seconds: FloatArray) -> FloatArray:
        """Give the mm3 (m, b) that flow in a step, without traces that would begin an element."""
        moved = flow.mm3_s * seconds
        joint, case = np.nonzero(flow.front)
        into = np.where(flow.front[joint, case] > 0, self.second[joint], self.first[joint])
        trace = np.abs(moved[joint, case]) < _FULL * self.volume[into, case]
        trace &= self.filled[into, case] <= 0.0
        moved[joint[trace], case[trace]] = 0.0
        return moved

    def still_to_come(self) -> FloatArray:
        """Give the share (n, b) that every element can come to, by what is solid for good."""
        free = ~((self.filled >= 1.0 - _FULL) & (self.solid > LOCKED))
        ways = reached(self.joints, self.root, self.is_open & ~self.stood, free)
        return np.where(ways, 1.0, np.minimum(self.filled, 1.0))

    def is_full(self) -> BoolArray:
        """Tell which elements (n, b) are full; the root always takes part in the flow as if it were."""
        full = self.filled >= 1.0 - _FULL
        full[self.root] = True
        return full

    def _reach(self, full: BoolArray, seconds: FloatArray) -> Reach:
        thick = np.minimum(self.solid, 0.97 * LOCKED) / LOCKED
        viscosity = VISCOSITY_PA_S * (1.0 - thick) ** -THICKENS
        supply = self.pour_mm3_s + self.filled[self.root] * self.volume[self.root] / seconds
        return Reach(
            filled=self.filled,
            full=full,
            shut=full & (self.solid > LOCKED),
            stood=self.stood,
            runs=full & (self.tip_solid <= self.stands),
            viscosity=viscosity,
            excess_mm3=np.where(full & self.busy, (self.filled - 1.0) * self.volume, 0.0),
            supply_mm3_s=supply,
            coming_mm3_s=self.came / self.last_s,
        )

    def _moved_on(self, moved: FloatArray, full: BoolArray, seconds: FloatArray) -> FloatArray:
        """Give the filled shares after a step, and put into ``moved`` (m, b) mm3 what fronts pass on within it."""
        root, forth, back = self.root, np.maximum(moved, 0.0), np.maximum(-moved, 0.0)
        self.came, left = self.ways.ends.sums(back, forth), self.ways.ends.sums(forth, back)
        room = (1.0 - self.filled[root]) * self.volume[root] + left[root] - self.came[root]
        inflow = np.minimum(self.pour_mm3_s * seconds, room)
        self.poured = self.poured + inflow
        self.inflow = inflow / seconds
        content = self.filled * self.volume + self.came - left
        content[root] += inflow
        for _ in range(CASCADE):
            over = np.where(full, 0.0, content - self.volume)
            over[over < _FULL * self.volume] = 0.0
            if not over.any():
                break
            self._pass_on(over, content, moved, full)
        return np.asarray(content / self.volume)

    def _pass_on(self, over: FloatArray, content: FloatArray, moved: FloatArray, full: BoolArray) -> None:
        """Move ``over`` (n, b) mm3 on to neighbours with room, in ``content`` (n, b), ``moved`` (m, b) and ``came``.

        It goes where the bore is no narrower than what it has come through; the rest waits for a pressure.
        """
        takes = ~full & (content < (1.0 - _FULL) * self.volume)
        gone = []
        for of, into, sign, tension in (
            (self.first, self.second, 1.0, self.ways.tension_pa[0]),
            (self.second, self.first, -1.0, self.ways.tension_pa[1]),
        ):
            joint, case = np.nonzero((over[of] > 0.0) & takes[into])
            section = self.ways.section_mm2[joint, case]
            passed = 1.02 * 4e3 * self.cases.tension_n_m[case] / self.bore[of[joint], case]
            is_way = (section > 0.0) & ~self.stood[joint, case] & (tension[joint, case] <= passed)
            joint, case = joint[is_way], case[is_way]
            gone.append((joint, case, of[joint], into[joint], section[is_way], sign))
        whole = np.zeros_like(content)
        for _joint, case, of, _into, section, _sign in gone:
            np.add.at(whole, (of, case), section)
        for joint, case, of, into, section, sign in gone:
            on = over[of, case] * section / whole[of, case]
            moved[joint, case] += sign * on
            np.add.at(content, (into, case), on)
            np.add.at(self.came, (into, case), on)
            np.subtract.at(content, (of, case), on)

    def _heat(self, before: FloatArray, after: FloatArray, moved: FloatArray, seconds: FloatArray) -> None:
        wetted = np.minimum(0.5 * (before + after), 1.0)
        least = np.minimum(wetted[self.first], wetted[self.second])
        metal_c, _ = temperature_at(self.content, self.heat)
        taking = pull(self.around, self.state, metal_c, seconds, wetted)
        grams = self.volume * self.gram
        forth, back = np.maximum(moved, 0.0), np.maximum(-moved, 0.0)
        running = Running(
            before_g=before * grams,
            after_g=after * grams,
            forth=forth / seconds * self.gram,
            back=back / seconds * self.gram,
            poured=self.inflow * self.gram,
            poured_j=self.pour_j,
            passing=self.passing * least,
        )
        self.heat, driving_c = running_heat(
            self.ways, self.content, running, self.heat, taking.conductance, taking.source, seconds
        )
        self.state = advance(self.around, self.state, taking, driving_c)
        led = running.passing * (driving_c[self.first] - driving_c[self.second])
        loss = taking.conductance * driving_c - taking.source + self.ways.ends.sums(led, -led)
        wet_g = wetted * grams
        self._tips(
            before, after, (forth, back), np.divide(loss * seconds, wet_g, out=np.zeros_like(loss), where=wet_g > _NO_G)
        )

    def _tips(
        self, before: FloatArray, after: FloatArray, moved: tuple[FloatArray, FloatArray], loss: FloatArray
    ) -> None:
        """Cool what runs ahead in every element, by ``loss`` (n, b) J/g, and hand it on to where it has come.

        The metal that came first stays ahead; that of the elements mixes with what follows (as upwind steps do) and
        would run too far. In an element that is full what passes through takes its place. Where a front stands and
        metal comes from elsewhere, a new front begins.
        """
        fresh = (before <= 0.0) & (after > 0.0)
        if self.stopped.any():
            for flow, into in ((moved[0], self.second), (moved[1], self.first)):
                joint, case = np.nonzero(self.stopped[into])
                comes = flow[joint, case] > 0.0
                fresh[into[joint[comes]], case[comes]] = True
            self.stopped &= ~fresh
        if fresh.any():
            ways = [
                (of, into, *np.nonzero((flow > 0.0) & fresh[into]))
                for flow, of, into in ((moved[0], self.first, self.second), (moved[1], self.second, self.first))
            ]
            for _of, _into, joint, case in ways:
                self.leads[joint, case] = True
            tip = np.where(fresh, np.inf, self.tip)
            for _ in range(CASCADE + 1):
                come = tip.copy()
                for of, into, joint, case in ways:
                    np.minimum.at(come, (into[joint], case), tip[of[joint], case])
                tip = np.where(fresh, come, tip)
            self.tip = np.where(np.isinf(tip), self.heat, tip)
        through = np.where(before >= 1.0 - _FULL, self.came / self.volume, 0.0)
        tip = (self.tip - loss + through * self.heat) / (1.0 + through)
        self.tip = np.where(after > 0.0, np.clip(tip, self.flask_j, self.pour_j), self.tip)
        self._warm_bulges(before, after)
        self.solid = np.where(after > 0.0, solid_share(self.content, self.heat), 0.0)
        self.tip_solid = np.where(after > 0.0, solid_share(self.content, self.tip), 0.0)

    def _warm_bulges(self, before: FloatArray, after: FloatArray) -> None:
        """Keep what bulges out of a full element and waits there as hot as what runs by behind it.

        It would cool down as a front, and lead all that follows once it can go on.
        """
        waits = (after > 0.0) & (after < self.bulge) & (self.came <= 0.0) & ~self.stopped
        if not waits.any():
            return
        tip = self.tip.copy()
        for of, into in ((self.first, self.second), (self.second, self.first)):
            joint, case = np.nonzero(waits[into])
            behind = (before[of[joint], case] >= 1.0 - _FULL) & self.is_open[joint, case]
            joint, case = joint[behind], case[behind]
            np.maximum.at(tip, (into[joint], case), self.tip[of[joint], case])
        self.tip = tip

    def _note(self, before: FloatArray, after: FloatArray, flow: Flow, seconds: FloatArray) -> None:
        """Keep what is asked for afterwards: when and how hot fronts passed, why they stand, how fast metal ran."""
        now = after >= 1.0 - _FULL
        fresh = now & np.isnan(self.fill_s)
        if fresh.any():
            came = (self.came / self.volume)[fresh]
            part = np.clip((1.0 - before[fresh]) / np.maximum(came, 1e-300), 0.0, 1.0)
            of = np.nonzero(fresh)[1]
            self.fill_s[fresh] = self.time[of] + part * seconds[of]
        seen = (after > 0.0) & ~self.stopped & (fresh | ~now)
        if seen.any():
            self.front_c[seen] = temperature_at(self.content, self.tip)[0][seen]
        standing = (after > 0.0) & ~now & ~self.stopped & (self.tip_solid > self.stands)
        standing[self.root] = False
        if standing.any():
            self.reason[standing] = np.where(self._gas_holds(flow), GAS, SOLID)[standing]
            self.stopped |= standing
            self.stood |= self.leads & (standing[self.first] | standing[self.second])
        self.held = np.where(flow.front != 0, flow.held, self.held)
        np.maximum(self.speed, np.abs(flow.mm3_s) * self.busy, out=self.speed)

    def _gas_holds(self, flow: Flow) -> BoolArray:
        """Tell where (n, b) gas has taken more than half of the pressure that a standing metal would have there."""
        pa = self.ways.standing_pa - 4e3 * self.cases.tension_n_m / self.bore
        return (flow.pa > 0.5 * pa) & (pa > 0.0)

    def _go_on(self, flow: Flow, full: BoolArray, seconds: FloatArray) -> None:
        """Choose the next step of every case, and see which have ended."""
        came = np.where(full, 0.0, self.came / seconds)
        rate = came.sum(axis=0)
        even = self.part_mm3 / np.maximum(rate, 1e-12)
        fine = ELEMENTS / np.maximum((came / self.volume).max(axis=0), 1e-12)
        longest = np.minimum(GROWTH * seconds, np.maximum(LONGEST_STEP_S, LONGEST_STEP * self.time))
        self.next_s = np.minimum(np.clip(fine, FINEST * even, even), longest)

        is_full = self.filled >= 1.0 - _FULL
        is_done = ~(self.wanted & ~is_full).any(axis=0) | ~(flow.front != 0).any(axis=0)
        is_still = (rate * self.time < STILL * self.net_mm3) & (rate <= self.rate * (1.0 + STILL))
        self.rate = rate
        self.still_s = np.where(is_still, self.still_s + seconds, 0.0)
        at_rest_now = self.still_s > np.maximum(STILL_SHARE * self.time, LEAST_S)
        self.busy = self.busy & ~(is_full[self.root] & (is_done | at_rest_now))
        share = np.where(self.busy, np.minimum(self.poured / (self.net_mm3 + self.volume[self.root]), 1.0), 1.0)
        self.share = max(self.share, float(share.min()))

    def result(self) -> Filled:
        """Gather what came of it."""
        full = self.filled >= 1.0 - _FULL
        metal_c = np.where(self.filled > 0.0, temperature_at(self.content, self.heat)[0], np.nan)
        grams = self.filled * self.volume * self.gram
        came_j = self.poured * self.gram * (self.pour_j - self.flask_j)
        left_j = (grams * (self.heat - self.flask_j)).sum(axis=0) + held_j(self.around, self.state)
        chosen = np.unique(np.linspace(0, len(self.times) - 1, min(len(self.times), SHOWN)).round().astype(np.int64))
        return Filled(
            filled=np.where(full, 1.0, self.filled),
            fill_s=np.where(full, self.fill_s, np.nan),
            front_c=self.front_c,
            metal_c=metal_c,
            state=self.state,
            end_s=self.time,
            speed_m_s=self._speeds(),
            reason=self._reasons(full),
            times_s=np.array(self.times)[chosen],
            shown=np.stack(self.shown)[chosen],
            volume_imbalance=((self.filled * self.volume).sum(axis=0) - self.poured) / self.poured,
            heat_imbalance=(left_j - came_j) / came_j,
        )

    def _speeds(self) -> FloatArray:
        """Give the fastest flow (n, b) in m/s through any joint of an element."""
        section = self.ways.section_mm2
        speed = np.where(section > 0.0, 1e-3 * self.speed / np.maximum(section, 1e-9), 0.0)
        fastest = np.zeros_like(self.volume)
        np.maximum.at(fastest, self.first, speed)
        np.maximum.at(fastest, self.second, speed)
        return fastest

    def _reasons(self, full: BoolArray) -> npt.NDArray[np.int8]:
        """Give why each element (n, b) is not full."""
        is_open, solid = self.ways.section_mm2 > 0.0, self.tip_solid > self.stands
        reason = self.reason.copy()
        gas = self._gas_holds(self.flow)
        for a, b in ((self.first, self.second), (self.second, self.first)):
            # Metal stands full before an element that is not, and neither moves on.
            at = is_open & full[a] & ~full[b] & (reason[b] == NOT_REACHED)
            why = np.where(solid[a] & ~self.held, SOLID, np.where(gas[b], GAS, PRESSURE))
            row, case = np.nonzero(at)
            reason[b[row], case] = why[row, case]
        reason[full] = FULL
        return reason
