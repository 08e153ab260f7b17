"""Linkwright: chain printed in place and cast in place, from a curve to a fed and checked print file."""


def register() -> None:
    """Register everything with Blender."""
    from .host import register as register_host

    register_host()


def unregister() -> None:
    """Take back everything `register` did."""
    from .host import unregister as unregister_host

    unregister_host()
