"""What a cast plan shows in the 3D view: the metal as it fills and as it freezes, at the time of a slider.

The colours are those of Okabe and Ito (Color Universal Design, 2008), told apart by colour-blind eyes; each state is
also darker or brighter than the one before. Which element every drawn point belongs to is found once, when a plan
comes; the slider only chooses the colours of the elements. `gap_colours` draws them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from ..rules.cast.plan import CastPlan
from ..rules.cast.replay import Replay, replay
from ..rules.cast.skin_elements import skin_elements
from ..rules.cast.verdict import FULL, SHORT
from ..rules.feed.lattice import LatticeSolid
from ..rules.solid.mesh import Body, FloatArray
from .current import SAME_UP, dated_now, up_of
from .gap_colours import OFF_MM, UNDER_FLOOR, Legend, Painting, colours, shade_of
from .print_view import InScene

BLUE = (0.0, 0.447, 0.698, 1.0)
SKY = (0.337, 0.706, 0.914, 1.0)
YELLOW = (0.941, 0.894, 0.259, 1.0)
ORANGE = (0.902, 0.624, 0.0, 1.0)
# What holds no metal keeps the grey it has without us; its swatch in the legend is about that.
BARE = (0.55, 0.55, 0.55, 0.0)
BARE_SWATCH = (0.55, 0.55, 0.55, 1.0)
# From what is solid first to what is last, ever brighter.
FIRST_TO_LAST = (BLUE, SKY, YELLOW)
STEPS = 5
KINDS = ("FILL", "FREEZE", "ORDER")
# The slider counts as at its end from this share.
END = 0.9995

Colours = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]


class CastView:
    """The last plan's skin and its pour in time; holds only arrays made when it came."""

    def __init__(self) -> None:
        # What the plan belongs to, beside its stamp: how links and struts stood, and which way was up.
        self._stood = ""
        self._up: FloatArray = np.zeros(3)
        self._replay: Replay | None = None
        self._paintings: dict[str, Painting] = {}
        self._places: npt.NDArray[np.float32] = np.zeros((0, 3), dtype=np.float32)
        self._shade: npt.NDArray[np.float32] = np.zeros((0, 1), dtype=np.float32)
        self._faces: npt.NDArray[np.int32] = np.zeros((0, 3), dtype=np.int32)
        self._element: npt.NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        self._drawn: BoolArray = np.zeros(0, dtype=np.bool_)
        self._owners: tuple[tuple[str, int], ...] = ()

    def keep(
        self,
        state: Any,
        planned: CastPlan,
        bodies: Sequence[Body],
        solids: Sequence[LatticeSolid],
        in_scene: InScene,
    ) -> None:
        """Keep the pour of the result now in ``state``, if it was forecast, and show what is worth a look first.

        ``bodies`` and the lattice's ``solids`` (none where it is not shown) stand as the forecast's network does.
        """
        forecast = planned.forecast
        if forecast is None:
            self.stop()
            return
        skin = skin_elements(forecast.network, bodies, [solid.mesh for solid in solids])
        self._replay = replay(forecast, planned.alloy.liquidus_c.value)
        self._stood, self._up = _stood(state), np.array(state.up, dtype=np.float64)
        self._owners = tuple((body.name, len(body.mesh.triangles)) for body in bodies)
        normal = skin.normal @ in_scene.turn
        self._places = ((in_scene.back(skin.points) + OFF_MM * normal) / in_scene.mm).astype(np.float32)
        self._shade = shade_of(normal)[:, None].astype(np.float32)
        self._faces = skin.faces.astype(np.int32)
        self._element = skin.element
        self._drawn = np.zeros(len(forecast.network.at), dtype=np.bool_)
        self._drawn[skin.element] = True
        state.cast_fill_s = self._replay.filling_ends_s(self._drawn)
        state.cast_freeze_s = self._replay.freezing_ends_s(self._drawn)
        self._paintings = {kind: self._painting(kind, 1.0, state) for kind in KINDS}
        colours.put_lasting(self._paintings, self.lasts)
        state.colour_by = "FILL" if any(link.verdict == SHORT for link in forecast.links) else "ORDER"
        state.cast_share = 100.0

    def stop(self) -> None:
        """Forget the plan."""
        self._replay, self._paintings = None, {}
        colours.put_lasting({}, None)

    def kept_for(self, state: Any) -> bool:
        """Tell whether there is a pour of the chain that was inspected last, as it stood when that was planned."""
        return bool(
            self._replay is not None
            and state.has_result
            and state.plan_stamp
            and state.subject == state.plan_subject
            and _stood(state) == self._stood
        )

    def lasts(self, state: Any, scene: Any) -> bool:
        """Tell whether the pour is that of the chain as it stands in a scene: nothing was changed or turned since."""
        ob = scene.objects.get(state.plan_subject) if self.kept_for(state) else None
        if ob is None or state.plan_stamp != dated_now(ob, scene):
            return False
        return not self._up.any() or bool(np.abs(up_of(ob) - self._up).max() <= SAME_UP)

    def move(self, state: Any) -> None:
        """Colour the metal for the time in ``state``, in the way that is chosen there."""
        if self.kept_for(state) and state.colour_by in KINDS:
            self._paintings[state.colour_by] = self._painting(state.colour_by, state.cast_share / 100.0, state)

    def _painting(self, kind: str, share: float, state: Any) -> Painting:
        assert self._replay is not None
        if kind == "ORDER":
            title = "solid after"
            of_elements, legend = order_colours(self._replay, self._drawn)
        elif kind == "FILL":
            time_s = share * state.cast_fill_s
            title = f"filling, {time_s:.2f} s"
            of_elements, legend = fill_colours(self._replay, self._drawn, time_s, ended=share >= END)
        else:
            time_s = share * state.cast_freeze_s
            title = f"freezing, {time_s:.1f} s"
            of_elements, legend = freeze_colours(self._replay, self._drawn, time_s)
        painted = of_elements[self._element]
        painted[:, :3] *= self._shade
        return Painting(self._places, painted, self._faces, title, legend, self._owners)


