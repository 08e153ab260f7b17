"""The verdict on every link: sound, at risk, or short, with the reason.

A link is short where its metal does not fill it. It is at risk where it fills as the tables say but not with what is
poorly known at its cold end, or where too little of it freezes while metal can still follow: metal shrinks as it
freezes, and what nothing follows is porous. Everything else is sound.

In the cold case a link may lack about one element: no nearer is a front known that comes to a stand, and steps of
other lengths move it so far. Counted that way a verdict holds but for 10 to 20 K of pouring temperature, by the steps;
nobody reads a melt more closely. Where the head hardly overcomes the surface tension, one link in a few takes metal or
does not by a hair, and then hotter metal may leave this one empty and fill that one: the job is short either way.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray
from .cases import Sized
from .feeding import Feeding, feeding
from .fill import Filled
from .freeze import Frozen, share_solid
from .network import LINK, Network

SOUND, AT_RISK, SHORT = "sound", "at-risk", "short"
# A link counts as filled from this share: where fronts meet, a pit as small as the rest is rounded by the metal itself.
# Our judgement.
FULL = 0.99
# In the cold case, where all that is poorly known is at its worst at once: all but about one of a link's 20 elements.
FULL_IN_COLD = 0.95
# Metal follows through an element until its grains lock, at about this share solid; from memory.
LOCKED = 0.7
# So much of a link has to freeze while metal follows. Freezing takes 4 to 7 % off the volume (from memory): what is
# left over then makes 1 to 3 % of pores, spread between the grains. Our judgement.
FED = 0.5


@dataclass(frozen=True, slots=True)
class LinkCast:
    """One link: its verdict and why, how full it gets and when, when it is solid, what share of it is fed.

    Times in s from the start of the pour; ``fill_s`` None where it never is full, ``freeze_s`` None where it stays
    empty. ``fed_percent`` of its metal freezes while more can follow.
    """

    body: str
    verdict: str
    filled_percent: float
    fill_s: float | None
    freeze_s: float | None
    fed_percent: float
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class LinkFigures:
    """Links by case: ``filled`` and ``fed`` (links, b) shares, ``fill_s`` and ``freeze_s`` (links, b) s; nan: never."""

    names: tuple[str, ...]
    filled: FloatArray
    fed: FloatArray
    fill_s: FloatArray
    freeze_s: FloatArray

    def passes(self, case: int, full: float = FULL) -> bool:
        """Tell whether every link fills, to the share ``full``, and is fed in a case."""
        return bool((self.filled[:, case] >= full).all() and (self.fed[:, case] >= FED).all())


def link_figures(network: Network, sizes: Sized, filled: Filled, frozen: Frozen) -> LinkFigures:
    """Sum up the links of every case; ``sizes`` as they are stretched."""
    mine, row, names = _links(network)
    full = filled_shares(network, sizes.volume_mm3, filled.filled)
    fed, fill_s, freeze_s = (np.zeros_like(full) for _ in range(3))
    for case in range(full.shape[1]):
        share = filled.filled[mine, case]
        metal = sizes.volume_mm3[mine, case] * share
        inside = np.bincount(row, metal, minlength=len(names))
        flowed = metal * np.nan_to_num(fed_shares(network, sizes, frozen, case)[0][mine])
        fed[:, case] = np.bincount(row, flowed, minlength=len(names)) / np.maximum(inside, 1e-300)
        fill_s[:, case] = _last(row, filled.fill_s[mine, case], len(names))
        solid_s = np.where(share > 0.0, frozen.solid_s[mine, case], 0.0)
        freeze_s[:, case] = np.where(inside > 0.0, filled.end_s[case] + _last(row, solid_s, len(names)), np.nan)
    return LinkFigures(names, full, fed, fill_s, freeze_s)


def filled_shares(network: Network, volume_mm3: FloatArray, filled: FloatArray) -> FloatArray:
    """Give how full each link (links, b) is, from the filled share (n, b) of its elements."""
    mine, row, names = _links(network)
    shares = [
        np.bincount(row, (volume_mm3 * filled)[mine, case], minlength=len(names))
        / np.bincount(row, volume_mm3[mine, case], minlength=len(names))
        for case in range(volume_mm3.shape[1])
    ]
    return np.stack(shares, axis=1)


def _links(network: Network) -> tuple[IntArray, IntArray, tuple[str, ...]]:
    """Give the elements of links, the number of the link each belongs to, and the links' names."""
    links = [k for k, owner in enumerate(network.owners) if owner.kind == LINK]
    place = np.full(len(network.owners), -1, dtype=np.int64)
    place[links] = np.arange(len(links))
    mine = np.flatnonzero(place[network.owner] >= 0)
    return mine, place[network.owner[mine]], tuple(network.owners[k].name for k in links)


def verdicts(figures: LinkFigures, usual: int, cold: int, why: Sequence[str]) -> tuple[LinkCast, ...]:
    """Judge every link by its figures in the usual and the cold case; ``why`` tells of each what holds it back."""
    found = []
    for k, name in enumerate(figures.names):
        full, fed = float(figures.filled[k, usual]), float(figures.fed[k, usual])
        in_cold = float(figures.filled[k, cold])
        verdict, reason = SOUND, "fills, and metal follows while it freezes"
        if full < FULL:
            verdict, reason = SHORT, f"fills to {100 * full:.0f} %: {why[k]}"
        elif in_cold < FULL_IN_COLD:
            verdict = AT_RISK
            reason = f"fills by the usual figures, but only to {100 * in_cold:.0f} % where the mould takes more heat"
        elif fed < FED:
            verdict = AT_RISK
            reason = f"only {100 * fed:.0f} % of it freezes before its gates do: the rest may be porous"
        found.append(
            LinkCast(
                name,
                verdict,
                100.0 * full,
                _known(figures.fill_s[k, usual]),
                _known(figures.freeze_s[k, usual]),
                100.0 * fed,
                reason,
            )
        )
    return tuple(found)


def fed_shares(network: Network, sizes: Sized, frozen: Frozen, case: int) -> tuple[FloatArray, Feeding]:
    """Give the share of each element (n,) that freezes while metal can still come to it, and the ways it comes by.

    A way closes as its first element locks. The share is 0 where nothing leads to an element, nan where no metal is.
    """
    half, solid = frozen.freeze_s[:, case], frozen.solid_s[:, case]
    ways = feeding(network, _at_share(half, solid, LOCKED), sizes.section_mm2[:, case])
    until = np.where(np.isnan(ways.open_s), 0.0, ways.open_s)
    return share_solid(until, np.zeros_like(until), half, solid), ways


def _at_share(half: FloatArray, solid: FloatArray, share: float) -> FloatArray:
    """Give when an element is solid to a share above one half, taken as even between the times that are known."""
    with np.errstate(invalid="ignore"):
        return np.where(np.isinf(solid), solid, half + (solid - half) * (share - 0.5) / 0.5)


def _last(row: IntArray, time: FloatArray, count: int) -> FloatArray:
    """Give the latest time of each row; nan where one is nan."""
    latest = np.zeros(count)
    with np.errstate(invalid="ignore"):
        np.maximum.at(latest, row, time)
    return latest


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
