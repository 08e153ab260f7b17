"""Closed curves in space whose links are known, and round tubes along them, for the tests of the joint map."""

import numpy as np

from addon.rules.solid.mesh import Body, FloatArray, Mesh, mesh


def ring(radius: float, middle=(0.0, 0.0, 0.0), *, across=(0.0, 0.0, 1.0), sides: int = 64) -> FloatArray:
    """A circle, counter-clockwise seen against its axis ``across``."""
    axis = np.asarray(across) / np.linalg.norm(across)
    one = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    one /= np.linalg.norm(one)
    t = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)[:, None]
    return np.asarray(middle) + radius * (np.cos(t) * one + np.sin(t) * np.cross(axis, one))


def torus_strand(turns: int, phase: float, *, big: float = 6.0, small: float = 2.0, sides: int = 300) -> FloatArray:
    """One strand that runs once along a torus and ``turns`` times round it: two of them, half a turn apart, make the
    torus link T(2, 2 turns)."""
    t = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
    out = big + small * np.cos(turns * t + phase)
    return np.stack([out * np.cos(t), out * np.sin(t), small * np.sin(turns * t + phase)], axis=1)


def wound_round(turns: int, *, big: float = 6.0, small: float = 2.0, sides: int = 300) -> FloatArray:
    """A closed curve that runs ``turns`` times round the wire of a ring of radius ``big`` about the z axis.

    It spirals along a short stretch of the ring and goes straight back outside.
    """
    t = np.linspace(0.0, 2.0 * np.pi * turns, sides)
    along = np.linspace(-0.5, 0.5, sides)
    out = big + small * np.cos(t)
    coil = np.stack([out * np.cos(along), out * np.sin(along), small * np.sin(t)], axis=1)
    back = np.stack(
        [(big + 2.0 * small) * np.cos(along[::-30]), (big + 2.0 * small) * np.sin(along[::-30]), 0 * along[::-30]],
        axis=1,
    )
    return np.concatenate([coil, back])


def whitehead() -> tuple[FloatArray, FloatArray]:
    """The Whitehead link: a ring and a figure eight that pass over and under in turn at all five crossings.

    Drawn from the top the eight crosses itself at t = 0 and pi, and the ring at t = 45, 135, 225 and 315 degrees.
    """
    t = np.linspace(0.0, 2.0 * np.pi, 160, endpoint=False)
    eight = np.stack([5.0 * np.sin(t), 2.0 * np.sin(2.0 * t), 1.5 * np.cos(3.0 * t)], axis=1)
    return ring(np.sqrt(16.5)), eight