def fill_colours(run: Replay, drawn: BoolArray, time_s: float, *, ended: bool) -> tuple[Colours, Legend]:
    """Give the colours (n, 4) of elements by how full they are, and a legend that says how much of the metal is."""
    now = run.filled if ended else run.filled_at(time_s)
    full = now >= FULL
    begun = ~full & (now > 0.0)
    colour = np.tile(np.array(BARE), (len(now), 1))
    colour[begun] = SKY
    colour[begun, 3] = 0.3 + 0.7 * now[begun]
    colour[full] = BLUE
    inside = run.volume_mm3[drawn] * now[drawn]
    whole = max(float(run.volume_mm3[drawn].sum()), 1e-12)
    share = 100.0 * float(inside[full[drawn]].sum()) / whole
    if ended:
        colour[~full] = UNDER_FLOOR
        never = 100.0 - 100.0 * float(inside.sum()) / whole
        told: Legend = ((f"stays short: {never:.2g} %", UNDER_FLOOR),) if (~full & drawn).any() else ()
    else:
        running = 100.0 * float(inside[begun[drawn]].sum()) / whole
        told = (
            (f"no metal yet: {max(100.0 - share - running, 0.0):.0f} %", BARE_SWATCH),
            (f"being filled: {running:.0f} %", SKY),
        )
    return colour.astype(np.float32), (*told, (f"full: {share:.0f} %", BLUE))


def freeze_colours(run: Replay, drawn: BoolArray, time_s: float) -> tuple[Colours, Legend]:
    """Give the colours (n, 4) of elements by how solid they are, and a legend that says how much of the metal is."""
    solid = run.solid_at(time_s)
    known = np.nan_to_num(solid, nan=0.0)
    colour = _between((YELLOW, SKY), known)
    colour[known <= 0.0] = ORANGE
    colour[known >= 1.0] = BLUE
    colour[np.isnan(solid)] = BARE
    metal = run.volume_mm3 * np.where(drawn, run.filled_at(time_s), 0.0)
    whole = max(float(metal.sum()), 1e-12)
    rows: Legend = tuple(
        (f"{name}: {100.0 * float(metal[here].sum()) / whole:.0f} %", swatch)
        for name, here, swatch in (
            ("solid", solid >= 1.0, BLUE),
            ("more than half solid", (solid >= 0.5) & (solid < 1.0), _swatch(0.75)),
            ("freezing", (solid > 0.0) & (solid < 0.5), _swatch(0.25)),
            ("liquid", solid <= 0.0, ORANGE),
        )
    )
    bare: Legend = (("no metal", BARE_SWATCH),) if np.isnan(solid[drawn]).any() else ()
    return colour.astype(np.float32), (*bare, *rows)


def order_colours(run: Replay, drawn: BoolArray) -> tuple[Colours, Legend]:
    """Give the colours (n, 4) of elements by when they are solid, first to last, and a legend in seconds.

    Colours change evenly with the metal that is solid before: one thick hub does not leave all links alike.
    """
    known = np.isfinite(run.solid_s)
    some = np.flatnonzero(known & drawn)
    some = some[np.argsort(run.solid_s[some], kind="stable")]
    marks = np.linspace(0.0, 1.0, STEPS)
    at_s = np.zeros(STEPS)
    colour = np.tile(np.array(BARE), (len(known), 1))
    if len(some):
        before = np.cumsum(run.volume_mm3[some]) - run.volume_mm3[some]
        at_s = np.interp(marks, before / max(float(before[-1]), 1e-12), run.solid_s[some])
        colour[known] = _between(FIRST_TO_LAST, np.interp(run.solid_s[known], at_s, marks))
    words = ("first", *[""] * (STEPS - 2), "last")
    rows: Legend = tuple(
        (f"{seconds:.1f} s {word}".rstrip(), _colour(FIRST_TO_LAST, mark))
        for seconds, mark, word in zip(at_s.tolist(), marks.tolist(), words, strict=True)
    )
    bare: Legend = (("no metal", BARE_SWATCH),) if (~known & drawn).any() else ()
    return colour.astype(np.float32), (*bare, *rows)


def _between(stops: Sequence[tuple[float, float, float, float]], share: FloatArray) -> FloatArray:
    """Give colours (n, 4) between even stops, by shares (n,) from 0 to 1."""
    places = np.linspace(0.0, 1.0, len(stops))
    return np.stack([np.interp(share, places, [stop[k] for stop in stops]) for k in range(4)], axis=1)


def _colour(stops: Sequence[tuple[float, float, float, float]], share: float) -> tuple[float, float, float, float]:
    red, green, blue, alpha = _between(stops, np.array([share]))[0].tolist()
    return red, green, blue, alpha


def _swatch(share: float) -> tuple[float, float, float, float]:
    return _colour((YELLOW, SKY), share)


def _stood(state: Any) -> str:
    """Give how the parts of the chain that was inspected last stood then."""
    return " ".join(row.stamp for row in state.objects)


cast_view = CastView()
