"""The memory of a benchmark's process."""

import sys


def peak_mb():
    """The most memory this process has held, None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    unit = 1 if sys.platform == "darwin" else 1024
    return round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6)
