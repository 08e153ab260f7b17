"""The jobs in a real Blender window, by mouse and keyboard. Needs a display and a Blender, see _window_blender."""

import json
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "scripts"))

import _window_blender  # noqa: E402

PROGRAM, REASON = _window_blender.find()


@pytest.mark.skipif(PROGRAM is None, reason=REASON or "a Blender was found")
@pytest.mark.parametrize(("job", "checks"), [("whole_job", 40), ("switches", 40)])
def test_the_jobs_by_mouse_and_keyboard(tmp_path, job, checks):
    result = json.loads(_window_blender.play(PROGRAM, tmp_path, job).read_text(encoding="utf-8"))
    assert result["trouble"] == ""
    assert result["failures"] == []
    assert result["checks"] > checks
