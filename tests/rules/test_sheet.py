"""The bench sheet: one page that stands alone, says all it must, and lets no text of the user's through as code."""

import dataclasses
import itertools
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pytest

from addon.rules.cast.forecast import Forecast
from addon.rules.cast.levers import Lever
from addon.rules.cast.materials import load_materials
from addon.rules.cast.plan import plan
from addon.rules.cast.quick import Section
from addon.rules.cast.spec import CastSpec
from addon.rules.cast.verdict import LinkCast
from addon.rules.chain.play import FreePlay, JointPlay
from addon.rules.feed.cut_order import FIRST, LAST, SECOND
from addon.rules.feed.cuts import GATE, LIFT, POST, UPPER_GATE, Cut, CuttingList, Reach
from addon.rules.feed.lattice import Strut
from addon.rules.inspect.finding import Finding
from addon.rules.sheet.blocks import listed as named
from addon.rules.sheet.blocks import typeset
from addon.rules.sheet.cuts import names
from addon.rules.sheet.cuts import rows as cut_rows
from addon.rules.sheet.data import SheetData, Verdict
from addon.rules.sheet.drawing import SIDE, TOP, draw, svg
from addon.rules.sheet.outcome import NO_LEVER, headline, lever_rows, link_rows, verdict_of
from addon.rules.sheet.outlines import thinned
from addon.rules.sheet.page import sheet
from addon.rules.solid.mesh import Body, Mesh, Pose, Wire

MATERIALS = load_materials()
VOID = {"meta", "br", "path", "rect", "use", "img", "hr"}


def ring_mesh(radius=5.0, wire=1.0, around=24, across=12):
    """A torus of triangles about z, counter-clockwise from outside."""
    u, v = np.meshgrid(np.arange(around), np.arange(across), indexing="ij")
    a, b = 2 * np.pi * u / around, 2 * np.pi * v / across
    r = radius + wire * np.cos(b)
    points = np.stack([r * np.cos(a), r * np.sin(a), wire * np.sin(b)], axis=-1).reshape(-1, 3)

    def at(i, j):
        return ((i % around) * across + j % across).ravel()

    p, q, s, t = at(u, v), at(u + 1, v), at(u + 1, v + 1), at(u, v + 1)
    return Mesh(points, np.concatenate([np.stack([p, q, s], 1), np.stack([p, s, t], 1)]))


MESH = ring_mesh()
ANGLE = np.linspace(0, 2 * np.pi, 96, endpoint=False)
LINE = np.stack([5 * np.cos(ANGLE), 5 * np.sin(ANGLE), 0 * ANGLE], axis=1)
UPRIGHT = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])


def links(count, wired=True):
    return tuple(
        Body(
            f"link {k + 1}",
            MESH,
            Pose(UPRIGHT if k % 2 else np.eye(3), np.array([7.0 * k, 0.0, 10.0])),
            Wire(LINE, 1.0) if wired else None,
        )
        for k in range(count)
    )


STRUTS = (
    Strut("ring", (0.0, 0.0, 1.0), (20.0, 0.0, 1.0), 4.0, 4.0),
    Strut("gate", (5.0, 0.0, 1.0), (5.0, 0.0, 8.0), 2.4, 1.0, "link 1"),
)


def planned(**spec):
    return plan(
        CastSpec(**spec),
        MATERIALS,
        chain_mm3=7000.0,
        lattice_mm3=5000.0,
        size_mm=(80.0, 80.0, 20.0),
        across_mm=80.0,
        sections=(Section("wire", 2.2), Section("feed ring", 4.0)),
    )


FINDINGS = (
    Finding("blind", "note", ("link 2",), "12 % of its faces see no light"),
    Finding("web-thin", "stop", ("link 1", "link 2"), "the web is 0.20 mm thick; widen the gap", None, 0.2, 0.25),
)


def tool_at(name, fits=True):
    return Reach(name, fits, 0.3, None if fits else "a post", (1.0, 0.0, 0.0), (5.0, 0.0, 7.0), 0.4)


def gate(number, turn, body, kind=GATE, d=1.1):
    there, after = (tool_at("saw"), tool_at("disc", fits=False)), (tool_at("saw"), tool_at("disc"))
    at, up = (5.0, 0.0, 7.0), (0.0, 0.0, 1.0)
    return Cut(number, kind, turn, number, body, "saw", at, up, d, np.pi * d**2 / 4, 0.4, 4.0, there, after)


