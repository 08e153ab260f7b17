"""The Blender side: properties, operators, panels, marks in the view, handlers, and the Blender command."""

from typing import Any


def register() -> None:
    """Register everything, or nothing: a step that fails takes back those before it and raises."""
    try:
        import numpy  # noqa: F401
    except ImportError:
        raise RuntimeError(
            "Linkwright needs numpy, which this Blender's Python does not have: install your system's package of "
            "numpy for it, or use the Blender from blender.org"
        ) from None
    from .assembly import assemble, assembled

    if assembled():
        raise RuntimeError("Linkwright is registered already; unregister it first")
    assemble()


def unregister() -> None:
    """Take back everything `register` did, last first."""
    from .assembly import take_apart

    take_apart()


__all__ = ["register", "unregister"]


def __getattr__(name: str) -> Any:
    """Give `host_tools` on demand, so that importing the package needs no Blender."""
    if name == "host_tools":
        from .tools import host_tools

        return host_tools
    raise AttributeError(name)
