"""Which elements metal can come to by ways that are open."""

import numpy as np

from ..solid.mesh import IntArray
from .flow import BoolArray


def reached(joints: IntArray, root: int, is_open: BoolArray, free: BoolArray) -> BoolArray:
    """Tell which elements (n, b) ``free`` ones and joints (m, b) that are open lead to from the root."""
    n, cases = free.shape
    found = np.zeros((n, cases), dtype=bool)
    known: dict[bytes, BoolArray] = {}
    for case in range(cases):
        ways = is_open[:, case] & free[joints, case].all(axis=1)
        key = ways.tobytes()
        if key not in known:
            around: list[list[int]] = [[] for _ in range(n)]
            for a, b in joints[ways].tolist():
                around[a].append(b)
                around[b].append(a)
            seen = [False] * n
            seen[root] = True
            waiting = [root]
            while waiting:
                for other in around[waiting.pop()]:
                    if not seen[other]:
                        seen[other] = True
                        waiting.append(other)
            known[key] = np.array(seen, dtype=bool)
        found[:, case] = known[key]
    return found