def post(number):
    there = (tool_at("saw"),)
    return Cut(number, POST, 0, 7, None, "saw", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 2.8, 0.0, 0.0, None, there, there)


def listed(*cuts, returns_mm3=5000.0):
    return CuttingList("saw", "threaded saw", cuts, sum(c.area_mm2 for c in cuts), returns_mm3, ())


def data(**changes):
    made = SheetData(
        title="Tidewater bracelet",
        plan=planned(),
        bodies=links(4),
        struts=STRUTS,
        chain=(("Family", "curb"),),
        sizes=(("Worn inside length", "186.0 mm"),),
        gaps=(("Smallest gap", "0.49 mm"),),
        findings=FINDINGS,
        cutting=listed(gate(1, FIRST, "link 1")),
    )
    return dataclasses.replace(made, **changes)


GATE_FIRST = "fills to {} %: the tip of its gate freezes after 0.9 s"


def cast_link(number, verdict="sound", filled=100.0, fill_s=1.2, freeze_s=3.1, fed=80.0, reason="fills"):
    return LinkCast(f"link {number}", verdict, filled, fill_s, freeze_s, fed, reason)


VERDICT = Verdict(
    (
        *(cast_link(k) for k in range(1, 10)),
        cast_link(10, "short", 62.0, None, 2.1, 40.0, GATE_FIRST.format(62)),
        cast_link(11, "short", 58.0, None, 2.3, 41.0, GATE_FIRST.format(58)),
        cast_link(12, "at-risk", reason="only 44 % of it freezes before its gates do: the rest may be porous"),
    ),
    (
        Lever("thicker rings", 3.5, 4.6, "mm", False, "rings more than so much thicker are metal for nothing"),
        Lever("hotter flask", 555.0, 640.0, "degC", True, ""),
        Lever("thicker tips", 1.1, 1.5, "mm", True, ""),
    ),
    "With the low figures one more link stays short.",
    ("Metal enters at up to 0.7 m/s.",),
)

PLAY = FreePlay(
    (
        JointPlay(
            "short to long",
            ("link 3", "link 4"),
            (0.82, -0.41),
            (-41.5, 41.5),
            (-21.2, 18.9),
            (-12.3, float("inf")),
            (-44.5, 44.5),
            (-22.0, 20.1),
            (0.2, 0.2),
            (0.1, 0.1),
        ),
    ),
    (14.25, float("inf")),
)


