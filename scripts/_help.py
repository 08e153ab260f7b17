"""Write the help that comes with the extension: pages of HTML, from the same texts as the guide, without a network.

Called with a folder it writes them there: `python scripts/_help.py FOLDER`. Buttons and settings are read from the
extension itself, registered in Blender's Python module.
"""

import html
import re
import shutil
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from _markdown import inline, to_html

ROOT = Path(__file__).resolve().parents[1]
SCENES = ROOT / "sample_scenes"
PAGES = SCENES / "pages"

# Each page: its title and the sections of the README that open it.
TOPICS = {
    "chain": ("Chain", ("Chains",)),
    "layout": ("Layout", ()),
    "inspect": ("Inspect", ("Inspecting a chain of any origin",)),
    "gauge": ("Gauge", ("A gauge for your printer",)),
    "feed": ("Feed", ("The lattice",)),
    "print": ("Print", ("Will it print",)),
    "cast": ("Cast", ("Will it cast",)),
    "export": ("Export", ("From the command line",)),
}
FIRST = ("A first bracelet in ten minutes", "By hand and by key", "Cautions", "Limits of this version")
STYLE = """
:root { color-scheme: light dark; }
body { font: 16px/1.5 sans-serif; max-width: 52rem; margin: 2rem auto; padding: 0 1rem; }
nav a { margin-right: 0.8rem; } img { max-width: 100%; height: auto; }
table { border-collapse: collapse; margin: 1rem 0; } th, td { border: 1px solid #8888; padding: 0.3rem 0.5rem; }
th, td { text-align: left; vertical-align: top; } pre { overflow-x: auto; background: #8882; padding: 0.6rem; }
dt { font-weight: bold; margin-top: 0.6rem; } dd { margin-left: 1.2rem; } :target { background: #fc04; }
"""


def write_help(folder):
    """Write all pages into a folder that is made. The extension must stand registered."""
    from addon.host.manual import places

    folder = Path(folder)
    (folder / "pictures").mkdir(parents=True)
    sections = readme_sections()
    known = list(places())
    pages = {page.stem: page for page in sorted(PAGES.glob("*.md"))}
    for name, (title, opening) in TOPICS.items():
        words = "\n".join(sections[heading] for heading in opening)
        body = [f"<h1>{title}</h1>", to_html(words, _link(ROOT, folder)), _reference(known, name)]
        _write(folder, name, title, "\n".join(body))
    for name, path in pages.items():
        _write(folder, f"sample_{name}", name.capitalize(), to_html(path.read_text("utf-8"), _link(PAGES, folder)))
    trouble = SCENES / "troubleshooting.md"
    words = to_html(trouble.read_text("utf-8"), _link(trouble.parent, folder))
    _write(folder, "troubleshooting", "Troubleshooting", words)
    _write(folder, "index", "Linkwright", _index(sections, pages, folder))


def readme_sections():
    """Give the sections of the README by their headings, each with its heading."""
    parts = re.split(r"^(?=## )", (ROOT / "README.md").read_text("utf-8"), flags=re.MULTILINE)
    return {part.partition("\n")[0][3:]: part for part in parts[1:]}


def _index(sections, pages, folder):
    samples = "".join(
        f'<li><a href="sample_{name}.html">{html.escape(path.read_text("utf-8").partition(chr(10))[0].lstrip("# "))}'
        "</a></li>"
        for name, path in pages.items()
    )
    words = "\n".join(sections[heading] for heading in FIRST)
    return f"<h1>Linkwright</h1>{to_html(words, _link(ROOT, folder))}<h2>Samples</h2><ul>{samples}</ul>"


def _reference(known, page):
    """Give the buttons and settings of a page, each with its tooltip."""
    out = []
    for title, anchor, button in (("Buttons", "buttons", True), ("Settings", "settings", False)):
        told = [place for place in known if place.page == page and place.button == button and place.anchor != anchor]
        out.append(f'<h2 id="{anchor}">{title}</h2><dl>')
        out += [
            f'<dt id="{html.escape(place.anchor)}">{html.escape(place.label)}</dt><dd>{html.escape(place.tip)}.</dd>'
            for place in told
        ]
        out.append("</dl>")
    return "\n".join(out)


def _link(beside, folder):
    """Give how links of a text that stands in the folder ``beside`` are led to within the help."""

    def led(target):
        if re.match(r"[a-z]+:", target):
            return None
        path = (beside / target.partition("#")[0]).resolve()
        if path.suffix == ".png" and path.is_file():
            shutil.copy(path, folder / "pictures" / path.name)
            return f"pictures/{path.name}"
        if path.parent == PAGES:
            return f"sample_{path.stem}.html"
        return "troubleshooting.html" if path.name == "troubleshooting.md" else None

    return led


def _write(folder, name, title, body):
    nav = [
        ("index", "Start"),
        *((name, title) for name, (title, _) in TOPICS.items()),
        ("troubleshooting", "Troubleshooting"),
    ]
    links = "".join(f'<a href="{page}.html">{words}</a>' for page, words in nav)
    (folder / f"{name}.html").write_text(
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{inline(title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{STYLE}</style></head>\n'
        f"<body><nav>{links}</nav>\n{body}\n</body></html>\n",
        encoding="utf-8",
    )


def main():
    """Register the extension, write the help, and take all back."""
    import addon

    addon.register()
    try:
        write_help(sys.argv[1])
    finally:
        addon.unregister()


if __name__ == "__main__":
    main()
