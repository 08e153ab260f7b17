"""The guide for contributors: the family it shows is one that works, as it is written there."""

import re
import types
from pathlib import Path

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain import check, families
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.play import free_play
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.inspect.inspection import inspect

BENCH = load_profile("bench")
GUIDE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
SPEC = ChainSpec("cushion", 1.8, 11.0, 8.6, 0.4)


@pytest.fixture
def cushion(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put the example of the guide among the families."""
    (text,) = re.findall(r"```python\n(.*?)```", GUIDE.read_text(encoding="utf-8"), re.DOTALL)
    module = types.ModuleType("addon.rules.chain.cushion")
    module.__package__ = "addon.rules.chain"
    exec(compile(text, str(GUIDE), "exec"), module.__dict__)
    monkeypatch.setattr(families, "DRAWN", {**families.DRAWN, "cushion": module.pattern})
    monkeypatch.setattr(check, "FAMILIES", (*check.FAMILIES, "cushion"))


@pytest.mark.usefixtures("cushion")
def test_the_family_of_the_guide_makes_a_bracelet() -> None:
    chain = finish(build_chain(SPEC, LayoutSpec("ring", inner_length_mm=190.0)))
    inspection = finish(inspect(chain.bodies, BENCH, joints=chain.joints))
    assert chain.smallest_gap_mm >= 0.4 - 1e-9
    assert sum(pair.linked is True for pair in inspection.pairs) == chain.links
    assert not [finding for finding in inspection.findings if finding.severity == "stop"]
    assert finish(free_play(chain)).least_radius_mm[0] < 30.0


@pytest.mark.usefixtures("cushion")
@pytest.mark.parametrize("shape", ["straight", "spiral"])
def test_the_family_of_the_guide_goes_into_other_layouts_and_tapers(shape: str) -> None:
    tapered = ChainSpec(
        "cushion", 1.8, 11.0, 8.6, 0.4, end_wire_mm=2.2, end_link_length_mm=13.4, end_link_width_mm=10.5
    )
    for spec in (SPEC, tapered):
        assert draft_chain(spec, LayoutSpec(shape, links=18)).smallest_gap_mm >= 0.4 - 1e-6


@pytest.mark.usefixtures("cushion")
@pytest.mark.parametrize(
    ("changes", "key"), [({"link_width_mm": 12.0}, "link_width_mm"), ({"stud_mm": 1.0}, "stud_mm")]
)
def test_the_family_of_the_guide_refuses_in_words(changes: dict[str, float], key: str) -> None:
    values = {"wire_mm": 1.8, "link_length_mm": 11.0, "link_width_mm": 8.6, "gap_mm": 0.4, **changes}
    with pytest.raises(BadInput, match=f"chain.{key}"):
        draft_chain(ChainSpec("cushion", **values), LayoutSpec("straight", links=10))  # type: ignore[arg-type]
