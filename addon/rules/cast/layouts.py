"""The layouts of the same links beside each other: what each takes on the plate, in the printer and in the flask."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import LinkwrightError
from ..base.progress import Steps
from ..chain.build import draft_chain
from ..chain.chain import Chain
from ..chain.layout_check import ends_of, goes_round
from ..chain.measure import DRAFT_CHORD_MM
from ..chain.spec import ChainSpec, LayoutSpec
from ..solid.measure import volume_mm3
from .flask import USUAL_MARGINS, FlaskChoice, Margins, bounding_cylinder_mm, choose_flask, flask_volume_cm3
from .materials import Flask

COMPARED = ("straight", "ring", "spiral", "coil", "serpentine")
# The base ring as a share of the wire, and the clear length of the gates on it: what the lattice chooses by itself, and
# about the middle of the short gates of the quick rule. Our judgement.
RING, GATE_MM = 1.6, 3.0
NO_FLASK = Flask("none", 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Allowance:
    """What the lattice adds to a chain, mm, finished size: under it, over it, and all round."""

    beneath_mm: float
    above_mm: float = 0.0
    around_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class LayoutFigures:
    """One layout of the links, with the allowance for its lattice, at export scale.

    ``size_mm`` along x, y, z (the last is its height), ``across_mm`` of the upright cylinder around it, ``layers`` of
    the print, ``flask`` the smallest that takes it (one that does not fit where none does), ``investment_cm3`` what
    fills that flask, or one made to measure, around the links (the lattice's own metal not counted). All None where
    ``refusal`` says why the links cannot lie so.
    """

    shape: str
    links: int
    size_mm: tuple[float, float, float] | None
    across_mm: float | None
    layers: int | None
    flask: FlaskChoice | None
    investment_cm3: float | None
    refusal: str | None = None


def usual_allowance(wire_mm: float) -> Allowance:
    """Give the allowance for a base ring and short gates under a chain of a wire."""
    return Allowance(beneath_mm=RING * wire_mm + GATE_MM)


def compare_layouts(
    spec: ChainSpec,
    layout: LayoutSpec,
    links: int,
    flasks: Sequence[Flask],
    *,
    head: str,
    layer_mm: float,
    scale: float = 1.0,
    allowance: Allowance | None = None,
    margins: Margins = USUAL_MARGINS,
    tilt: bool = False,
) -> Steps[tuple[LayoutFigures, ...]]:
    """Lay the same number of links out in every shape there is a rule for, and give what each takes.

    ``layout`` tells the face, and what ends the chain has where the shape can have them; the sizes of its turns count
    for its own shape only. With ``tilt`` they may lean in their flasks. The chains are coarse drafts with bare ends: a
    closure's two halves are not counted.
    """
    rough = replace(spec, chord_mm=max(spec.chord_mm, DRAFT_CHORD_MM))
    added = usual_allowance(spec.wire_mm) if allowance is None else allowance
    found = []
    for number, shape in enumerate(COMPARED):
        yield number / len(COMPARED)
        try:
            chain = draft_chain(rough, replace(laid_out_as(layout, shape, links), clasp=None, clasp_length_mm=None))
        except LinkwrightError as error:
            found.append(LayoutFigures(shape, links, None, None, None, None, None, str(error)))
            continue
        found.append(_figures(shape, links, chain, flasks, head, layer_mm, scale, added, margins, tilt))
    return tuple(found)


def laid_out_as(layout: LayoutSpec, shape: str, links: int) -> LayoutSpec:
    """Ask for the same links in another shape. Its ends stay as they are where that shape can have them."""
    same = shape == layout.shape
    trial = replace(
        layout,
        shape=shape,
        links=links,
        inner_length_mm=None,
        length_mm=None,
        fit="nearest",
        points=layout.points if same else (),
        cyclic=layout.cyclic and same,
        turn_pitch_mm=layout.turn_pitch_mm if same else None,
        turn_radius_mm=layout.turn_radius_mm if same else None,
        row_mm=layout.row_mm if same else None,
    )
    ends = ends_of(layout)
    if ends == "open":
        return replace(trial, ends="open")
    return replace(trial, ends=ends if goes_round(trial) else None)


def _figures(
    shape: str,
    links: int,
    chain: Chain,
    flasks: Sequence[Flask],
    head: str,
    layer_mm: float,
    scale: float,
    added: Allowance,
    margins: Margins,
    tilt: bool,
) -> LayoutFigures:
    points = np.concatenate([body.points() for body in chain.bodies])
    across, tall = bounding_cylinder_mm(points)
    x, y = (float(side) + 2 * added.around_mm for side in np.ptp(points[:, :2], axis=0))
    z = tall + added.beneath_mm + added.above_mm
    size = (x * scale, y * scale, z * scale)
    across = (across + 2 * added.around_mm) * scale
    choice = choose_flask(flasks, across, size, head=head, margins=margins, tilt=tilt)
    inside = flask_volume_cm3(choice.flask)
    if choice.findings:
        choice = replace(choice, flask=max(flasks, key=flask_volume_cm3, default=NO_FLASK))
    unlike = {id(body.mesh): body.mesh for body in chain.bodies}
    volumes = {key: volume_mm3(mesh) for key, mesh in unlike.items()}
    metal = sum(volumes[id(body.mesh)] for body in chain.bodies) * scale**3
    return LayoutFigures(
        shape=shape,
        links=links,
        size_mm=size,
        across_mm=across,
        layers=math.ceil(size[2] / layer_mm),
        flask=choice,
        investment_cm3=inside - metal / 1000.0,
    )
