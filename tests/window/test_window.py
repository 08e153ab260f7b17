"""The whole job in a real Blender window, by mouse alone. Needs a Blender 4.5 or later on PATH and a display."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
BLENDER = shutil.which("blender")


@pytest.mark.skipif(BLENDER is None, reason="no Blender program is on PATH")
@pytest.mark.skipif(
    sys.platform == "linux" and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")),
    reason="there is no display",
)
def test_the_whole_job_by_mouse(tmp_path):
    code = "import sys; sys.path.insert(0, sys.argv[1]); from _extension import build; print(build(sys.argv[2]))"
    subprocess.run([sys.executable, "-c", code, str(ROOT / "scripts"), str(tmp_path / "dist")], check=True, timeout=120)
    (zip_path,) = (tmp_path / "dist").glob("*.zip")
    out = tmp_path / "out"
    out.mkdir()
    subprocess.run(
        [
            BLENDER, "--factory-startup", "--enable-event-simulate", "--python",
            str(ROOT / "tests" / "window" / "run_in_blender.py"), "--", str(zip_path), str(out),
            str(tmp_path / "result.json"),
        ],
        check=True, timeout=900, env={**os.environ, "BLENDER_USER_RESOURCES": str(tmp_path / "user")},
    )  # fmt: skip
    result = json.loads((tmp_path / "result.json").read_text(encoding="utf-8"))
    assert result["trouble"] == ""
    assert result["failures"] == []
    assert result["checks"] > 10
