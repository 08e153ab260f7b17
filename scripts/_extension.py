"""Stage the extension and build its zip with the extension tool that comes inside the bpy package."""

import importlib.util
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import _setup

MANIFEST = "blender_manifest.toml"


class BuildFailed(Exception):
    """The zip cannot be built. The message says what the extension tool had against it."""


def build(folder: str | Path | None = None) -> Path:
    """Build and validate the zip in `folder` (dist/ when None); returns its path. Raises BuildFailed."""
    output = Path(folder) if folder is not None else Path(_setup.ROOT) / "dist"
    output.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="linkwright-build-") as place:
        stage_folder, built = Path(place) / "linkwright", Path(place) / "built"
        built.mkdir()
        stage(stage_folder)
        _tool("build", f"--source-dir={stage_folder}", f"--output-dir={built}")
        (made,) = built.glob("*.zip")
        _tool("validate", str(made))
        # Only a zip that was found good is put where people look for it.
        return Path(shutil.move(made, output / made.name))


def stage(folder: Path) -> None:
    """Lay out the extension as it is installed: addon/ with manifest, licence, sample jobs and help beside its code."""
    root = Path(_setup.ROOT)
    shutil.copytree(root / "addon", folder, ignore=shutil.ignore_patterns("__pycache__", "*.py[cod]", ".*"))
    for name in (MANIFEST, "LICENSE"):
        shutil.copy(root / name, folder / name)
    samples = folder / "samples"
    samples.mkdir()
    # A job file and the mesh that one of them names; scenes and pictures stay where they are.
    for pattern in ("*.toml", "*.stl"):
        for path in (root / "sample_scenes").glob(pattern):
            shutil.copy(path, samples / path.name)
    # In a process of its own: it registers the extension in Blender to read its buttons and settings.
    command = [sys.executable, str(Path(_setup.SCRIPTS) / "_help.py"), str(folder / "help")]
    run = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=120)
    if run.returncode != 0:
        raise BuildFailed(f"the help cannot be written: {run.stderr.strip().splitlines()[-1:] or run.returncode}")


def _tool(verb: str, *words: str) -> None:
    spec = importlib.util.find_spec("bpy")
    if spec is None or spec.origin is None:
        raise BuildFailed("this needs Blender's Python module bpy: delete the folder .venv and start again")
    (scripts,) = Path(spec.origin).parent.glob("[0-9]*.*/scripts")
    tool = scripts / "addons_core" / "bl_pkg" / "cli" / "blender_ext.py"
    tags = scripts / "modules" / "_bpy_internal" / "extensions" / "tags.py"
    command = [sys.executable, str(tool), verb, f"--valid-tags={tags}", *words]
    run = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=300)
    if run.returncode != 0:
        said = " / ".join(line.strip() for line in (run.stdout + run.stderr).splitlines() if line.strip())
        raise BuildFailed(f"Blender's extension tool does not {verb} the extension: {said}")