class Page(HTMLParser):
    """Reads a page: tags in order, whether they nest, and the text."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.open, self.words, self.attributes = [], [], [], []
        self.feed(html)
        self.close()
        assert self.open == [], f"never closed: {self.open}"

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *a) for a in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *a) for a in attrs]

    def handle_endtag(self, tag):
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, text):
        self.words.append(text)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def test_the_page_nests_and_stands_alone():
    """No script, nothing fetched: no source, link, import or address but the name of the SVG language."""
    html = sheet(data())
    page = Page(html)
    assert html.startswith("<!DOCTYPE html>")
    assert not {"script", "link", "img", "iframe", "object", "embed"} & set(page.tags)
    assert {name for _, name, _ in page.attributes} & {"src", "onload", "onclick", "style"} == set()
    assert {value for _, name, value in page.attributes if name == "href"} == {"#job-side", "#cautions"}
    assert html.count('id="job-side"') == html.count('id="cautions"') == 1
    assert "url(" not in html
    assert "@import" not in html
    assert set(re.findall(r"https?://[^\"\s<]+", html)) == {"http://www.w3.org/2000/svg"}


def test_headings_and_tables_can_be_read_aloud():
    page = Page(sheet(data()))
    assert page.tags.count("h1") == 1
    assert page.tags.index("h1") < page.tags.index("h2")
    assert ("html", "lang", "en") in page.attributes
    scopes = [a for a in page.attributes if a[:2] == ("th", "scope")]
    assert len(scopes) == page.tags.count("th") > 20
    pictures = [a for a in page.attributes if a[:2] == ("svg", "role")]
    labels = [a for a in page.attributes if a[:2] == ("svg", "aria-label")]
    assert len(pictures) == len(labels) == page.tags.count("svg") == page.tags.count("figcaption") == 3
    assert all("Tidewater bracelet" in label for _, _, label in labels)


def test_it_says_what_the_bench_must_know():
    made = data()
    text = Page(sheet(made)).text
    p = made.plan
    for words in (
        f"{p.chain_g:.1f} g", f"{p.metal_g:.1f} g", f"{p.print_g:.1f} g", f"{p.mix.water_g:.0f} g",
        f"{p.mix.slurry_cm3:.0f} cm³, {p.mix.spare_cm3:.0f} of it spare",
        f"{p.temperatures.pour_c:.0f} °C", f"{p.temperatures.flask_c:.0f} °C", f"{p.applied_scale:.4f}",
        f"{p.flask.flask.diameter_mm:g} x {p.flask.flask.height_mm:g} mm",
        "already compensate", "186.0 mm", "0.49 mm", "threaded saw", "1 cut in all", "test length of 3 to 5 links",
        "set a wax trunk", "citric acid", "732 °C", "no faster than", "sterling silver 925", "platinum 950",
    ):  # fmt: skip
        assert words.lower() in text.lower(), words


def test_it_cautions_and_defers():
    """Molten metal and moisture, burnout fumes, silica, resin, solvent, acid; and whose word comes first."""
    text = Page(sheet(data())).text
    for words in ("can explode", "carbon monoxide", "crystalline silica", "allergic", "flash point", "Acid into water"):
        assert words in text, words
    assert "data sheets of the makers" in text
    assert "local codes" in text
    assert "licensed" in text
    assert text.index("read the cautions before you start") < text.index("At a glance")


def test_a_phosphate_mould_and_white_hot_metal_have_words_of_their_own():
    platinum = Page(sheet(data(plan=planned(alloy="platinum-950")))).text
    silver = Page(sheet(data())).text
    for words in ("the liquid its maker sells", "does not fall apart in water", "hydrofluoric", "welder's shade"):
        assert words in platinum
        assert words not in silver


def test_squares_and_cubes_stand_as_such_and_names_as_they_were():
    assert typeset("5 mm2 of 9 cm3 at 20 degC, k = d2, 3 g/cm3, dm2") == "5 mm² of 9 cm³ at 20 °C, k = d2, 3 g/cm³, dm2"


def test_wax_is_not_cured():
    assert "Cure all sides" in Page(sheet(data())).text
    wax = Page(sheet(data(plan=planned(resin="printed-wax")))).text
    assert "Cure all sides" not in wax
    assert "Free it of support wax" in wax


def test_cautions_go_with_the_alloy():
    brass, silver = (Page(sheet(data(plan=planned(alloy=a)))).text for a in ("brass", "sterling-silver"))
    assert "metal fume fever" in brass
    assert "holds lead" in brass
    assert "metal fume fever" not in silver
    assert "holds lead" not in silver
    assert "925 parts in 1000 of silver" in silver
    assert "skin allergen" in Page(sheet(data(plan=planned(alloy="gold-14-white")))).text


def test_stops_come_first_and_are_said_at_the_top():
    text = Page(sheet(data())).text
    assert "1 finding stops this job" in text
    assert text.index("web-thin") < text.index("blind")
    calm = Page(sheet(data(findings=()))).text
    assert "Nothing found that stops this job" in calm
    assert "in spite of: web-thin" in Page(sheet(data(overrides=("web-thin",)))).text


def test_many_findings_are_cut_short_and_counted():
    many = tuple(Finding("blind", "note", (f"link {k}",), "x") for k in range(100))
    assert "and 98 more like these" in Page(sheet(data(findings=many))).text
    stops = tuple(Finding("fused", "stop", (f"link {k}",), "x") for k in range(100))
    text = Page(sheet(data(findings=(*stops, Finding("island", "stop", ("link 7",), "begins in mid-air"))))).text
    assert "and 95 more like these (fused: link 5 to 99)" in text
    assert "begins in mid-air" in text, "a hundred stops of one kind hide none of another"
    every = tuple(Finding(f"code-{k}", "stop", (), "x") for k in range(100))
    assert "60 more rows are in report.json" in Page(sheet(data(findings=every))).text


def test_a_finding_of_very_many_bodies_stays_short():
    wide = Finding("saw-room", "warn", tuple(f"link {k}" for k in range(1, 700, 2)), "no room")
    text = Page(sheet(data(findings=(wide,)))).text
    assert "saw-room: link 1, 3, 5, 7, 9, 11, 13, 15 and 342 others" in text


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((), ""),
        (("eye",), "eye"),
        (("link 3", "link 1", "link 2", "link 7", "link 8"), "link 1 to 3, 7, 8"),
        (("link 1", "eye", "link 2"), "link 1, eye, link 2"),
        (tuple(f"link {k}" for k in (1, 3, 5, 7, 8, 9)), "link 1, 3, 5 and 3 others"),
        (("a", "b", "c", "d"), "a, b, c and 1 other"),
    ],
)
def test_names_are_joined_as_spans_and_all_are_counted(given, words):
    assert named(given, 3) == words


def test_headings_skip_no_level_and_sections_begin_with_theirs():
    page = Page(sheet(data(verdict=VERDICT, play=PLAY)))
    levels = [int(tag[1]) for tag in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in itertools.pairwise(levels))
    assert 3 in levels
    after = [page.tags[k + 1] for k, tag in enumerate(page.tags) if tag == "section"]
    assert set(after) == {"h2"}


def test_tables_have_a_cell_for_every_heading_and_each_cell_says_which():
    html = sheet(data(verdict=VERDICT, play=PLAY))
    tables = re.findall(r'<table class="grid[^"]*">(.*?)</table>', html)
    assert len(tables) >= 9
    for inside in tables:
        head, body = inside.split("</thead>")
        columns = re.findall(r'<th scope="col">(.*?)</th>', head)
        rows = re.findall(r"<tr>(.*?)</tr>", body)
        assert rows
        for row in rows:
            assert re.findall(r'data-label="(.*?)"', row) == columns
    for inside in re.findall(r'<table class="facts">(.*?)</table>', html):
        assert inside.count("<tr>") == inside.count('<th scope="row">') == inside.count("<td>") > 0


def test_every_picture_has_a_title_and_a_caption():
    html = sheet(data())
    for picture in re.findall(r"<svg.*?</svg>", html):
        root = ElementTree.fromstring(picture)
        assert root.get("role") == "img"
        assert root[0].tag.endswith("title")
        assert root[0].text == root.get("aria-label")
        assert len(root[0].text) > 20
    assert html.count("<figure>") == html.count("<figcaption>") == html.count("<svg")


def test_stops_are_told_by_words_and_frames_not_by_colour():
    """Black and white safe: nothing on the page but black, white and greys."""
    html = sheet(data(verdict=VERDICT))
    colours = set(re.findall(r"#[0-9a-fA-F]{3,6}\b", re.sub(r'href="#[^"]*"', "", html)))
    assert colours <= {"#000", "#fff", "#333", "#888", "#aaa", "#ddd"}
    for word in ("Stop", "Note", "Stays short", "At risk", "Sound"):
        assert f">{word}<" in html


def test_the_verdict_says_the_worst_first_and_what_helps():
    assert headline(VERDICT.links) == "2 of 12 links will not fill, 1 more at risk: do not pour it like this."
    rows = link_rows(VERDICT.links)
    assert [row[:2] for row in rows] == [
        ("Stays short", "link 10, 11"),
        ("At risk", "link 12"),
        ("Sound", "link 1 to 9"),
    ]
    assert rows[0][2:] == ("58 to 62 %", "40 to 41 %", "never", "2.1 to 2.3 s", GATE_FIRST.format(58))
    assert lever_rows(VERDICT.levers) == [
        ("Hotter flask", "555 degC", "640 degC", "passes"),
        ("Thicker tips", "1.1 mm", "1.5 mm", "passes"),
        ("Thicker rings", "3.5 mm", "4.6 mm", f"does not pass: {VERDICT.levers[0].reason}"),
    ]
    text = Page(sheet(data(verdict=VERDICT))).text
    assert text.count(headline(VERDICT.links)) == 2, "at the top and in its own section"
    for words in ("What would put it right", VERDICT.remark, *VERDICT.notes):
        assert words in text
    assert "Will it cast" not in Page(sheet(data())).text
    assert NO_LEVER not in text
    stuck = dataclasses.replace(VERDICT, levers=VERDICT.levers[:1])
    assert NO_LEVER in Page(sheet(data(verdict=stuck))).text


@pytest.mark.parametrize("ok", [True, False])
def test_the_verdict_of_a_forecast_says_what_was_seen(ok):
    """A forecast of which only what the sheet shows is filled in; its making is tested with the network."""
    made_in = MATERIALS.investment("gypsum-bonded")
    cut, porous = ((), ()) if ok else (("link 2", "link 1", "link 3"), ("button",))
    cast = tuple(link for link in VERDICT.links if link.verdict != "short") if ok else VERDICT.links
    shown = (cast, ok, cut, porous, True, "Every link fills.", 812.0, 0.7, 1.25, VERDICT.levers, ())
    made = verdict_of(Forecast(None, None, None, *shown), made_in)
    assert (made.links, made.levers, made.remark) == (cast, VERDICT.levers, "Every link fills.")
    text = Page(sheet(data(verdict=made))).text
    for words in ("is in after 1.2 s", "0.70 m/s", "812 °C", "700 °C with carbon left in", "900 °C burnt out clean"):
        assert words in text
    assert ("Everything freezes for the most part while" in text) is ok
    assert ("half solid: link 1 to 3." in text) is not ok
    nothing = Forecast(None, None, None, VERDICT.links, True, *shown[2:7], 0.0, *shown[8:])
    assert not any("freezes for" in n or "m/s" in n for n in verdict_of(nothing, made_in).notes), "short: none of it"
    assert ("where shrinkage draws from: button." in text) is not ok


@pytest.mark.parametrize(
    ("links", "words"),
    [
        ((cast_link(1),), "The link fills and freezes sound."),
        ((cast_link(1), cast_link(2)), "All 2 links fill and freeze sound."),
        (
            (cast_link(1), cast_link(2, "at-risk")),
            "1 of 2 links at risk, though all fill: see why, and what would help.",
        ),
        ((cast_link(1, "short"),), "1 of 1 link will not fill: do not pour it like this."),
    ],
)
def test_headlines(links, words):
    assert headline(links) == words


def test_what_it_costs_and_how_it_stands_are_said_where_they_are_known():
    plain = Page(sheet(data())).text
    for words in ("Cost", "The job leans", "On the spin arm"):
        assert words not in plain
    spec = {"metal_price_per_g": 2.0, "investment_price_per_kg": 4.0, "currency": "shells"}
    made = planned(**spec)
    text = Page(sheet(data(plan=made))).text
    for value in (made.cost.chain_metal, made.cost.kept_metal, made.cost.investment, made.cost.total):
        assert f"{value:.2f} shells" in text
    spun = planned(head="spin")
    text = Page(sheet(data(plan=spun))).text
    assert f"Balance the arm for {spun.arm_load_g / 1000:.1f} kg" in text
    assert spun.spin_arm.label in text, "its figures are among the sources"


def test_a_leaning_job_is_drawn_leaning():
    def lean(size):
        job = {"chain_mm3": 2e3, "lattice_mm3": 2e3, "size_mm": size, "sections": (Section("wire", 2.2),)}
        return plan(CastSpec(tilt=True), MATERIALS, **job)

    for size in ((142.0, 31.0, 17.0), (31.0, 142.0, 17.0)):
        made = lean(size)
        html = sheet(data(plan=made))
        deg = made.flask.lean.deg
        assert f'<g transform="rotate({deg} ' in html
        text = Page(html).text
        assert f"leaning by {deg} degrees" in text
        assert f"The job leans {deg}° along {made.flask.lean.axis}" in text


def trunk_path(html):
    """The corners of the trunk and the pouring cone in the picture of the flask, from the cone's left foot round."""
    (path,) = re.findall(r'<path d="(M[^"]*)" fill="#ddd"', html)
    x, y, found = 0.0, 0.0, []
    for letter, values in re.findall(r"([MLh])([-\d. ]+)", path):
        numbers = [float(v) for v in values.split()]
        x, y = (numbers[0], numbers[1]) if letter != "h" else (x + numbers[0], y)
        found.append((x, y))
    return found


