"""What only Blender can do, handed in as functions: the verbs never import it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..rules.feed.join import Boolean
from ..rules.files.named import Named


@dataclass(frozen=True, slots=True)
class HostTools:
    """Blender's robust boolean, and reading and writing of .blend files (meshes in mm, world coordinates)."""

    boolean: Boolean
    read_blend: Callable[[Path], tuple[Named, ...]]
    write_blend: Callable[[Path, tuple[Named, ...]], None]
