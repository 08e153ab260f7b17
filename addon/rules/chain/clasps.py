"""The bodies of a closure: eye, ring, bar and hook, each one closed round wire swept along a loop.

Every one stands in its own frame with x outward from the end of the chain and the end link's wire passing along y
through its ``seat``, a place on the x axis inside the loop. Sizes in mm. The proportions are our judgement.
"""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray
from .link import Link, columns, link_of
from .loop_curve import even_points, looped

# Points of the drawing along a bar or hook: each bend of half a wire is several of them long.
POINTS = 192
ARC = 48
# Fillet from a bar's legs to its eye, in wires.
FILLET = 1.2
# Length over which a hook's wires draw together, in their change of spacing.
DRAW = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class Closure:
    """One body of a closure: its ``name``, its wire, and ``seat_mm``, where on its x axis the end link's wire passes.

    ``hole_mm``: from the inside of the loop that the end link pulls on, to the inside that the other half pulls on.
    ``ahead_mm`` and ``aside_mm``: how far it reaches from the seat, outward and to any side.
    """

    name: str
    link: Link
    seat_mm: float
    hole_mm: float
    ahead_mm: float
    aside_mm: float


def eye(name: str, wire_mm: float, inside_mm: float, end_wire_mm: float, clear_mm: float) -> Closure:
    """Draw a round eye or ring of an inside diameter: a torus about the y axis.

    The end link's wire passes ``clear_mm`` from the inner end of the hole.
    """
    r = (inside_mm + wire_mm) / 2

    def curve(t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        c, s, flat = r * np.cos(t), r * np.sin(t), np.zeros_like(t)
        return columns(c, flat, s), columns(-s, flat, c), columns(-c, flat, -s)

    outside = inside_mm + 2 * wire_mm
    link = link_of(curve, wire_mm=wire_mm, length_mm=outside, width_mm=wire_mm)
    seat = -inside_mm / 2 + clear_mm + end_wire_mm / 2
    return Closure(name, link, seat, inside_mm, outside / 2 - seat, outside / 2)


def bar(wire_mm: float, length_mm: float, end_wire_mm: float, clear_mm: float, slot_mm: float) -> Closure:
    """Draw a bar: a long narrow loop across the chain, along z, that carries the end link in a round eye in its middle.

    ``slot_mm`` between its legs is narrower than the end link's wire, which therefore cannot leave the eye.
    """
    w = wire_mm
    a = (slot_mm + w) / 2
    rho = eye_radius(w, end_wire_mm, clear_mm)
    f = FILLET * w
    lean = np.arccos((a + f) / (rho + f))
    foot = (rho + f) * np.sin(lean)
    tip = length_mm / 2 - w / 2 - a
    legs = np.array([[a, tip], [a, foot]])
    turned = np.linspace(np.pi, np.pi + lean, ARC)
    fillet = np.stack((a + f + f * np.cos(turned), foot + f * np.sin(turned)), axis=1)
    around = np.linspace(lean, -lean, ARC)
    middle = rho * np.stack((np.cos(around), np.sin(around)), axis=1)
    right = np.concatenate((legs, fillet, middle, fillet[::-1] * [1, -1], legs[::-1] * [1, -1]))
    cap = np.linspace(0, -np.pi, ARC)
    end = np.stack((a * np.cos(cap), a * np.sin(cap) - tip), axis=1)
    half = np.concatenate((right, end))
    flat = np.concatenate((half, -half))
    line = np.stack((flat[:, 0], np.zeros(len(flat)), flat[:, 1]), axis=1)
    link = link_of(looped(even_points([line], POINTS)), wire_mm=w, length_mm=2 * rho + w, width_mm=w)
    return Closure("bar", link, 0.0, end_wire_mm + 2 * clear_mm, rho + w / 2, length_mm / 2)


def eye_radius(wire_mm: float, end_wire_mm: float, clear_mm: float) -> float:
    """Give the radius of the centreline of a bar's eye, or half the spacing of a hook's wires at its foot."""
    return end_wire_mm / 2 + clear_mm + wire_mm / 2


@dataclass(frozen=True, slots=True)
class HookSizes:
    """What a hook is bent to: ``inner_mm`` across its bend inside, ``mouth_mm`` between its tip and its shank.

    ``back_mm`` how far the tip leads back from the middle of the bend, ``shank_mm`` from the seat to that middle.
    """

    inner_mm: float
    mouth_mm: float
    back_mm: float
    shank_mm: float


def hook_sizes(wire_mm: float, end_wire_mm: float, eye_wire_mm: float, clear_mm: float, play_mm: float) -> HookSizes:
    """Choose a hook for an eye's wire: the bend takes it with three plays, the mouth with one.

    The tip leads back past the eye's wire by twice its thickness, and as far from the end link as the eye's wire needs
    to get in.
    """
    back = 2 * eye_wire_mm
    inner, mouth = eye_wire_mm + 3 * play_mm, eye_wire_mm + play_mm
    tip = wire_mm + play_mm / 2
    shank = end_wire_mm / 2 + clear_mm + eye_wire_mm + 2 * play_mm + tip + back
    return HookSizes(inner, mouth, back, shank)


def hook(
    wire_mm: float, sizes: HookSizes, end_wire_mm: float, clear_mm: float, slot_mm: float
) -> tuple[Closure, FloatArray]:
    """Draw a hook: a hairpin loop, its two wires side by side along z, bent in the plane of x and y.

    Gives it with the line (k, 3) midway between its wires, from its foot to its tip.
    """
    w = wire_mm
    wide, narrow = eye_radius(w, end_wire_mm, clear_mm), (slot_mm + w) / 2
    rho = (sizes.inner_mm + w) / 2
    lean = float(np.arcsin(min((sizes.inner_mm - sizes.mouth_mm) / sizes.back_mm, 0.5)))
    shank = np.stack((np.linspace(0, sizes.shank_mm, 4 * ARC), np.zeros(4 * ARC)), axis=1)
    turned = np.linspace(-np.pi / 2, np.pi / 2 + lean, 2 * ARC)
    bend = np.stack((sizes.shank_mm + rho * np.cos(turned), rho + rho * np.sin(turned)), axis=1)
    ahead = np.array([-np.cos(lean), -np.sin(lean)])
    back = bend[-1] + np.linspace(0, sizes.back_mm, ARC)[:, None] * ahead
    spine = np.concatenate((shank, bend[1:], back[1:]))
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(spine, axis=0), axis=1))))
    drawn = np.clip(walked / (DRAW * (wide - narrow) + 1e-9), 0, 1)
    apart = narrow + (wide - narrow) * (1 + np.cos(np.pi * drawn)) / 2
    there = np.concatenate((spine, apart[:, None]), axis=1)
    cap = np.linspace(np.pi / 2, -np.pi / 2, ARC)
    tip = np.concatenate((back[-1] + narrow * np.cos(cap)[:, None] * ahead, narrow * np.sin(cap)[:, None]), axis=1)
    foot = np.stack((-wide * np.cos(cap), 0 * cap, -wide * np.sin(cap)), axis=1)
    home = there[::-1] * [1, 1, -1]
    link = link_of(
        looped(even_points([there, tip, home, foot], POINTS)),
        wire_mm=w,
        length_mm=sizes.shank_mm + rho + wide + w,
        width_mm=2 * rho + w,
    )
    hole = sizes.shank_mm + rho - w / 2 + wide - w / 2
    ahead_mm, aside = sizes.shank_mm + rho + w / 2, 2 * rho + w / 2
    middle = np.concatenate((spine, np.zeros((len(spine), 1))), axis=1)
    return Closure("hook", link, 0.0, hole, ahead_mm, aside), middle
