"""The forecast of a pour: whether metal gets everywhere, in what order it freezes, and what would put it right."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..feed.lattice import place
from ..inspect.finding import Finding
from ..solid.mesh import FloatArray, IntArray
from .cases import beside, sized
from .elimination import elimination
from .feeding import Feeding, feeding
from .fill import FULL as FULL_ELEMENT
from .fill import GAS, NOT_REACHED, PRESSURE, Filled, fill
from .freeze import Frozen, freeze
from .levers import Lever, levers
from .mould_around import surroundings
from .network import LINK, Mould, Network
from .pour import COLD, USUAL, VARIANTS, WARM, Pour, case
from .verdict import (
    AT_RISK,
    FED,
    FULL,
    FULL_IN_COLD,
    SHORT,
    SOUND,
    LinkCast,
    LinkFigures,
    fed_shares,
    link_figures,
    verdicts,
)

BoolArray = npt.NDArray[np.bool_]

# Metal that runs faster than this through a gate may break up and carry skins with it: a note, no more
# (J. Campbell, Castings, as quoted in foundry texts).
FAST_M_S = 0.5
# Levers are looked at for so many times as long as the links took to freeze, and for so many seconds at least.
LONGER, LEAST_S = 2.0, 60.0
# So long investment bears being over its limit before it is worth a warning: breaking down takes time, and bronze is
# poured into gypsum every day. Our judgement.
BEARS_S = 60.0
# Owners named in a finding, at most.
MOST_NAMED = 6


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """What is expected of a pour. Cases are in the order of `VARIANTS`: usual, cold, warm.

    ``links``: the verdict of each. ``order_ok``: of everything at least the share `FED` freezes while its metal can
    still come, in the usual case; ``cut_off`` names what does not, ``porous`` where metal is drawn from at the last.
    ``same`` tells whether the verdict is the same at the cold and at the warm end, ``remark`` says so in words.
    ``web_peak_c`` the hottest web, ``gate_m_s`` the fastest metal in a gate, ``full_s`` the end of filling, usual case.
    ``levers`` are empty where the job passes as it is, or they were not asked for.
    """

    network: Network
    filled: Filled
    frozen: Frozen
    links: tuple[LinkCast, ...]
    order_ok: bool
    cut_off: tuple[str, ...]
    porous: tuple[str, ...]
    same: bool
    remark: str
    web_peak_c: float
    gate_m_s: float
    full_s: float
    levers: tuple[Lever, ...]
    findings: tuple[Finding, ...]

    @property
    def count(self) -> dict[str, int]:
        """Count the links by verdict."""
        return {word: sum(link.verdict == word for link in self.links) for word in (SHORT, AT_RISK, SOUND)}

    def to_dict(self) -> dict[str, object]:
        """Give the forecast as plain data for report.json, every unit in its key."""
        return {
            "links": [
                {
                    "body": link.body,
                    "filled_percent": link.filled_percent,
                    "fill_s": link.fill_s,
                    "freeze_s": link.freeze_s,
                    "fed_percent": link.fed_percent,
                    "verdict": link.verdict,
                    "reason": link.reason,
                }
                for link in self.links
            ],
            "freeze_order_ok": self.order_ok,
            "cut_off": list(self.cut_off),
            "porous": list(self.porous),
            "verdict_holds": self.same,
            "verdict_remark": self.remark,
            "full_s": self.full_s,
            "web_peak_c": self.web_peak_c,
            "gate_speed_m_s": self.gate_m_s,
            "levers": [
                {
                    "change": lever.change,
                    "from": lever.before,
                    "to": lever.after,
                    "unit": lever.unit,
                    "passes": lever.passes,
                    "reason": lever.reason,
                }
                for lever in self.levers
            ],
        }


def forecast(network: Network, mould: Mould, pour: Pour, *, with_levers: bool = True) -> Steps[Forecast]:
    """Fill the network, let it freeze, judge every link, and where the job does not pass look for what would do."""
    cases = beside([case(pour, len(network.volume_mm3), variant) for variant in VARIANTS])
    plan = elimination(len(network.volume_mm3), network.joints)
    sizes = sized(network, cases)
    around = surroundings(mould, sizes, cases)
    limits = (pour.investment.clean_limit_c.value, pour.investment.carbon_limit_c.value)
    share = 0.25 if with_levers else 1.0
    filled = yield from part(fill(network, mould, cases, around=around, plan=plan), 0.0, 0.5 * share)
    freezing = freeze(
        network, mould, cases,
        start_c=filled.metal_c, filled=filled.filled, around=around, state=filled.state, plan=plan, limits_c=limits,
    )  # fmt: skip
    frozen = yield from part(freezing, 0.5 * share, share)
    figures = link_figures(network, sizes, filled, frozen)
    usual, cold, warm = (VARIANTS.index(variant) for variant in (USUAL, COLD, WARM))
    links = verdicts(figures, usual, cold, _why(network, figures, filled, usual))
    fed, ways = fed_shares(network, sizes, frozen, usual)
    lost = np.flatnonzero(fed < FED)
    at_last = feeding(network, frozen.solid_s[:, usual], sizes.section_mm2[:, usual])
    tried: tuple[Lever, ...] = ()
    if with_levers and any(link.verdict != SOUND for link in links):
        slow = float(np.nanmax(figures.freeze_s[:, usual], initial=LEAST_S / LONGER))
        tried = yield from part(levers(network, mould, pour, plan, LONGER * slow), share, 1.0)
    passes = [figures.passes(usual), figures.passes(cold, FULL_IN_COLD), figures.passes(warm)]
    webs = _webs(network, mould, frozen, usual)
    web_peak = max((web.peak_c for web in webs), default=pour.temperatures.flask_c)
    tips = network.tip
    gate_m_s = float(filled.speed_m_s[tips, usual].max()) if tips.any() else 0.0
    remark = _remark(figures, usual, cold, warm)
    return Forecast(
        network=network,
        filled=filled,
        frozen=frozen,
        links=links,
        order_ok=not len(lost),
        cut_off=_named(network, lost[np.argsort(ways.open_s[lost], kind="stable")].tolist()),
        porous=_named(network, at_last.hot_spots),
        same=len(set(passes)) == 1,
        remark=remark,
        web_peak_c=web_peak,
        gate_m_s=gate_m_s,
        full_s=float(filled.end_s[usual]),
        levers=tried,
        findings=(
            *_fill_findings(network, figures, links, warm),
            *_order_findings(network, lost, ways),
            *_pore_findings(network, at_last, frozen.solid_s[:, usual]),
            *_web_findings(network, pour, webs),
            *_speed_findings(network, filled, usual),
        ),
    )


def _why(network: Network, figures: LinkFigures, filled: Filled, at: int) -> list[str]:
    """Say of every link what holds its metal back, by the fronts that stand in it."""
    reasons = filled.reason[:, at]
    said = []
    for name in figures.names:
        mine = reasons[_elements(network, name)]
        where, held = "it", mine[(mine != FULL_ELEMENT) & (mine != NOT_REACHED)]
        if not len(held) and (mine == NOT_REACHED).any():
            gates = reasons[_gates(network, name)]
            where, held = "its gates", gates[(gates != FULL_ELEMENT) & (gates != NOT_REACHED)]
        if not len(held):
            said.append("no metal comes as far as its gates")
        elif (held == PRESSURE).any():
            said.append(f"the head does not press metal into so thin a section as {where}")
        elif (held == GAS).any():
            said.append(f"gas does not get out of {where} in time")
        else:
            said.append(f"metal freezes in {where} on the way")
    return said


def _elements(network: Network, body: str) -> BoolArray:
    return np.isin(network.owner, [k for k, o in enumerate(network.owners) if o.kind == LINK and o.name == body])


def _gates(network: Network, body: str) -> BoolArray:
    return np.isin(network.owner, [k for k, o in enumerate(network.owners) if o.feeds == body])


def _remark(figures: LinkFigures, usual: int, cold: int, warm: int) -> str:
    """Say whether the verdict hangs on what is poorly known."""
    least = ((usual, FULL), (cold, FULL_IN_COLD), (warm, FULL))
    short = [int((figures.filled[:, k] < full).sum()) for k, full in least]
    if len(set(short)) == 1 and short[0] == 0:
        return "Every link fills at both ends of what is poorly known of mould and pour."
    if len(set(short)) == 1:
        return "The same links stay short at both ends of what is poorly known of mould and pour."
    by_usual, in_cold, in_warm = (str(count) if count else "no" for count in short)
    return (
        f"It hangs on what is poorly known of mould and pour: {by_usual} links stay short by the usual figures, "
        f"{in_cold} where the mould takes more heat, {in_warm} where it takes less."
    )


def _named(network: Network, elements: Sequence[int]) -> tuple[str, ...]:
    """Name the owners of elements, each once, in order."""
    return tuple(dict.fromkeys(network.owners[int(network.owner[k])].name for k in elements))


def _fill_findings(network: Network, figures: LinkFigures, links: Sequence[LinkCast], warm: int) -> tuple[Finding, ...]:
    """Find links that do not fill, a stop where they do not at the warm end either, and those at risk."""
    never = [k for k, link in enumerate(links) if link.verdict == SHORT and figures.filled[k, warm] < FULL]
    mostly = [k for k, link in enumerate(links) if link.verdict == SHORT and k not in never]
    risky = [k for k, link in enumerate(links) if link.verdict == AT_RISK]
    found = []
    for rows, severity, code, text in (
        (never, "stop", "not-filled", "will not fill, whichever way the poorly known figures go"),
        (mostly, "warn", "not-filled", "will not fill by the usual figures, but would where the mould takes less heat"),
        (risky, "warn", "cast-risk", "may come out bad"),
    ):
        if not rows:
            continue
        worst = min(rows, key=lambda k: (links[k].filled_percent, links[k].fed_percent))
        link = links[worst]
        many = f"{link.body} and {len(rows) - 1} more" if len(rows) > 1 else link.body
        value = link.filled_percent if code == "not-filled" else link.fed_percent
        found.append(
            Finding(
                code,
                severity,
                tuple(links[k].body for k in rows),
                f"{many} {text}: {link.body} {link.reason}. The levers of the cast plan tell what would do.",
                place(_middle(network, link.body)),
                value,
                100.0 * (FULL if code == "not-filled" else FED),
            )
        )
    return tuple(found)


def _order_findings(network: Network, lost: IntArray, order: Feeding) -> tuple[Finding, ...]:
    """Find the first place of the lattice that is cut off from its supply: links have findings of their own."""
    own = [k for k in lost.tolist() if network.owners[int(network.owner[k])].kind != LINK and not network.tip[k]]
    if not own:
        return ()
    names = _named(network, own)
    first = min(own, key=lambda k: float(order.open_s[k]))
    neck = int(order.neck[first])
    by = f"{network.owners[int(network.owner[neck])].name}" if neck >= 0 else "nothing"
    rest = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    listed = ", ".join(names[:MOST_NAMED]) + rest
    return (
        Finding(
            "freeze-order",
            "warn",
            (),
            f"{listed}: frozen only after the way its metal comes by, which closes at {by}; it will be porous there. "
            "Make what closes thicker, or what stays liquid thinner.",
            place(network.at[first]),
            float(order.open_s[first]),
            None,
        ),
    )


def _pore_findings(network: Network, at_last: Feeding, solid_s: FloatArray) -> tuple[Finding, ...]:
    """Find the links whose last metal is solid after its way has closed, and the place where that is longest."""
    spots = np.array([k for k in at_last.hot_spots if network.owners[int(network.owner[k])].kind == LINK], dtype=int)
    late = solid_s[spots] - at_last.open_s[spots]
    spots, late = spots[np.isfinite(late)], late[np.isfinite(late)]
    if not len(spots):
        return ()
    worst = int(late.argmax())
    names, body = _named(network, spots.tolist()), network.owners[int(network.owner[spots[worst]])].name
    many = f"{body} and {len(names) - 1} more" if len(names) > 1 else body
    text = (
        f"{many}: the last metal is solid up to {late[worst]:.1f} s after its way has closed; if pores come, they come "
        "there, under the surface. Look there when filing; a gate nearer to it helps."
    )
    return (Finding("pores", "note", names, text, place(network.at[spots[worst]]), float(late[worst]), None),)


@dataclass(frozen=True, slots=True)
class _Web:
    """The mould between two links, or inside one: its peak in the mean, how long it was over the clean limit, where."""

    a: int
    b: int
    peak_c: float
    over_s: float
    element: int


def _webs(network: Network, mould: Mould, frozen: Frozen, at: int) -> list[_Web]:
    """List the webs of links; of the patches on both its sides the mean counts, each by the mould it looks at."""
    is_link = np.array([owner.kind == LINK for owner in network.owners], dtype=bool)
    owner, facing = network.owner[mould.element], mould.facing
    patches = np.flatnonzero(is_link[owner] & (facing >= 0) & is_link[facing] & (mould.store_mm3 > 0.0))
    patches = patches[np.isfinite(frozen.web_peak_c[patches, at])]
    pairs = np.sort(np.stack((owner[patches], facing[patches]), axis=1), axis=1)
    names, row = np.unique(pairs, axis=0, return_inverse=True)
    row, store = row.ravel(), mould.store_mm3[patches]
    whole = np.bincount(row, store, minlength=len(names))
    peak = np.bincount(row, store * frozen.web_peak_c[patches, at], minlength=len(names)) / whole
    over = np.bincount(row, store * frozen.web_over_s[0, patches, at], minlength=len(names)) / whole
    one = np.zeros(len(names), dtype=np.int64)
    one[row] = mould.element[patches]
    return [
        _Web(int(a), int(b), float(hot), float(long), int(element))
        for (a, b), hot, long, element in zip(names.tolist(), peak, over, one, strict=True)
    ]


def _web_findings(network: Network, pour: Pour, webs: Sequence[_Web]) -> tuple[Finding, ...]:
    """Find the web that gets hotter than the investment bears, clean or with carbon left in it."""
    clean, carbon = pour.investment.clean_limit_c.value, pour.investment.carbon_limit_c.value
    worst = max(webs, key=lambda web: web.peak_c, default=None)
    if worst is None or worst.peak_c <= carbon:
        return ()
    hottest, over_s = worst.peak_c, worst.over_s
    a, b = network.owners[worst.a].name, network.owners[worst.b].name
    text = f"the mould {f'between {a} and {b}' if a != b else f'inside {a}'} gets {hottest:.0f} degC hot"
    severity, limit = "note", carbon
    if hottest > clean:
        limit = clean
        severity = "warn" if over_s > BEARS_S else "note"
        text += (
            f", {over_s:.0f} s of it over the {clean:.0f} degC at which {pour.investment.label} breaks down even when "
            "clean: gas and rough skin in the joint; a cooler flask or cooler metal helps."
        )
    else:
        text += (
            f"; with carbon left in it {pour.investment.label} breaks down from {carbon:.0f} degC: burn out until the "
            "mould is white."
        )
    where = place(network.at[worst.element])
    return (Finding("web-hot", severity, (), text, where, hottest, limit),)


def _speed_findings(network: Network, filled: Filled, at: int) -> tuple[Finding, ...]:
    speed = np.where(network.tip, filled.speed_m_s[:, at], 0.0)
    fast = int((speed > FAST_M_S).sum())
    if not fast:
        return ()
    worst = int(speed.argmax())
    text = (
        f"metal runs through gates at up to {speed[worst]:.2f} m/s; over {FAST_M_S:g} m/s it may break up and carry "
        "skins with it. Thicker tips or more gates slow it down."
    )
    return (Finding("gate-speed", "note", (), text, place(network.at[worst]), float(speed[worst]), FAST_M_S),)


def _middle(network: Network, body: str) -> FloatArray:
    return np.asarray(network.at[_elements(network, body)].mean(axis=0))
