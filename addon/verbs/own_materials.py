"""The maker's own materials: where their folder is, and the tables with theirs laid over ours.

The folder lies with the settings of the user, outside the extension, where no upgrade touches it. Nothing is written.
"""

import os
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from ..rules.cast.materials import Materials, load_materials

VARIABLE = "LINKWRIGHT_MATERIALS"


def own_materials() -> Materials:
    """Read our tables and lay those of the user's folder over them; what cannot be used is named in ``warnings``."""
    folder = own_folder(os.environ, sys.platform, Path.home())
    found = load_materials(user=folder)
    if os.environ.get(VARIABLE) and not os.path.exists(folder):
        lost = f"{VARIABLE}: there is no folder {folder}; make it, or mend the variable"
        found = replace(found, warnings=(*found.warnings, lost))
    return found


def own_folder(environ: Mapping[str, str], platform: str, home: Path) -> Path:
    """Give the folder of the user's materials, whether or not it is there: the variable's, else the system's usual."""
    if environ.get(VARIABLE):
        return Path(environ[VARIABLE])
    if platform == "win32":
        base = Path(environ["APPDATA"]) if environ.get("APPDATA") else home / "AppData" / "Roaming"
        return base / "Linkwright" / "materials"
    if platform == "darwin":
        return home / "Library" / "Application Support" / "Linkwright" / "materials"
    base = Path(environ["XDG_CONFIG_HOME"]) if environ.get("XDG_CONFIG_HOME") else home / ".config"
    return base / "linkwright" / "materials"
