"""Short texts that stand for values, so that a result can be told to be out of date."""

import hashlib


def stamp(*values: object) -> str:
    """Give a short text that differs whenever one of the values differs."""
    return hashlib.sha256(repr(values).encode()).hexdigest()[:16]
