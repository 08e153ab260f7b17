"""The sample job files of the chain families and layouts, and the link mesh that one of them repeats.

They are made from the figures below, each time the same; nothing in them is a copy of anyone's piece.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from addon.rules.files import stl
from addon.rules.solid.mesh import Mesh

JOBS = {
    "sandbar": """# A figaro bracelet with a ring and bar cast in place, wound up as a flat spiral for a small flask.
schema = 1
name = "Sandbar bracelet"

[chain]
family = "figaro"
wire_mm = 1.6
link_length_mm = 9.6
link_width_mm = 8.6
long_link_mm = 14.0
repeat = 3
gap_mm = 0.5

[layout]
shape = "spiral"
wrist_mm = 172.0
ease_mm = 18.0
clasp = "ring-bar"

[process]
profile = "bench"

[cast]
alloy = "sterling-silver"
head = "vacuum"
""",
    "lighthouse": """# A belcher necklace of D wire with a hook and eye, wound up as a coil.
schema = 1
name = "Lighthouse necklace"

[chain]
family = "belcher"
wire_mm = 1.6
section = "D"
wire_width_mm = 2.4
link_length_mm = 11.0
link_width_mm = 9.0
gap_mm = 0.55

[layout]
shape = "coil"
inner_length_mm = 450.0
clasp = "hook-eye"

[process]
profile = "bench"

[cast]
alloy = "gold-9-yellow"
head = "spin"
""",
    "headland": """# A graduated curb collar, growing from one end to the other; an eye at each end takes a jump ring.
schema = 1
name = "Headland collar"

[chain]
family = "curb"
wire_mm = 1.8
link_length_mm = 10.6
link_width_mm = 8.8
end_wire_mm = 2.6
end_link_length_mm = 15.3
end_link_width_mm = 12.6
gap_mm = 0.5

[layout]
shape = "serpentine"
inner_length_mm = 420.0
clasp = "eyes"

[process]
profile = "bench"

[cast]
alloy = "silicon-bronze"
head = "vacuum"
""",
    "hawser": """# A closed rope bracelet that passes over a hand of 200 mm.
schema = 1
name = "Hawser bracelet"

[chain]
family = "rope"
wire_mm = 2.0
link_length_mm = 13.0
link_width_mm = 13.0
gap_mm = 0.5

[layout]
shape = "ring"
inner_length_mm = 205.0
hand_mm = 200.0

[process]
profile = "bench"

[cast]
alloy = "tin-bronze"
head = "vacuum"
""",
    "driftwood": """# A bracelet of a link mesh of our own, thicker on its sides than at its ends.
schema = 1
name = "Driftwood bracelet"

[chain]
family = "mesh"
file = "driftwood_link.stl"
turn_deg = 90.0
gap_mm = 0.4

[layout]
shape = "ring"
inner_length_mm = 208.0
hand_mm = 200.0

[process]
profile = "bench"

[cast]
alloy = "tin-bronze"
head = "vacuum"
""",
}
LINK = "driftwood_link.stl"


def write(folder):
    """Write all of them into a folder."""
    for name, text in JOBS.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    stl.write(folder / LINK, driftwood_link())


def driftwood_link(along=72, around=24):
    """Give a link along x, an oval of 13 x 10.2 mm outside, its round metal 2.8 mm thick on the sides, 2.2 at the ends.

    It is bent a little out of its plane, one way at one end and the other way at the other.
    """
    t = np.arange(along)[:, None] * (2 * np.pi / along)
    u = np.arange(around)[None, :] * (2 * np.pi / around)
    radius = 1.25 - 0.15 * np.cos(2 * t)
    a, b = 5.4, 3.7
    outward = np.stack(np.broadcast_arrays(b * np.cos(t), a * np.sin(t)), axis=-1)
    outward = outward / np.linalg.norm(outward, axis=-1, keepdims=True)
    x = a * np.cos(t) + radius * np.cos(u) * outward[..., 0]
    y = b * np.sin(t) + radius * np.cos(u) * outward[..., 1]
    z = radius * np.sin(u) + 0.25 * np.sin(2 * t)
    i, j = np.meshgrid(np.arange(along), np.arange(around), indexing="ij")

    def at(k, m):
        return ((k % along) * around + m % around).ravel()

    p, q, s, r = at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)
    faces = np.concatenate([np.stack([p, q, s], 1), np.stack([p, s, r], 1)])
    return Mesh(np.stack([x, y, z], axis=-1).reshape(-1, 3), faces)


if __name__ == "__main__":
    write(Path(sys.argv[1] if len(sys.argv) > 1 else Path(__file__).resolve().parents[1] / "sample_scenes"))
