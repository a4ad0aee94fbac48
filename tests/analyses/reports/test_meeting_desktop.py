"""The meeting's files as people meet them: office pages, and pages in a browser."""

from __future__ import annotations

from contextlib import contextmanager

import pptx
import pytest
from meeting_reports import conference_folder, quality_folder
from office_pages import pages, pdf_of, text_of

pytestmark = pytest.mark.desktop

CHROMIUM, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"
FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync")
WIDTHS = {"phone": 390, "laptop": 1280, "projector": 1920}


@pytest.fixture(scope="module")
def slides_pdf(tmp_path_factory):
    return pdf_of(conference_folder() / "conference.pptx", tmp_path_factory.mktemp("slides"))


def test_libreoffice_opens_the_slides_and_keeps_every_one(slides_pdf):
    made = pptx.Presentation(str(conference_folder() / "conference.pptx"))
    assert pages(slides_pdf) == len(made.slides)
    told = text_of(slides_pdf)
    for slide in made.slides:
        assert slide.shapes.title.text_frame.text in told


def test_the_quality_paper_has_two_pages(tmp_path):
    pdf = pdf_of(quality_folder() / "quality-report-to-share.docx", tmp_path)
    assert pages(pdf) == 2
    assert "No signal is not evidence of safety: with few patients" in text_of(pdf)


@contextmanager
def browser():
    """Debian's Chromium, headless; fails where it is missing."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in FLAGS:
        options.add_argument(flag)
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    driver.set_script_timeout(180)
    try:
        yield driver
    finally:
        driver.quit()


@pytest.fixture(scope="module")
def chromium():
    with browser() as driver:
        yield driver


@pytest.fixture(params=["conference.html", "quality-report.html"])
def address(request) -> str:
    folder = conference_folder if request.param.startswith("conf") else quality_folder
    return (folder() / request.param).as_uri()


def at_width(driver, address: str, width: int) -> None:
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
        "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False})
    driver.get(address)


@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_the_page_itself_never_scrolls_sideways(chromium, address, width):
    at_width(chromium, address, width)
    wide = chromium.execute_script("return document.documentElement.scrollWidth")
    assert wide <= chromium.execute_script("return window.innerWidth")


@pytest.mark.parametrize("width", [WIDTHS["phone"], WIDTHS["laptop"]], ids=["phone", "laptop"])
def test_axe_finds_nothing_to_mend(chromium, address, width):
    """axe-core's rules: contrast, names, landmarks, table headings, keyboard (WCAG 2 A and AA)."""
    from axe_core_python.selenium import Axe

    at_width(chromium, address, width)
    found = Axe().run(chromium)
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found["violations"]] == []
    assert {"color-contrast"} & {p["id"] for p in found["passes"]}


def test_every_figure_has_words_and_every_table_its_headings(chromium, address):
    at_width(chromium, address, 1280)
    labels = chromium.execute_script(
        "return [...document.querySelectorAll('figure svg')].map(s => "
        "[s.getAttribute('role'), s.getAttribute('aria-label')])")
    assert labels and all(role == "img" and len(words) > 20 for role, words in labels)
    bare = chromium.execute_script(
        "return [...document.querySelectorAll('table')].filter(t => "
        "!t.caption || !t.querySelector('thead th[scope=col]')).length")
    assert bare == 0


def test_every_number_is_reached_by_keyboard_and_opens_its_cases(chromium):
    from selenium.webdriver.common.keys import Keys

    at_width(chromium, (quality_folder() / "quality-report.html").as_uri(), 1280)
    chromium.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    wanted = chromium.execute_script("return document.querySelectorAll('button.n').length")
    assert wanted > 20
    seen = _tabbed_through(chromium)
    assert seen >= {str(n) for n in range(wanted)}
    first = chromium.find_element("css selector", "button.n")
    first.send_keys(Keys.ENTER)
    dialog = chromium.find_element("id", "cases")
    assert dialog.get_property("open")
    assert chromium.execute_script("return document.querySelectorAll('#cases li').length") > 5
    chromium.switch_to.active_element.send_keys(Keys.ESCAPE)
    assert not dialog.get_property("open")
    assert chromium.switch_to.active_element == first


def _tabbed_through(driver) -> set[str]:
    """The numbers met when going through the page with the tab key, focus visible on each."""
    from selenium.webdriver.common.keys import Keys

    driver.execute_script("document.querySelector('.skip').focus()")
    seen: set[str] = set()
    for _ in range(2000):
        driver.switch_to.active_element.send_keys(Keys.TAB)
        name, number, outline = driver.execute_script(
            "const e = document.activeElement;"
            "return [e.tagName, e.dataset.cases || '', getComputedStyle(e).outlineStyle]")
        if name == "BODY":
            break
        if number:
            assert outline != "none"
            seen.add(number)
    return seen


def test_printed_everything_folded_is_there(chromium, tmp_path):
    import base64

    at_width(chromium, (quality_folder() / "quality-report.html").as_uri(), 1280)
    made = chromium.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
    (tmp_path / "page.pdf").write_bytes(base64.b64decode(made["data"]))
    told = text_of(tmp_path / "page.pdf")
    assert "The numbers by operator code; not a ranking" in told
    assert told.count("OP0") > 3
