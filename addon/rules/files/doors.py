"""The door for foreign files: what can go wrong before the first byte is understood, said in one line."""

import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray, IntArray, Mesh, mesh

# More triangles than this in one file are refused: about 1.5 GB of work, and a hundred times a finely meshed chain.
MAX_TRIANGLES = 10_000_000
# Text takes about ten times the memory of its file while it is taken apart.
MAX_TEXT_BYTES = 400_000_000
# Ten kilometres: farther out is a wrong unit or a damaged number, and arithmetic on it could overflow.
MAX_COORDINATE_MM = 1e7


@contextmanager
def opened(path: Path) -> Iterator[tuple[BinaryIO, int]]:
    """Open a file for reading and give it with its size in bytes.

    Raises BadInput for a file that is missing, a folder, no ordinary file, empty, or unreadable now or later on.
    """
    if "\0" in str(path):
        raise BadInput(f"{str(path)!r}: a file name cannot hold a null character; check the name")
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise BadInput(f"{path}: is a folder; name a file in it")
        if not stat.S_ISREG(found.st_mode):
            raise BadInput(f"{path}: is not an ordinary file; name a mesh file")
        if found.st_size == 0:
            raise BadInput(f"{path}: is empty (0 bytes); export it again")
        with path.open("rb") as file:
            yield file, found.st_size
    except FileNotFoundError:
        raise BadInput(f"{path}: no such file; check the name and the folder") from None
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error}); check its permissions") from None


def refuse_many(path: Path, triangles: int) -> None:
    """Raise BadInput for more triangles than `MAX_TRIANGLES`."""
    if triangles > MAX_TRIANGLES:
        raise BadInput(
            f"{path}: holds {triangles:,} triangles, more than the {MAX_TRIANGLES:,} that can be read; "
            "reduce the mesh, or split the file"
        )


def read_text(path: Path, instead: str) -> bytes:
    """Read the whole of a text file. Raises BadInput, advising ``instead``, when it is larger than `MAX_TEXT_BYTES`."""
    with opened(path) as (file, size):
        if size > MAX_TEXT_BYTES:
            raise BadInput(
                f"{path}: {size / 1e6:,.0f} MB of text, more than the {MAX_TEXT_BYTES // 1_000_000} MB that can be "
                f"read; {instead}"
            )
        return file.read()


def check_unit(path: Path, unit_mm: float) -> None:
    """Raise BadInput unless a unit is a finite length above 0 mm."""
    if not 0.0 < unit_mm < float("inf"):
        raise BadInput(f"{path}: a unit of {unit_mm:g} mm does not work; give a length above 0 mm")


def no_number(error: ValueError) -> str:
    """Say which word numpy could not read as a number, and how to mend it."""
    word = str(error).rsplit(": ", 1)[-1].removeprefix("b").strip("'\"")
    mend = "export it with decimal points, not commas" if "," in word else "export it again"
    return f"is not a number ({word}); {mend}"


def checked(points: FloatArray, triangles: IntArray, where: str) -> Mesh:
    """Make a checked mesh as `mesh` does, and raise BadInput for a coordinate beyond `MAX_COORDINATE_MM` too."""
    result = mesh(points, triangles, where=where)
    if np.abs(result.points).max() > MAX_COORDINATE_MM:
        raise BadInput(
            f"{where}: a coordinate lies {np.abs(result.points).max():.3g} mm out, beyond the "
            f"{MAX_COORDINATE_MM / 1e6:g} km that can be read; check the unit, or export the file again"
        )
    return result