def test_the_trunk_goes_to_the_hub_wherever_that_lies():
    """Beside the job, the trunk slants over to it, and the step says how far; in the middle it stands upright."""
    middle, beside = (Strut("trunk", (x, 0.0, 0.0), (x, 0.0, 4.0), 9.0, 9.0) for x in (10.5, 50.5))
    scale = data().plan.applied_scale
    for hub in (middle, beside):
        html = sheet(data(struts=(*STRUTS, hub)))
        path = trunk_path(html)
        assert (path[2][0] + path[3][0]) / 2 == pytest.approx(scale * hub.start[0], abs=0.02)
        assert path[2][1] == path[3][1] == 0.0, "it meets the hub on the plate"
        assert ("lead the trunk over in a slant" in html) is (hub is beside)
    leaning = plan(
        CastSpec(tilt=True), MATERIALS, chain_mm3=2e3, lattice_mm3=2e3, size_mm=(142.0, 31.0, 17.0),
        sections=(Section("wire", 2.2),),
    )  # fmt: skip
    low = trunk_path(sheet(data(plan=leaning, struts=(*STRUTS, beside))))
    assert low[2][1] > 10.0, "the low end of a job that leans comes down to the cone"


def test_it_has_room_to_write_down_what_happened():
    html = sheet(data())
    (record,) = re.findall(r'<table class="grid record.*?</table>', html)
    assert record.count('data-label="Test length"></td>') == record.count('data-label="Piece"></td>') == 9


