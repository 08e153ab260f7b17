"""The sample jobs that come with the extension: a menu of them, and the operator that makes one in the scene."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bpy.props import StringProperty
from bpy.types import Menu, Operator

from ..rules.base.errors import LinkwrightError
from ..rules.files.job import read_job
from .blend_files import read_blend
from .long_work import may_add
from .op_chain import look_at_new
from .op_export import make_from_job
from .panel_names import words_of
from .translated import told_report
from .view import select_only

# The extension carries its samples beside its code; a checkout has them beside it.
FOLDERS = (Path(__file__).parent.parent / "samples", Path(__file__).parent.parent.parent / "sample_scenes")
_NAME = re.compile(r"^name = \"(.+)\"$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Sample:
    """A job file: what it is called, and the line of its head that says what it is."""

    path: Path
    name: str
    said: str


class Samples:
    """What the sample files say of themselves, read once when the extension is enabled."""

    def __init__(self) -> None:
        self._found: dict[str, Sample] = {}

    @property
    def found(self) -> Mapping[str, Sample]:
        """Give the samples by the names of their files."""
        return self._found

    def start(self) -> None:
        """Read names and descriptions."""
        self._found = {sample.path.stem: sample for sample in samples()}

    def stop(self) -> None:
        """Forget them."""
        self._found = {}


def samples() -> tuple[Sample, ...]:
    """Read what the sample files say of themselves, in the order of their names."""
    folder = next((folder for folder in FOLDERS if folder.is_dir()), None)
    if folder is None:
        return ()
    read = [(path, path.read_text(encoding="utf-8")) for path in folder.glob("*.toml")]
    found = [
        Sample(path, named[1], text.partition("\n")[0].lstrip("# ").rstrip("."))
        for path, text in read
        if (named := _NAME.search(text)) is not None
    ]
    return tuple(sorted(found, key=lambda sample: sample.name))


class LINKWRIGHT_OT_open_sample(Operator):
    """Make the chain of a sample job and take its process, feed and pour into the scene."""

    bl_idname = "linkwright.open_sample"
    bl_label = "Open a Sample"
    bl_description = "Add the chain of a sample job, and take its limits, feed and pour into the scene"
    bl_options = {"REGISTER", "UNDO"}

    sample: StringProperty(
        name="Sample", description="Name of the sample's file, without its ending", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: Any) -> bool:
        """Ask for Object Mode and an editable collection."""
        return may_add(cls, context)

    @classmethod
    def description(cls, _context: Any, properties: Any) -> str:
        """Tell what the sample is."""
        sample = known.found.get(properties.sample)
        return str(cls.bl_description) if sample is None else sample.said

    def invoke(self, context: Any, _event: Any) -> set[str]:
        """Make it and go near where the view looks elsewhere."""
        done = self.execute(context)
        if done == {"FINISHED"}:
            look_at_new(context, context.active_object)
        return done

    def execute(self, context: Any) -> set[str]:
        """Read the job file and make its chain."""
        sample = known.found.get(self.sample)
        if sample is None:
            self.report({"ERROR"}, told_report("There is no such sample; choose one from the menu Open a Sample"))
            return {"CANCELLED"}
        try:
            ob = make_from_job(context, read_job(sample.path, read_blend))
        except LinkwrightError as error:
            self.report({"ERROR"}, words_of(error))
            return {"CANCELLED"}
        select_only(context, ob)
        return {"FINISHED"}


class LINKWRIGHT_MT_samples(Menu):
    """The samples; each tells in its tooltip what it is."""

    bl_label = "Open a Sample"

    def draw(self, _context: Any) -> None:
        """List the samples."""
        for stem, sample in known.found.items():
            operator = self.layout.operator("linkwright.open_sample", text=sample.name, translate=False)
            operator.sample = stem


# The menu and its operator need one owner that lives as long as the extension is enabled.
known = Samples()
