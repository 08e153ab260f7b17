"""The skin of a job to be coloured by its elements: its points, and which element each of them belongs to."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..solid.mesh import Body, FloatArray, IntArray, Mesh
from ..solid.point_normals import point_normals, unit
from .nearest_element import Elements
from .network import LINK, Network

# Edges of the lattice longer than this share of the wire are halved, so that colours change along them.
FINE = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class SkinElements:
    """Points (p, 3) with their outward ``normal`` (p, 3), the ``element`` (p,) of each, and ``faces`` (t, 3)."""

    points: FloatArray
    normal: FloatArray
    element: IntArray
    faces: IntArray


def skin_elements(network: Network, bodies: Sequence[Body], solids: Sequence[Mesh]) -> SkinElements:
    """Give the skin of bodies and of the lattice's solids, in the order in which they own the network's elements.

    ``solids`` may be fewer than the network has, or none.
    """
    first = np.searchsorted(network.owner, np.arange(len(network.owners) + 1))
    elements = Elements(network.at, first)
    links = network.elements_of(LINK)
    size = FINE * float(np.median(network.bore_mm[links])) if len(links) else 1.0
    known: dict[int, tuple[FloatArray, IntArray]] = {}
    points: list[FloatArray] = []
    normals: list[FloatArray] = []
    of: list[IntArray] = []
    faces: list[IntArray] = []
    count = 0
    for number, body in enumerate(bodies):
        mesh, places = body.mesh, body.points()
        if id(mesh) not in known:
            nearest = elements.nearest(places, np.full(len(places), number)) - first[number]
            known[id(mesh)] = (point_normals(mesh.points, mesh.triangles), nearest)
        own, nearest = known[id(mesh)]
        points.append(places)
        normals.append(own @ body.pose.rotation.T)
        of.append(nearest + first[number])
        faces.append(mesh.triangles + count)
        count += len(places)
    for number, mesh in enumerate(solids, len(bodies)):
        places, own, triangles = _finer(mesh.points, point_normals(mesh.points, mesh.triangles), mesh.triangles, size)
        points.append(places)
        normals.append(own)
        of.append(elements.nearest(places, np.full(len(places), number)))
        faces.append(triangles + count)
        count += len(places)
    return SkinElements(np.concatenate(points), np.concatenate(normals), np.concatenate(of), np.concatenate(faces))


def _finer(
    points: FloatArray, normal: FloatArray, triangles: IntArray, size_mm: float
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Halve triangles across their longest edge until none is longer than ``size_mm``; points of their own in between.

    Halves of neighbours need not meet point to point: they lie in the same planes.
    """
    done: list[IntArray] = []
    left = triangles
    while len(left):
        edges = points[np.roll(left, -1, axis=1)] - points[left]
        length = np.einsum("ijk,ijk->ij", edges, edges)
        longest = length.argmax(axis=1)
        long = length.max(axis=1) > size_mm**2
        done.append(left[~long])
        left, longest = left[long], longest[long]
        rows = np.arange(len(left))
        a, b, c = (left[rows, (longest + k) % 3] for k in range(3))
        middle = len(points) + rows
        points = np.concatenate((points, (points[a] + points[b]) / 2))
        between = unit(np.asarray(normal[a] + normal[b], dtype=np.float64))
        normal = np.concatenate((normal, between))
        left = np.concatenate((np.stack((a, middle, c), axis=1), np.stack((middle, b, c), axis=1)))
    return points, normal, np.concatenate(done)
