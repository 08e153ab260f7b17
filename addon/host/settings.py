"""Between what the panel holds of a chain and the rules' own values: its two specs, both ways, and the stamps."""

from dataclasses import replace
from typing import Any

from ..rules.base.errors import BadInput
from ..rules.chain.spec import ChainSpec, LayoutSpec
from .options import USUAL_SECTION, section_item, used
from .own_link import AXES, OwnLink, mesh_stamp
from .splines import Polyline
from .stamps import stamp
from .units import exact

SIZE_KEYS = ("wire_mm", "link_length_mm", "link_width_mm", "gap_mm", "chord_mm")
END_KEYS = ("end_wire_mm", "end_link_length_mm", "end_link_width_mm")
TURN_KEYS = ("turn_pitch_mm", "turn_radius_mm", "row_mm")
WOUND = ("spiral", "coil", "serpentine")


def chain_spec(group: Any, own: OwnLink | None) -> ChainSpec:
    """Read what the maker asks of one link; ``own`` is the picked link mesh, for the family of that kind.

    Settings the family does not use are left out, so that what was set for another family never stands in the way.
    """
    sizes: dict[str, Any] = {key: exact(getattr(group, key)) for key in SIZE_KEYS}
    ends: dict[str, Any] = {key: exact(getattr(group, key)) or None for key in END_KEYS} if group.tapered else {}
    if group.family == "mesh":
        if own is None:
            raise BadInput("chain: no link mesh is chosen; choose a closed mesh object as the link")
        sizes |= {"wire_mm": own.wire_mm, "link_length_mm": own.length_mm, "link_width_mm": own.width_mm}
        turn, file = exact(group.turn_deg), group.own_file or None
        return ChainSpec("mesh", **sizes, turn_deg=turn, axis=own.axis, own=own.mesh, own_file=file)
    given: dict[str, Any] = {key: _option(group, key) for key in used(group.family, group.section)}
    return ChainSpec(group.family, **sizes, **{k: v for k, v in given.items() if v is not None}, **ends)


def _option(group: Any, key: str) -> Any:
    """Read a setting of some families only; None leaves it to the family."""
    if key == "section":
        return None if group.section == USUAL_SECTION else group.section
    if key == "strands":
        return 2 if group.strands == "DOUBLE" else 1
    if key == "repeat":
        return int(group.repeat)
    if key == "corner_mm":
        return exact(group.corner_mm) if group.own_corner else None
    if key == "facet_mm":
        return exact(group.facet_mm)
    return exact(getattr(group, key)) or None


def layout_spec(group: Any, line: Polyline | None) -> LayoutSpec:
    """Read how the chain lies; ``line`` is the followed curve in the chain's own coordinates, for shape "curve"."""
    shape = group.shape
    if shape == "curve" and line is None:
        raise BadInput("layout: no curve is chosen; choose a curve object for the chain to follow")
    points: tuple[tuple[float, float, float], ...] = ()
    if shape == "curve" and line is not None:
        points = tuple((float(x), float(y), float(z)) for x, y, z in line.points)
    cyclic = line is not None and line.cyclic
    ends = group.ends if shape == "ring" or cyclic else None
    is_open = (ends or "open") == "open"
    size = _size(group)
    turns: dict[str, Any] = {key: exact(getattr(group, key)) or None for key in TURN_KEYS if has_turn(shape, key)}
    return LayoutSpec(
        shape=shape,
        **size,
        points=points,
        cyclic=cyclic,
        face=group.face,
        ends=ends,
        fit=group.fit if can_ease(group) else "nearest",
        hand_mm=exact(group.hand_mm) if group.has_hand else None,
        clasp=group.clasp if is_open and group.clasp != "NONE" else None,
        clasp_length_mm=(exact(group.clasp_length_mm) or None) if is_open else None,
        **turns,
    )


def size_choice(group: Any) -> str:
    """Give what sets the chain's size: INNER, WRIST, FINGER, LENGTH, LINKS or FILL."""
    if group.shape == "ring":
        return str(group.ring_size)
    return str(group.curve_size if group.shape == "curve" else group.straight_size)


def meets_itself(group: Any) -> bool:
    """Tell whether the chain's two ends come to lie side by side: on a ring, and on a curve that is closed."""
    if group.shape != "curve":
        return bool(group.shape == "ring")
    curve = group.curve
    return bool(curve is not None and len(curve.data.splines) and curve.data.splines[0].use_cyclic_u)


