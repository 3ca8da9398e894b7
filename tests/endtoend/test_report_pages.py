"""``--report``: one page that stands alone, says what its JSON says, and never costs the result."""

import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from framesim.coverage.scenario import SWEEPER
from framesim.report.caution import CAUTIONS

ROOT = Path(__file__).parents[2]
CAN = ["residual", "can", "--identifier", "0x123", "--payload", "0102"]
COMMANDS = {
    "coverage": ["coverage", "--hours", "0.02"],
    "channel": ["coverage", "channel.toml"],
    "residual": [*CAN, "--sweep", "1e-6:1e-2"],
    "bounded": ["residual", "can-fd", "--identifier", "0x123", "--payload", "0102", "--bit-error-ratio", "1e-4"],
    "compare": ["compare", "--patterns", "20"],
}  # fmt: skip
TITLE = "<script>alert('x')</script> & $\\frac{1}{0}$"
VOID = {"meta"}


def run(*words, folder):
    command = [sys.executable, "-m", "framesim", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False, cwd=folder)


class Page(HTMLParser):
    """Tags in order, everything that could load or run something, and the numbers with their places."""

    def __init__(self, text):
        super().__init__()
        self.text, self.open, self.tags, self.loads, self.numbers, self.cell = "", [], [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.tags.append(tag)
        if tag not in VOID:
            self.open.append(tag)
        self.note(given)
        if tag == "data":
            self.cell = [given["data-at"], given["value"], ""]

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self.note(dict(attrs))

    def note(self, given):
        self.loads += [value for key, value in given.items() if key in ("src", "data", "action", "srcset")]
        self.loads += [value for key, value in given.items() if key.endswith("href") and not value.startswith("#")]
        self.loads += [key for key in given if key.startswith("on")]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        if tag == "data":
            self.numbers.append(tuple(self.cell))
            self.cell = None

    def handle_data(self, data):
        self.text += data
        if self.cell is not None:
            self.cell[2] += data


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("pages")
    scenario = (
        SWEEPER.replace(
            'title = "Street sweeper with a biogas engine: pressure at the brush head"', f"title = {json.dumps(TITLE)}"
        )
        .replace('unit = "bar"', 'unit = "$b_a$<r>"')
        .replace("hours = 1.0", "hours = 0.02")
        .replace('note = "invented demonstration data"', r'note = "a\u001b[31mb\u202Ec"')
    )
    (place / "hostile.toml").write_text(scenario, encoding="utf-8")
    kept = "\n".join(
        line
        for line in scenario.splitlines()
        if not line.startswith(("hours", "severities", "receivers", "[links.", "[analog]"))
    )
    channel = re.sub(r"\[disturbance\][^\[]*", '[disturbance]\nkind = "scatter"\nbit_error_ratio = 1e-3\n\n', kept)
    (place / "channel.toml").write_text("frames = 2000\n" + channel, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def made(folder):
    """Each command's page and JSON, from one run."""
    found = {}
    for name, words in COMMANDS.items():
        done = run(*words, "--json", "--report", f"{name}.html", folder=folder)
        assert (done.returncode, done.stderr) == (0, ""), name
        found[name] = ((folder / f"{name}.html").read_text(encoding="utf-8"), json.loads(done.stdout))
    return found


@pytest.mark.parametrize("name", COMMANDS)
def test_the_page_is_sound_and_loads_and_runs_nothing(made, name):
    text, _ = made[name]
    page = Page(text)
    assert page.open == []
    assert page.loads == []
    assert not {"script", "iframe", "object", "embed", "link", "image", "img", "foreignobject"} & set(page.tags)
    assert "@import" not in text
    assert re.findall(r"url\((?!#)", text) == []
    assert "@media print" in text
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    ids = re.findall(r'\bid="([^"]*)"', text)
    assert len(ids) == len(set(ids))
    for picture in pictures:
        ElementTree.fromstring(picture)
    assert len(pictures) >= (0 if name == "bounded" else 1)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_number_of_the_page_is_that_of_the_json(made, name):
    text, record = made[name]
    numbers = Page(text).numbers
    assert len(numbers) > 5
    for place, exact, shown in numbers:
        value = at(record, place)
        assert json.loads(exact) == value, place
        assert float(shown.replace(",", "")) == pytest.approx(value, rel=6e-4), place


def at(record, place):
    """Return what stands at a place of the record; keys may hold dots themselves."""
    if place == "":
        return record
    for end in [*(found.start() for found in re.finditer(r"\.", place)), len(place)]:
        key = place[:end]
        if isinstance(record, list):
            return at(record[int(key)], place[end + 1 :])
        if key in record:
            return at(record[key], place[end + 1 :])
    raise KeyError(place)


def test_every_rate_of_the_json_stands_on_the_page(made):
    for name in ("coverage", "residual", "compare"):
        text, record = made[name]
        places = {place for place, _, _ in Page(text).numbers}
        for number, link in enumerate(record["links"]):
            assert {f"links.{number}.low", f"links.{number}.high"} <= places
            if link["probability"]:
                assert f"links.{number}.probability" in places
            if (link.get("computed") or {}).get("strata"):
                assert {f"links.{number}.computed.low", f"links.{number}.computed.high"} <= places


def test_every_link_of_the_run_has_its_numbers_its_bar_and_its_basis_on_the_page(made):
    text, record = made["coverage"]
    page = Page(text)
    others = {link["link"] for link in record["links"]} - {"can", "analog"}
    assert len(others) >= 5
    places = {place for place, _, _ in page.numbers}
    for number, link in enumerate(record["links"]):
        if link["link"] in others:
            assert f"links.{number}.counts.frames" in places
            assert any(place.startswith(f"disturbance.{link['column']}.links.{link['link']}.") for place in places)
    for column in record["columns"]:
        assert f"{column.capitalize()}, undetected on the other links" in page.text


@pytest.mark.parametrize("name", COMMANDS)
def test_the_page_says_what_it_rests_on_what_is_left_out_and_what_to_beware_of(made, name):
    text, record = made[name]
    page = Page(text)
    said = " ".join(page.text.split())
    for caution in CAUTIONS:
        assert caution in said
    for words in ("seed", "method", "made by", "What is not modelled", f"framesim {record['version']}", "matplotlib"):
        assert words in said


BEWARE = (
    "15 to 40 kV", "300 to 400 V", "Never probe", "into hardware", "fuel vapour", "pacemaker", "running ignition",
    "estimates", "ot an EMC test", "conformity", "ISO 7637", "ISO 11452", "IEC 61000-4-4", "CISPR 12", "CISPR 25",
    "UN Regulation 10", "ISO 26262", "IEC 61508", "safety case", "competent", "independent",
    "Do not inject simulated errors on a vehicle that can move, or on public roads.",
)  # fmt: skip


@pytest.mark.parametrize("words", BEWARE)
def test_the_readme_and_the_page_warn_of_the_same(words):
    readme = (ROOT / "README.md").read_text(encoding="utf-8").replace("**", "")
    section = " ".join(readme.split("## Cautions")[1].split("## ")[0].split()).lower()
    assert words.lower() in section
    assert words.lower() in " ".join(CAUTIONS).lower()


def test_a_hostile_scenario_is_inert_and_its_words_are_shown_as_they_are(folder):
    done = run("coverage", "hostile.toml", "--report", "hostile.html", folder=folder)
    assert (done.returncode, done.stderr) == (0, "")
    text = (folder / "hostile.html").read_text(encoding="utf-8")
    page = Page(text)
    assert "script" not in page.tags
    assert page.loads == []
    assert TITLE in page.text
    assert "$b_a$<r>" in page.text
    assert "<script" not in text
    assert r"a\x1b[31mb\u202ec" in page.text  # colour and turned writing are spelled out
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", text)


@pytest.mark.parametrize("name", ["coverage", "residual", "compare"])
def test_bit_error_ratios_measured_on_can_stand_on_the_page_with_their_source(made, name):
    # Wilamowski and Irwin, Industrial Communication Systems, 2011, table 31.2, after Ferreira et al.
    said = " ".join(Page(made[name][0]).text.split())
    for words in ("2.6e-7", "arc welder", "3.1e-9", "production line", "3.0e-11", "Ferreira", "table 31.2"):
        assert words in said


def test_the_same_input_gives_the_same_bytes(made, folder):
    done = run(*COMMANDS["coverage"], "--report", "again.html", folder=folder)
    assert done.returncode == 0
    assert (folder / "again.html").read_text(encoding="utf-8") == made["coverage"][0]


@pytest.mark.parametrize("path", ["missing/page.html", "folder.html"])
def test_a_page_that_cannot_be_written_costs_one_line_and_not_the_result(folder, path):
    (folder / "folder.html").mkdir(exist_ok=True)
    done = run(*CAN, "--bit-error-ratio", "1e-4", "--json", "--report", path, folder=folder)
    assert done.returncode == 2
    assert json.loads(done.stdout)["links"]
    assert re.fullmatch(rf"framesim: --report='{path}': cannot be written \(.+\)\n", done.stderr)


@pytest.mark.parametrize("words", [["coverage"], [*CAN, "--bit-error-ratio", "1e-4"], ["compare"]])
def test_a_name_that_is_no_page_is_refused_before_any_work(folder, words):
    before = (folder / "hostile.toml").read_text(encoding="utf-8")
    done = run(*words, "--report", "hostile.toml", folder=folder)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "framesim: --report='hostile.toml': expected the name of a page, FILE.html\n"
    assert (folder / "hostile.toml").read_text(encoding="utf-8") == before


def test_without_a_report_nothing_is_loaded_that_draws():
    code = "import sys; from framesim.cli.main import main; main(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    words = [*CAN, "--bit-error-ratio", "1e-4", "--json"]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60, check=True)
    assert not {"matplotlib", "jinja2", "rich"} & set(done.stderr.split())
