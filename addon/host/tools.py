"""What the verbs borrow from Blender, as plain functions."""

from ..verbs.host import HostTools
from .blend_files import read_blend, write_blend
from .boolean import boolean


def host_tools() -> HostTools:
    """Give Blender's solid boolean and the reading and writing of .blend files."""
    return HostTools(boolean=boolean, read_blend=read_blend, write_blend=write_blend)