HOSTILE = "<script>alert('x')</script> & \"quoted\" </style><img src=x onerror=1>"


def test_no_text_of_the_users_becomes_code():
    made = data(
        title=HOSTILE,
        chain=((HOSTILE, HOSTILE),),
        sizes=((HOSTILE, HOSTILE),),
        gaps=((HOSTILE, HOSTILE),),
        findings=(Finding(HOSTILE, "warn", (HOSTILE,), HOSTILE),),
        cutting=listed(gate(1, FIRST, HOSTILE)),
        overrides=(HOSTILE,),
        verdict=Verdict(
            (LinkCast(HOSTILE, "short", 1.0, None, None, 0.0, HOSTILE),),
            (Lever(HOSTILE, 1.0, 2.0, HOSTILE, False, HOSTILE),),
            HOSTILE,
            (HOSTILE,),
        ),
        plan=planned(metal_price_per_g=1.0, currency=HOSTILE),
    )
    page = Page(sheet(made))
    plain = Page(sheet(data(verdict=VERDICT, plan=planned(metal_price_per_g=1.0))))
    assert set(page.tags) == set(plain.tags)
    assert page.text.count("<script>alert('x')</script>") >= 10


def test_it_says_how_far_the_joints_move():
    text = Page(sheet(data(play=PLAY))).text
    for words in (
        "short to long", "+0.82 to -0.41", "-41.5 to +41.5", "-44.5 to +44.5", "-21.2 to +18.9", "-12.3 to any",
        "radius 14.2 mm over the face, none edgewise",
    ):  # fmt: skip
        assert words in text, words
    assert "Free play" not in Page(sheet(data())).text


