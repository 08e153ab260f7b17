"""The zip package of a 3MF file: its parts by name, opened under limits."""

import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import IO, BinaryIO, TypeVar

from ..base.errors import BadInput
from .threemf_model import Model, parse_model, parse_relations, part_key

T = TypeVar("T")

# About ten million triangles as XML. A small zip can claim far more.
MAX_XML_BYTES = 1_000_000_000
_MOST_PARTS = 10_000


class Package:
    """An open package. ``root`` names the part of its main model. Part names compare without case, as OPC says."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path = path
        try:
            self._zip = zipfile.ZipFile(file)
        except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
            raise self._damaged(error) from None
        entries = self._zip.infolist()
        self._parts = {part_key(entry.filename): entry for entry in entries}
        wanted = [entry for entry in entries if part_key(entry.filename).endswith((".model", ".rels"))]
        size = sum(entry.file_size for entry in wanted)
        if size > MAX_XML_BYTES or len(wanted) > _MOST_PARTS:
            raise BadInput(
                f"{path}: unpacks to {size / 1e6:,.0f} MB in {len(wanted):,} parts, more than the "
                f"{MAX_XML_BYTES // 1_000_000} MB in {_MOST_PARTS:,} that can be read; split the file"
            )
        if part_key("_rels/.rels") not in self._parts:
            raise BadInput(f"{path}: a zip without _rels/.rels, so no 3MF package; export it again as 3MF")
        self.root = part_key(self._read("_rels/.rels", parse_relations))

    def __enter__(self) -> "Package":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._zip.close()

    def models(self) -> dict[str, Model]:
        """Read the main model and every other model part it places, by part name."""
        models: dict[str, Model] = {}
        waiting = [self.root]
        while waiting:
            name = waiting.pop()
            if name in models:
                continue
            if name not in self._parts:
                raise BadInput(f"{self._path}: names the model part {name}, which is not in the file; export it again")
            models[name] = self._read(name, parse_model)
            if models[name].unit_mm != models[self.root].unit_mm:
                raise BadInput(f"{self._path}: its parts have different units; export it again with one unit")
            waiting.extend(part for part in models[name].other_parts() if part not in models)
        return models

    def _read(self, name: str, parse: Callable[[IO[bytes], str], T]) -> T:
        where = f"{self._path}: {name.lstrip('/')}"
        try:
            with self._zip.open(self._parts[part_key(name)]) as part:
                return parse(part, where)
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError) as error:
            raise self._damaged(error) from None

    def _damaged(self, error: Exception) -> BadInput:
        return BadInput(f"{self._path}: no readable 3MF package ({str(error).rstrip('.')}); copy or export it again")
