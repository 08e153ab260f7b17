"""The order of long rows of numbers, a slice at a time, so that whoever waits can do something else in between."""

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps
from .mesh import IntArray

# Numbers sorted at once: some 20 ms.
_AT_ONCE = 1 << 17
# Numbers looked at for every slice to part them evenly.
_SAMPLES = 64


def stable_order(keys: npt.NDArray[np.int64] | npt.NDArray[np.uint64] | npt.NDArray[np.float64]) -> Steps[IntArray]:
    """Give the order that sorts ``keys`` (n,), equal ones as they stand: that of a stable argsort. No key may be NaN.

    The keys are parted by size into slices, from a sample of them, and every slice is sorted by itself.
    """
    if len(keys) <= _AT_ONCE:
        return np.argsort(keys, kind="stable")
    slices = -(-len(keys) // _AT_ONCE)
    sample = np.sort(keys[:: len(keys) // (slices * _SAMPLES)])
    limits = np.unique(sample[:: len(sample) // slices][1:])
    part = np.empty(len(keys), dtype=np.uint16)
    for begin in range(0, len(keys), _AT_ONCE):
        part[begin : begin + _AT_ONCE] = np.searchsorted(limits, keys[begin : begin + _AT_ONCE], side="right")
        yield 0.3 * begin / len(keys)
    order: IntArray = np.argsort(part, kind="stable")
    ends = np.cumsum(np.bincount(part, minlength=len(limits) + 1))
    yield 0.4
    for begin, end in zip(ends - np.diff(ends, prepend=0), ends, strict=True):
        here = order[begin:end]
        order[begin:end] = here[np.argsort(keys[here], kind="stable")]
        yield 0.4 + 0.6 * float(end) / len(keys)
    return order