def test_the_same_data_gives_the_same_page():
    assert sheet(data()) == sheet(data())


def test_nothing_but_a_chain_still_makes_a_page():
    bare = SheetData("Bare", planned(), links(1))
    text = Page(sheet(bare)).text
    assert "Cutting list" not in text
    assert "Gaps" not in text


def test_statuses_are_told_apart():
    """A figure from memory is never shown as published."""
    text = Page(sheet(data())).text
    assert "UNS C90700 data sheet" in text
    for status in ("published", "derived", "from memory", "our judgement"):
        assert status in text


# Pictures


def inside(picture):
    return ElementTree.fromstring(svg(picture, title="x"))


def test_pictures_are_well_formed_and_hold_the_job():
    for axes in (TOP, SIDE):
        picture = draw(links(3), STRUTS, axes)
        root = inside(picture)
        left, top, width, height = (float(x) for x in root.get("viewBox").split())
        numbers = [
            (float(x), float(y))
            for path in root.iter("{http://www.w3.org/2000/svg}path")
            for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d"))
        ]
        assert len(numbers) > 100
        assert all(left <= x <= left + width and top <= y <= top + height for x, y in numbers)


def test_pictures_are_to_scale():
    """A ring of 5 + 1 mm lying flat is 12 mm across from above, 2 mm high from the side."""
    assert draw(links(1), (), TOP).box == pytest.approx((-6.0, -6.0, 12.0, 12.0), abs=0.03)
    assert draw(links(1), (), SIDE).box[3] == pytest.approx(2.0)
    assert draw(links(1, wired=False), (), TOP).box == pytest.approx((-6.0, -6.0, 12.0, 12.0), abs=0.03)