def borromean(scale: float = 1.0) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Three ellipses, each upright to the next, that hang together though no two are linked."""
    t = np.linspace(0.0, 2.0 * np.pi, 80, endpoint=False)
    long, short, none = 6.0 * np.cos(t), 3.0 * np.sin(t), 0.0 * t
    return tuple(
        scale * np.stack(order, axis=1) for order in ((long, short, none), (none, long, short), (short, none, long))
    )


def closed_chain(
    links: int, *, radius: float = 12.0, half_length: float = 4.4, half_width: float = 2.3
) -> list[FloatArray]:
    """Oval loops round a ring, neighbours turned 90 degrees and linked."""
    t = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
    found = []
    for number in range(links):
        turn = 2.0 * np.pi * number / links
        out, along = np.array([np.cos(turn), np.sin(turn), 0.0]), np.array([-np.sin(turn), np.cos(turn), 0.0])
        wide = out if number % 2 else np.array([0.0, 0.0, 1.0])
        found.append(radius * out + half_length * np.outer(np.cos(t), along) + half_width * np.outer(np.sin(t), wide))
    return found


def tube(curve: FloatArray, radius: float = 0.3, sides: int = 10) -> Mesh:
    """A closed round tube along a closed curve, faces outward."""
    tangent = np.roll(curve, -1, axis=0) - np.roll(curve, 1, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    # Seen from the curve itself, so that tubes along moved copies of a curve are moved copies.
    first = np.cross(tangent[0], curve.mean(axis=0) - curve[0])
    frames = [first / np.linalg.norm(first)]
    for t in tangent[1:]:
        carried = frames[-1] - t * (frames[-1] @ t)
        frames.append(carried / np.linalg.norm(carried))
    normal = np.array(frames)
    binormal = np.cross(tangent, normal)
    # Carried once round, the frame comes back turned; the last ring of faces takes up the whole steps of that turn.
    steps = round(float(np.arctan2(normal[0] @ binormal[-1], normal[0] @ normal[-1])) / (2.0 * np.pi) * sides)
    angle = np.arange(sides) * 2.0 * np.pi / sides
    points = curve[:, None] + radius * (
        np.cos(angle)[:, None] * normal[:, None] + np.sin(angle)[:, None] * binormal[:, None]
    )
    row, column = np.meshgrid(np.arange(len(curve)), np.arange(sides), indexing="ij")
    shift = np.where(row == len(curve) - 1, steps, 0)
    below = (row + 1) % len(curve) * sides
    a, b = row * sides + column, row * sides + (column + 1) % sides
    c, d = below + (column - shift) % sides, below + (column + 1 - shift) % sides
    faces = np.concatenate([np.stack([a, b, d], axis=2).reshape(-1, 3), np.stack([a, d, c], axis=2).reshape(-1, 3)])
    return mesh(points.reshape(-1, 3), faces)


def tubes(*curves: FloatArray, radius: float = 0.3) -> list[Body]:
    """Bodies "body 1", "body 2", ... of tubes along curves."""
    return [Body(f"body {number + 1}", tube(curve, radius)) for number, curve in enumerate(curves)]


def crossings(a: FloatArray, b: FloatArray, view: FloatArray) -> int:
    """The linking number of two polygons by counting the signed crossings of a drawing, where a passes over b.

    Reference: the textbook definition (Rolfsen 1976, Knots and Links, section 5.D, definition 3; from memory). ``view``
    (3, 3) orthogonal, looked at from its third row. Plain loops: a check on the fast way, nothing more.
    """
    p, q = a @ view.T, b @ view.T
    total = 0
    for start, end in zip(p, np.roll(p, -1, axis=0), strict=True):
        for begin, stop in zip(q, np.roll(q, -1, axis=0), strict=True):
            u, v, w = (end - start), (stop - begin), (begin - start)
            turn = u[0] * v[1] - u[1] * v[0]
            if turn == 0.0:
                continue
            s, t = (w[0] * v[1] - w[1] * v[0]) / turn, (w[0] * u[1] - w[1] * u[0]) / turn
            if 0.0 <= s < 1.0 and 0.0 <= t < 1.0 and start[2] + s * u[2] > begin[2] + t * v[2]:
                total += 1 if turn > 0.0 else -1
    return total


def quadrature(a, b, samples: int = 400) -> float:
    """The Gauss integral of two smooth closed curves by the trapezoid rule, which converges fast on closed curves.

    ``a`` and ``b``: functions of an angle array giving (n, 3). Derivatives by the discrete Fourier transform.
    """
    t = np.linspace(0.0, 2.0 * np.pi, samples, endpoint=False)
    p, q = a(t), b(t)
    wave = np.fft.fftfreq(samples, 1.0 / samples)[:, None] * 1j
    dp, dq = (np.real(np.fft.ifft(wave * np.fft.fft(x, axis=0), axis=0)) for x in (p, q))
    apart = p[:, None] - q[None]
    triple = np.einsum("ijk,ijk->ij", apart, np.cross(dp[:, None], dq[None]))
    return float((triple / np.linalg.norm(apart, axis=2) ** 3).sum() * (2.0 * np.pi / samples) ** 2 / (4.0 * np.pi))


def blocks(filled: np.ndarray, size_mm: float = 1.0) -> Mesh:
    """The surface of the filled cells of a grid (i, j, k), as cubes of ``size_mm``, from the origin; points shared."""
    grid = np.pad(filled, 1)
    quads = []
    for axis in range(3):
        for step in (1, -1):
            bare = np.argwhere(grid & ~np.roll(grid, -step, axis=axis)) - 1
            one, two = np.eye(3, dtype=int)[(axis + 1) % 3], np.eye(3, dtype=int)[(axis + 2) % 3]
            base = bare + (np.eye(3, dtype=int)[axis] if step == 1 else 0)
            corners = [base, base + one, base + one + two, base + two]
            quads.append(np.stack(corners if step == 1 else corners[::-1], axis=1))
    corners = np.concatenate(quads)
    points, number = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    quad = number.reshape(-1, 4)
    return mesh(size_mm * points, np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]]))


def plate_with_holes(holes: int) -> tuple[Mesh, list[FloatArray], list[FloatArray]]:
    """A plate with square holes in a row; a curve inside the metal round each hole, and one outside through each."""
    filled = np.ones((2 * holes + 1, 3, 2), dtype=bool)
    filled[1::2, 1] = False
    inside, outside = [], []
    for hole in range(holes):
        x = 2.0 * hole + 1.5
        inside.append(np.array([[x - 1, 0.5, 1], [x + 1, 0.5, 1], [x + 1, 2.5, 1], [x - 1, 2.5, 1]], dtype=np.float64))
        outside.append(np.array([[x, 1.5, -1], [x, 1.5, 3], [x, -1, 3], [x, -1, -1]], dtype=np.float64))
    return blocks(filled), inside, outside
