"""What is wrong with how bodies hang together: not linked, linked to a stranger, or undecided."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import Body, FloatArray
from .finding import Finding
from .groups import units
from .joint_map import LINKED, NOT_LINKED, UNDECIDED, JointMap

BoolArray = npt.NDArray[np.bool_]
Numbers = tuple[int, int]

# A text about more bodies than this names the first ones only.
MOST_NAMES = 6


@dataclass(frozen=True, slots=True, eq=False)
class Hanging:
    """How a set of bodies hangs together.

    ``sound`` (n,): can be judged; ``handled`` (n,): has a handle, or may have one; ``middles`` (n, 3) mm; ``fused``
    pairs; ``joints``: the pairs that should be linked, None when nobody knows; ``near``: the gap in mm of the pairs
    nearer than the search range. Pairs have the lower number first.
    """

    bodies: Sequence[Body]
    sound: BoolArray
    handled: BoolArray
    middles: FloatArray
    fused: frozenset[Numbers]
    joint_map: JointMap
    joints: frozenset[Numbers] | None
    near: Mapping[Numbers, float]


def link_findings(hanging: Hanging) -> tuple[Finding, ...]:
    """Say what hangs together wrongly: against the joints when they are known, else by what the set itself shows."""
    states = hanging.joint_map.states()
    joints = hanging.joints or frozenset()
    judged = [pair for pair in sorted(states.keys() | joints) if _is_judged(hanging, pair)]
    alone = _undecided_alone(hanging)
    found: list[Finding] = []
    for pair in judged:
        state = states.get(pair, NOT_LINKED)
        if pair in joints and state == NOT_LINKED:
            found.append(_missing(hanging, pair))
        elif state == LINKED and hanging.joints is not None and pair not in joints:
            found.append(_strange(hanging, pair))
        elif state == UNDECIDED and (pair in joints or pair in alone):
            found.append(_undecided(hanging, pair, expected=pair in joints))
    found += [
        _locked(hanging, group) for group in hanging.joint_map.groups if not _told_by_pairs(hanging, group, alone)
    ]
    if hanging.joints is None:
        found += _linked_to_nothing(hanging, states)
        found += _parted(hanging, states)
    return tuple(found)


def _is_judged(hanging: Hanging, pair: Numbers) -> bool:
    """Tell whether a pair was judged at all; fused and unsound bodies have findings of their own."""
    return pair not in hanging.fused and bool(hanging.sound[list(pair)].all())


def _undecided_alone(hanging: Hanging) -> frozenset[Numbers]:
    joint_map = hanging.joint_map
    at = np.flatnonzero(joint_map.alone == UNDECIDED)
    pairs = zip(joint_map.a[at].tolist(), joint_map.b[at].tolist(), strict=True)
    return frozenset(pair for pair in pairs if _is_judged(hanging, pair))


def _told_by_pairs(hanging: Hanging, group: Sequence[int], alone: frozenset[Numbers]) -> bool:
    """Tell whether undecided pairs already hold all the units of a group together."""
    inside = set(group)
    pairs = [pair for pair in alone if inside.issuperset(pair)]
    unit = hanging.joint_map.unit
    if not pairs:
        return False
    together = units(int(unit.max()) + 1, unit[np.array(pairs)])
    return len(np.unique(together[unit[list(group)]])) == 1


def _linked_to_nothing(hanging: Hanging, states: dict[Numbers, int]) -> list[Finding]:
    """Say which bodies of a set of unknown origin hang on nothing; a set that was never to hang says nothing."""
    is_chain = LINKED in states.values()
    if len(hanging.bodies) < 2 or not (is_chain or hanging.handled.any()):
        return []
    loose = hanging.sound.copy()
    for pair in hanging.fused:
        loose[list(pair)] = False
    # Nor is a body loose that may hang on an unsound one: nobody can tell.
    for pair, state in states.items():
        if state != NOT_LINKED:
            loose[list(pair)] = False
    for group in hanging.joint_map.groups:
        loose[list(group)] = False
    none = "none of these bodies is " + ("linked" if hanging.sound.all() else "known to be linked")
    found = []
    for number in np.flatnonzero(loose):
        name = hanging.bodies[number].name
        text = f"{name}: linked to nothing" + (
            ", while others are linked; it would fall out as a loose piece. Link it, or take it out of the set."
            if is_chain
            else f"; {none}. Check that they were placed as they should hang."
        )
        severity = "stop" if is_chain else "warn"
        found.append(Finding("not-linked", severity, (name,), text, _middle(hanging, [int(number)])))
    return found


def _parted(hanging: Hanging, states: dict[Numbers, int]) -> list[Finding]:
    """Say where a chain of unknown origin may be broken: two of its ends near each other but not linked.

    An end is a body linked to one other; the two ends of three links in a row lie near each other as they should.
    Pieces of chain that come near each other nowhere are told as pieces.
    """
    linked = np.array([pair for pair, state in states.items() if state == LINKED], dtype=np.int64).reshape(-1, 2)
    ends = np.bincount(linked.ravel(), minlength=len(hanging.bodies)) == 1
    held_by = np.zeros(len(hanging.bodies), dtype=np.int64)
    held_by[linked[:, 0]], held_by[linked[:, 1]] = linked[:, 1], linked[:, 0]
    found = []
    meets = []
    for pair in sorted(hanging.near):
        apart = states.get(pair, NOT_LINKED) == NOT_LINKED and held_by[pair[0]] != held_by[pair[1]]
        if apart and ends[list(pair)].all() and _is_judged(hanging, pair):
            one, other = names = _names(hanging, pair)
            text = (
                f"{one} and {other}: both end a row of links, {hanging.near[pair]:.2f} mm apart, and are not linked; "
                "if they should be neighbours, the chain comes apart here. Pass one through the other."
            )
            found.append(Finding("not-linked", "warn", names, text, _middle(hanging, pair), hanging.near[pair]))
            meets.append(pair)
    known = [pair for pair, state in states.items() if state != NOT_LINKED] + list(hanging.fused) + meets
    piece = units(len(hanging.bodies), np.array(known, dtype=np.int64).reshape(-1, 2))
    sizes = np.bincount(piece[np.unique(linked)]) if len(linked) else np.zeros(0, dtype=np.int64)
    for number in np.flatnonzero(sizes)[1:]:
        members = np.flatnonzero(piece == number)
        first, last = _names(hanging, [int(members[0]), int(members[-1])])
        text = (
            f"{first} to {last}: a piece of {len(members)} bodies that hangs on no other piece. Two pieces in one set "
            "are fine; if this should be one chain, look for the joint that is missing."
        )
        found.append(Finding("not-linked", "note", (first, last), text, _middle(hanging, members.tolist())))
    return found


def _missing(hanging: Hanging, pair: Numbers) -> Finding:
    one, other = names = _names(hanging, pair)
    text = f"{one} and {other}: neighbours, but not linked; the chain comes apart here. Pass one through the other."
    return Finding("not-linked", "stop", names, text, _middle(hanging, pair))


def _strange(hanging: Hanging, pair: Numbers) -> Finding:
    one, other = names = _names(hanging, pair)
    text = f"{one} and {other}: linked, but not neighbours; the chain cannot lie as designed. Move the turns apart."
    return Finding("linked-to-stranger", "stop", names, text, _middle(hanging, pair))


def _undecided(hanging: Hanging, pair: Numbers, *, expected: bool) -> Finding:
    one, other = names = _names(hanging, pair)
    text = (
        f"{one} and {other}: cannot tell whether they are linked; by count they are not, yet no straight line draws "
        "them apart. Look at them, and turn or move one until it is plain."
    )
    return Finding("undecided-link", "stop" if expected else "warn", names, text, _middle(hanging, pair))


def _locked(hanging: Hanging, group: Sequence[int]) -> Finding:
    names = _names(hanging, group)
    listed = ", ".join(names[:MOST_NAMES]) + (f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else "")
    text = (
        f"{listed}: as a group they may be locked together, though no two of them need be; no straight line draws any "
        "part of it out. Look at them, and move them apart if they should be free."
    )
    return Finding("undecided-link", "warn", names, text, _middle(hanging, group))


def _middle(hanging: Hanging, numbers: Sequence[int]) -> tuple[float, float, float]:
    x, y, z = hanging.middles[list(numbers)].mean(axis=0)
    return (float(x), float(y), float(z))


def _names(hanging: Hanging, numbers: Sequence[int]) -> tuple[str, ...]:
    return tuple(hanging.bodies[number].name for number in numbers)
