"""The Blender side: properties, operators, panels, marks in the view, handlers, and the Blender command."""


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
