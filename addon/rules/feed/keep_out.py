"""Where the maker wants no gate: marked faces of the link, and single places that were barred."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..solid.feet import feet
from ..solid.mesh import Body, FloatArray, Mesh
from .spec import FeedSpec

# A tip keeps this far from marked faces: a stone's rim needs metal around it. Our judgement.
MARGIN_MM = 0.3
# From a barred place the middle of a tip keeps this many of its diameters: nearer it would be the same gate again.
BARRED_TIPS = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class KeepOut:
    """What gates of one side keep away from: marked triangles per mesh, (m, 3, 3) each, and barred places per body.

    Both in the bodies' own coordinates; meshes by identity.
    """

    faces: dict[int, FloatArray]
    places: dict[str, FloatArray]

    def __bool__(self) -> bool:
        return bool(self.faces or self.places)

    def to_marked(self, body: Body, at: FloatArray) -> FloatArray:
        """Give how far places (k, 3) in a body's own coordinates lie from its marked faces, (k,); inf without any."""
        marked = self.faces.get(id(body.mesh))
        return np.full(len(at), np.inf) if marked is None else _to_faces(marked, at)

    def room_mm(self, body: Body, at: FloatArray, tip_mm: float) -> FloatArray:
        """Give how far tips that enter a body at places (k, 3) in its own coordinates stay clear: under 0 inside."""
        room = self.to_marked(body, at) - tip_mm / 2 - MARGIN_MM
        barred = self.places.get(body.name)
        if barred is not None and len(at):
            near = np.linalg.norm(at[:, None] - barred, axis=2).min(axis=1)
            room = np.minimum(room, near - BARRED_TIPS * tip_mm)
        return np.asarray(room)


def keep_out(bodies: Sequence[Body], spec: FeedSpec, *, above: bool) -> KeepOut:
    """Read what the maker marked.

    Triangle numbers mean the mesh that most bodies have, and every mesh drawn with the same triangles. Raises BadInput
    for numbers that this mesh does not have.
    """
    faces = _marked(bodies, spec.keep_out) if spec.keep_out else {}
    places: dict[str, list[FloatArray]] = {}
    for one in spec.barred:
        if one.above == above:
            places.setdefault(one.body, []).append(np.array(one.at))
    return KeepOut(faces, {name: np.array(at) for name, at in places.items()})


def _marked(bodies: Sequence[Body], numbers: Sequence[int]) -> dict[int, FloatArray]:
    kinds: dict[bytes, list[Mesh]] = {}
    known: dict[int, bytes] = {}
    for body in bodies:
        mesh = body.mesh
        if id(mesh) not in known:
            known[id(mesh)] = np.ascontiguousarray(mesh.triangles).tobytes()
        kinds.setdefault(known[id(mesh)], []).append(mesh)
    most = max(kinds.values(), key=len)
    rows = np.unique(np.array(numbers, dtype=np.int64))
    count = len(most[0].triangles)
    if rows[0] < 0 or rows[-1] >= count:
        wrong = int(rows[0] if rows[0] < 0 else rows[-1])
        raise BadInput(
            f"feed.keep_out: the link has no triangle {wrong}; its {count} are numbered 0 to {count - 1}, mark the "
            "faces again"
        )
    return {id(mesh): mesh.points[mesh.triangles[rows]] for mesh in most}


def _to_faces(corners: FloatArray, at: FloatArray) -> FloatArray:
    """Give the distance of places (k, 3) from triangles (m, 3, 3), (k,)."""
    centre = corners.mean(axis=1)
    size = np.linalg.norm(corners - centre[:, None], axis=2).max(axis=1)
    found = np.empty(len(at))
    for k, place in enumerate(at):
        away = np.linalg.norm(centre - place, axis=1)
        # Only triangles that may be nearer than the farthest corner of any other are measured.
        near = corners[away - size <= (away + size).min()]
        square, _ = feet(np.moveaxis(near, 0, -1), np.broadcast_to(place[:, None], (3, len(near))))
        found[k] = np.sqrt(square.min())
    return found
