"""The guide's pages: each sample has one, they are true and name what there is; each finding has its row of trouble."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.files.job import read_job
from addon.rules.inspect.finding import CODES

ROOT = Path(__file__).resolve().parents[2]
SCENES = ROOT / "sample_scenes"
PAGES = sorted((SCENES / "pages").glob("*.md"))
TROUBLE = (SCENES / "troubleshooting.md").read_text(encoding="utf-8")
SOURCES = {path: path.read_text(encoding="utf-8") for path in (ROOT / "addon").rglob("*.py")}
SAID = "\n".join(SOURCES.values())
# Their chains alone take seconds each.
SLOW = ("lighthouse", "headland", "sandbar")


def _codes_raised() -> Iterator[str]:
    """Give every code that some rule makes a finding of, read from the code itself.

    Where a code comes by a name, it is one of the codes that the module writes out.
    """
    for path, text in SOURCES.items():
        if path.name == "finding.py" or "Finding(" not in text:
            continue
        tree = ast.parse(text)
        written = {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)} & set(CODES)
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding":
                code = node.args[0] if node.args else next(k.value for k in node.keywords if k.arg == "code")
                yield from {str(code.value)} if isinstance(code, ast.Constant) else {str(one) for one in written}


def test_every_code_has_one_row_and_no_row_is_dead() -> None:
    rows = re.findall(r"^\| `([a-z-]+)` \|", TROUBLE, re.MULTILINE)
    assert sorted(rows) == sorted(set(_codes_raised()))


def test_every_row_says_what_it_means_and_what_to_do() -> None:
    for line in TROUBLE.splitlines():
        if line.startswith("| ") and not line.startswith(("| finding", "| message")):
            cells = [cell.strip() for cell in line.strip("|").split(" | ")]
            assert len(cells) == 3, line
            assert all(len(cell) > 3 for cell in cells), line


def test_every_refusal_is_one_that_is_said() -> None:
    rows = re.findall(r"^\| (.+?) \|", TROUBLE.partition("## Refusals")[2], re.MULTILINE)[1:]
    assert len(rows) >= 10
    assert [row for row in rows if f'"{row}"' not in SAID] == []


def test_pictures_and_links_of_the_readme_stand_there() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    pictures = re.findall(r"!\[(.*?)\]\((.+?)\)", readme)
    assert len(pictures) >= 6
    for words, picture in pictures:
        assert len(words) > 20, picture
        assert (ROOT / picture).stat().st_size < 120_000, picture
    for target in re.findall(r"(?<!!)\[.+?\]\(([^):]+)\)", readme):
        assert (ROOT / target).exists(), target


def test_every_sample_stands_on_one_page() -> None:
    named = [name for page in PAGES for name in re.findall(r"Files: (.+)\.", page.read_text("utf-8"))[0].split(", ")]
    files = [f"`{path.name}`" for path in SCENES.iterdir() if path.suffix in (".toml", ".blend", ".stl")]
    assert sorted(named) == sorted(files)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.stem))
def test_pages_name_what_there_is(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for picture in re.findall(r"!\[.+?\]\((.+?)\)", text):
        assert (page.parent / picture).stat().st_size < 120_000
    for key in re.findall(r"`([a-z]+(?:_[a-z]+)+)(?: = [^`]+)?`", text):
        assert re.search(rf"\b{key}\b", SAID), key
    for verb in re.findall(r"scripts/linkwright\.py ([a-z]+)", text):
        assert f'"{verb}"' in SAID, verb
    for option in re.findall(r"linkwright\.py [^`]*?(--[a-z-]+)", text):
        assert f'"{option}"' in SAID, option
    for label in re.findall(r"(?<!\*)\*([A-Z][^*]+)\*", text):
        assert re.search(rf'"{label}(?: \(mm\))?"', SAID), label


@pytest.mark.parametrize(
    "page", [page for page in PAGES if page.stem not in SLOW and (SCENES / f"{page.stem}.toml").exists()],
    ids=lambda page: str(page.stem),
)  # fmt: skip
def test_figures_of_the_chain_are_those_of_its_job(page: Path) -> None:
    job = read_job(SCENES / f"{page.stem}.toml")
    chain = finish(build_chain(job.chain, job.layout))
    rows = dict(re.findall(r"^\| ([A-Z][^|]+?) \| (.+?) \|$", page.read_text("utf-8"), re.MULTILINE))
    assert rows["Links"] == f"{chain.links}, {'closed' if chain.closed else 'open'}"
    assert rows["Smallest gap"] == f"{chain.smallest_gap_mm:.3f} mm"