def can_ease(group: Any) -> bool:
    """Tell whether the links' length can be eased to meet the length: where one is asked on a ring or straight."""
    choice = size_choice(group)
    return group.shape in ("ring", "straight") and choice != "LINKS" and (choice, group.shape) != ("LENGTH", "ring")


def _size(group: Any) -> dict[str, Any]:
    """Read the one of the three sizes that is asked for."""
    choice = size_choice(group)
    if choice == "INNER":
        return {"inner_length_mm": exact(group.inner_length_mm)}
    if choice == "WRIST":
        return {"inner_length_mm": exact(group.wrist_mm) + exact(group.ease_mm)}
    if choice == "FINGER":
        return {"inner_length_mm": exact(group.finger_mm)}
    if choice == "LENGTH":
        return {"length_mm": exact(group.length_mm)}
    return {"links": int(group.links)} if choice == "LINKS" else {}


def has_turn(shape: str, key: str) -> bool:
    """Tell whether a shape has turns or rows of that size."""
    return shape == "serpentine" or (shape in WOUND and key != "row_mm")


def apply_chain(group: Any, chain: ChainSpec, layout: LayoutSpec) -> None:
    """Write specs into a chain's settings, every field of them, so that later defaults never change an old file.

    The objects a chain refers to, its curve and its link mesh, are set by the caller.
    """
    write_all(group)
    apply_link(group, chain)
    _apply_layout(group, layout)


def apply_link(group: Any, chain: ChainSpec) -> None:
    """Write what is asked of one link into a chain's settings."""
    group.family = chain.family
    for key in SIZE_KEYS:
        setattr(group, key, getattr(chain, key))
    group.section = section_item(chain.family, chain.section)
    group.wire_width_mm = chain.wire_width_mm or 0.0
    group.own_corner = chain.corner_mm is not None
    group.corner_mm = group.corner_mm if chain.corner_mm is None else chain.corner_mm
    group.strands = "DOUBLE" if chain.strands == 2 else "SINGLE"
    group.facet_mm = chain.facet_mm
    group.repeat = chain.repeat
    group.long_link_mm = chain.long_link_mm or 0.0
    group.stud_mm = chain.stud_mm or 0.0
    group.turn_deg = group.turn_deg if chain.turn_deg is None else chain.turn_deg
    _apply_axis(group, chain.axis)
    group.own_file = chain.own_file or ""
    group.tapered = chain.tapered
    for key in END_KEYS:
        setattr(group, key, getattr(chain, key) or 0.0)


def _apply_axis(group: Any, axis: tuple[float, float, float] | None) -> None:
    if axis is None:
        group.axis_by = "AUTO"
        return
    named = [name for name, value in AXES.items() if value == axis]
    group.axis_by = named[0] if named else "OWN"
    group.axis = axis


def _apply_layout(group: Any, layout: LayoutSpec) -> None:
    group.shape = layout.shape
    group.face = layout.face
    group.fit = layout.fit
    group.has_hand = layout.hand_mm is not None
    group.hand_mm = layout.hand_mm if layout.hand_mm is not None else group.hand_mm
    group.inner_length_mm = layout.inner_length_mm or group.inner_length_mm
    group.length_mm = layout.length_mm or group.length_mm
    group.links = layout.links or group.links
    asked = {"INNER": layout.inner_length_mm, "LENGTH": layout.length_mm, "LINKS": layout.links}
    choice = next((name for name, value in asked.items() if value is not None), "FILL")
    group.ring_size = choice if choice != "FILL" else "INNER"
    group.straight_size = choice if choice != "FILL" else "LENGTH"
    group.curve_size = choice if layout.shape == "curve" else "FILL"
    group.ends = layout.ends or "closed"
    group.clasp = layout.clasp or "NONE"
    group.clasp_length_mm = layout.clasp_length_mm or 0.0
    for key in TURN_KEYS:
        setattr(group, key, getattr(layout, key) or 0.0)


def write_all(group: Any) -> None:
    """Set every setting to the value it has: one never set would follow the default of a later version."""
    for prop in group.bl_rna.properties:
        if prop.type in ("BOOLEAN", "INT", "FLOAT", "ENUM", "STRING") and prop.identifier not in ("hold", "rna_type"):
            setattr(group, prop.identifier, getattr(group, prop.identifier))


def chain_stamp(chain: ChainSpec, layout: LayoutSpec) -> str:
    """Give the stamp of a chain's specs; a link mesh counts by what it holds."""
    own = "" if chain.own is None else mesh_stamp(chain.own)
    return stamp(replace(chain, own=None), own, layout)
