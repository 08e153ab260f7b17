"""How often a closed mesh winds around a point: 1 inside, 0 outside, any number of shells at once."""

import numpy as np

from .mesh import FloatArray, IntArray

_PAIRS_AT_ONCE = 1_000_000


def winding_numbers(corners: FloatArray, at: FloatArray) -> FloatArray:
    """Give the winding number of triangles (m, 3, 3) around each place (k, 3), as (k,).

    A whole number to about 1e-12 for a closed mesh and a place off its surface; something between on the surface.
    The sum of the triangles' solid angles over 4 pi (van Oosterom and Strackee 1983, IEEE Transactions on Biomedical
    Engineering 30, 125-126, equation 8; from memory).
    """
    result = np.zeros(len(at))
    rows = max(1, _PAIRS_AT_ONCE // max(1, len(corners)))
    for begin in range(0, len(at), rows):
        spokes = corners[None] - at[begin : begin + rows, None, None]
        a, b, c = spokes[:, :, 0], spokes[:, :, 1], spokes[:, :, 2]
        la, lb, lc = np.moveaxis(np.linalg.norm(spokes, axis=3), 2, 0)
        triple = (a * np.cross(b, c)).sum(axis=2)
        flat = la * lb * lc + (a * b).sum(axis=2) * lc + (a * c).sum(axis=2) * lb + (b * c).sum(axis=2) * la
        result[begin : begin + rows] = np.arctan2(triple, flat).sum(axis=1) / (2 * np.pi)
    return result


def turns_around(corners: FloatArray, at: FloatArray) -> IntArray:
    """Give the winding number of a closed mesh (m, 3, 3) around each place (k, 3) off its surface, as (k,).

    For many places: each looks straight up and counts the faces it sees, those that look up less those that look down.
    Faces come from a grid over the ground. A place straight below an edge sees exactly one of the faces that share it,
    since both work out the edge's side from the same ordered numbers (half-open edges, as in Shimrat 1962, Algorithm
    112, Communications of the ACM 5, 434).
    """
    ground = corners[:, :, :2]
    low, high = at[:, :2].min(axis=0), at[:, :2].max(axis=0)
    seen = (ground.max(axis=1) >= low).all(axis=1) & (ground.min(axis=1) <= high).all(axis=1)
    faces = corners[seen & (corners[:, :, 2].max(axis=1) >= at[:, 2].min())]
    if not len(faces):
        return np.zeros(len(at), dtype=np.int64)

    cells, place_cell, face_low, face_high = _grid(faces, at, low, high)
    wide = face_high - face_low + 1
    many = wide.prod(axis=1)
    face = np.repeat(np.arange(len(faces)), many)
    nth = np.arange(len(face)) - np.repeat(np.cumsum(many) - many, many)
    cell = (face_low[face, 0] + nth // wide[face, 1]) * cells + face_low[face, 1] + nth % wide[face, 1]
    by_cell = np.argsort(cell, kind="stable")
    face, cell = face[by_cell], cell[by_cell]
    begin = np.searchsorted(cell, place_cell)
    over = np.searchsorted(cell, place_cell, side="right") - begin

    turns = np.zeros(len(at), dtype=np.int64)
    cuts = np.searchsorted(np.cumsum(over), np.arange(_PAIRS_AT_ONCE, over.sum() + _PAIRS_AT_ONCE, _PAIRS_AT_ONCE))
    for group in np.split(np.arange(len(at)), np.unique(cuts)):
        place = np.repeat(group, over[group])
        nth = np.arange(len(place)) - np.repeat(np.cumsum(over[group]) - over[group], over[group])
        turn = _turns_above(faces[face[begin[place] + nth]], at[place])
        turns += np.bincount(place, weights=turn, minlength=len(at)).astype(np.int64)
    return turns


def _grid(
    faces: FloatArray, at: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[int, IntArray, IntArray, IntArray]:
    """Give a grid's cells per side, the cell of every place, and the least and greatest cell of every face, (m, 2).

    As fine as the faces are many, unless they are so wide that they would fill it over and over.
    """
    span = np.where(high > low, high - low, 1.0)
    cells = int(np.clip(np.sqrt(len(at)), 1, 1024))
    while True:
        cell = np.clip(((at[:, :2] - low) / span * cells).astype(np.int64), 0, cells - 1)
        face_low = np.clip((faces[:, :, :2].min(axis=1) - low) / span * cells, 0, cells - 1).astype(np.int64)
        face_high = np.clip((faces[:, :, :2].max(axis=1) - low) / span * cells, 0, cells - 1).astype(np.int64)
        if cells == 1 or (face_high - face_low + 1).prod(axis=1).sum() <= 8 * len(faces) + _PAIRS_AT_ONCE:
            return cells, cell[:, 0] * cells + cell[:, 1], face_low, face_high
        cells //= 2


def _turns_above(faces: FloatArray, at: FloatArray) -> IntArray:
    """Give 1 for each face (n, 3, 3) straight above its place (n, 3) that looks up, -1 if it looks down, else 0."""
    a, b = faces, faces[:, [1, 2, 0]]
    x, y = at[:, None, 0], at[:, None, 1]
    up = (a[:, :, 1] <= y) & (b[:, :, 1] > y)
    down = (b[:, :, 1] <= y) & (a[:, :, 1] > y)
    lower, upper = np.where(up[..., None], a, b), np.where(up[..., None], b, a)
    side = (upper[..., 0] - lower[..., 0]) * (y - lower[..., 1]) - (x - lower[..., 0]) * (upper[..., 1] - lower[..., 1])
    turn: IntArray = ((up & (side > 0)).astype(np.int64) - (down & (side > 0))).sum(axis=1)
    normal = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    height = (normal * (at - faces[:, 0])).sum(axis=1)
    return np.where(turn * height < 0, turn, 0)