def test_near_rods_cover_far_ones():
    """Two crossed rods one above the other: the upper one is drawn last, edge and inside, from above."""
    low = Strut("ring", (-5.0, 0.0, 0.0), (5.0, 0.0, 0.0), 2.0, 2.0)
    high = Strut("ring", (0.0, -5.0, 3.0), (0.0, 5.0, 3.0), 2.0, 2.0)
    for struts in ((low, high), (high, low)):
        body = draw((), struts, TOP).body
        paths = re.findall(r'd="M(-?[\d.]+) (-?[\d.]+)L', body)
        vertical = [x == "0" for x, _ in paths]
        assert vertical == sorted(vertical)
        assert 0 < sum(vertical) < len(vertical)


def test_chain_is_white_and_feed_metal_grey():
    body = draw(links(1), STRUTS, TOP).body
    assert 'stroke="#fff"' in body
    assert 'stroke="#aaa"' in body
    assert 'stroke="#aaa"' not in draw(links(1), (), TOP).body


@pytest.mark.parametrize("wired", [True, False])
def test_a_long_chain_keeps_the_page_small(wired):
    assert len(sheet(data(bodies=links(400, wired)))) < 1_000_000


def test_thinning_keeps_the_size_and_the_budget():
    fine = ring_mesh(around=200, across=80)
    thin = thinned(fine, 500)
    assert 100 < len(thin.triangles) <= 500
    assert thin.triangles.max() < len(thin.points)
    assert np.ptp(thin.points, axis=0) == pytest.approx(np.ptp(fine.points, axis=0), rel=0.25)
    assert thinned(MESH, 10_000) is MESH


def test_an_empty_job_draws_nothing():
    assert draw((), (), TOP).body == ""
    assert inside(draw((), (), TOP)).tag.endswith("svg")


def test_the_cutting_list_is_in_the_order_of_work_and_short():
    """60 links on two rings: posts, upper gates in three rounds, the lift, lower gates in three rounds."""
    cuts = [post(1), post(2)]
    for kind in (UPPER_GATE, GATE):
        for turn, numbers in ((FIRST, range(1, 58, 2)), (SECOND, range(2, 58, 2)), (LAST, (58, 59, 60))):
            cuts += [gate(len(cuts) + k, turn, f"link {n}", kind) for k, n in enumerate(numbers, start=1)]
        if kind == UPPER_GATE:
            lift = Cut(len(cuts) + 1, LIFT, 0, None, None, None, (0.0, 0.0, 9.0), (0.0, 0.0, 1.0), 0.0, 0.0, 0.0, None)
            cuts.append(lift)
    made = listed(*cuts)
    page = Page(sheet(data(cutting=made)))
    rows = cut_rows(made)
    assert [r[1].split(",")[0] for r in rows] == [
        "Posts",
        *["Upper gates"] * 3,
        "Lift off the upper ring",
        *["Lower gates"] * 3,
    ]
    assert [r[0] for r in rows] == [
        "1 to 2",
        "3 to 31",
        "32 to 59",
        "60 to 62",
        "63",
        "64 to 92",
        "93 to 120",
        "121 to 123",
    ]
    assert rows[3][2] == "link 58, 59, 60"
    assert rows[5][2].startswith("link 1, 3, 5, 7, ")
    assert rows[5][5] == "saw; disc too, once the posts are off"
    assert "122 cuts in all with a threaded saw" in page.text
    assert f"{120 * np.pi * 1.1**2 / 4:.0f} mm² of stubs" in page.text
    assert f"{5.0 * planned().alloy.density_g_cm3.value:.1f} g" in page.text
    for words in ("Spectacles", "dust mask", "no gloves at a running tool"):
        assert words in page.text


def test_long_lists_of_names_are_cut_short_and_unlike_names_written_out():
    assert names([f"link {k}" for k in range(500)]).endswith(", 39 and 460 more in the same way, all in report.json")
    assert names(["link 1", "eye 2"]) == "link 1, eye 2"
    assert names(["link 7"]) == "link 7"


def test_gates_without_room_are_counted():
    bare = dataclasses.replace(
        gate(1, FIRST, "link 1"), after=(tool_at("saw", fits=False), tool_at("disc", fits=False))
    )
    assert cut_rows(listed(bare))[0][5] == "saw; no room at 1, see findings; no room for a disc"
