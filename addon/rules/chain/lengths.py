"""Lengths of whole chains: worn with every joint drawn to contact, as printed, and pushed together."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .fit import reach, widest
from .link import Link, even_parameters
from .uniform import Lay, roll

LOOK = 1024


@dataclass(frozen=True, slots=True, eq=False)
class Rings:
    """Rings of ``links`` (k,): the pitch ``best_mm`` of the widest gap ``gap_mm``, all (k,).

    ``pulled_mm`` the pitch with the joints drawn to contact from there, ``worn_mm`` the inside length then; NaN where
    no pitch is free.
    """

    links: FloatArray
    best_mm: FloatArray
    gap_mm: FloatArray
    pulled_mm: FloatArray
    worn_mm: FloatArray


def rings(link: Link, lay: Lay, links: FloatArray) -> Rings:
    """Fit rings of the given numbers of links (k,)."""
    bends = 2 * np.pi / links
    best, gap = widest(link, lay, bends)
    ones = np.ones_like(best)
    pulled = reach(link, lay, bends, best, ones, 0 * ones)
    return Rings(links, best, gap, pulled, inner_length(link, lay, links, pulled))


def inner_length(link: Link, lay: Lay, links: FloatArray, pitch_mm: FloatArray) -> FloatArray:
    """Give the inside length (k,) of rings: 2 pi times the smallest distance of the metal from the ring's axis."""
    radius = pitch_mm / (2 * np.sin(np.pi / links))
    centreline = link.curve(even_parameters(LOOK))[0]
    nearest = []
    for turn in lay.rolls:
        x, y, z = (centreline @ roll(np.array(turn)).T).T
        from_axis = np.hypot(radius[:, None] + (z if lay.over_face else -y), x)
        nearest.append(_bottom(from_axis))
    return np.asarray(2 * np.pi * (np.minimum(*nearest) - link.wire_mm / 2))


def depth(link: Link, lay: Lay) -> float:
    """Give how far in mm the metal reaches inward from the chain's axis."""
    centreline = link.curve(even_parameters(LOOK))[0]
    inward = 2 if lay.over_face else 1
    return max(float(np.abs((centreline @ roll(np.array(turn)).T)[:, inward]).max()) for turn in lay.rolls) + (
        link.wire_mm / 2
    )


def _bottom(values: FloatArray) -> FloatArray:
    """Give the lowest value of each closed row (k, n), through a parabola over the lowest sample and its neighbours."""
    low = values.argmin(axis=1)
    rows, n = np.arange(len(values)), values.shape[1]
    before, here, after = values[rows, low - 1], values[rows, low], values[rows, (low + 1) % n]
    bowl = before - 2 * here + after
    safe = np.where(bowl > 1e-15, bowl, 1.0)
    return np.asarray(here - np.where(bowl > 1e-15, (after - before) ** 2 / (8 * safe), 0.0))
