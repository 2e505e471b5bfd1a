"""The page in a real browser, where there is one: Chromium with its driver, selenium and axe."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import xarray as xr
from click.testing import CliRunner

import drysward
from drysward.cli import main
from drysward.pages import open_result, page

webdriver = pytest.importorskip("selenium.webdriver")
axe = pytest.importorskip("axe_core_python.base")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
WIDTHS = (390, 820, 1100, 1280, 1920)
CHECKED_WHOLLY = ((1280, "light"), (390, "dark"))
"""Where every rule of accessibility is checked, contrast included; it takes seconds."""
SCREEN = 900
MOST_SCREENS = 6
"""Height of a page of six fields and four plans at 1280 pixels."""
SERIOUS = {"serious", "critical"}

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no Chromium with its driver"),
]


@pytest.fixture(scope="module")
def html(scenes, tmp_path_factory) -> Path:
    """A page of two fields, one with a name that is markup, and two plans."""
    folder = tmp_path_factory.mktemp("page")
    first = replace(scenes.field("sand_over_gravel_12in", key="a"), label="<b onclick=x>A</b>")
    fields = [first, scenes.field("native_loam", key="b")]
    scenario = scenes.scenario(fields, [scenes.plan(), scenes.plan("refill", trigger=0.5)])
    record = scenes.weather(years=3)
    run = drysward.run(scenario, record=record, daily=True)
    drysward.save(run, folder, scenario)
    out = folder / "page.html"
    out.write_text(page(open_result(folder)), encoding="utf-8")
    return out


@pytest.fixture(scope="module")
def large(html, tmp_path_factory) -> Path:
    """The same result as six fields and four plans, by name."""
    result = open_result(html.parent)
    fields = [result.isel(field=[i % 2]).assign_coords(
        field=[f"f{i}"], field_label=("field", [f"Practice field {i}"])) for i in range(6)
    ]  # fmt: skip
    wide = xr.concat(fields, "field", data_vars="minimal")
    plans = [wide.isel(plan=[i % 2]).assign_coords(
        plan=[f"p{i}"], plan_label=("plan", [f"Refill at {i}0% depletion"])) for i in range(4)
    ]  # fmt: skip
    out = tmp_path_factory.mktemp("large") / "page.html"
    out.write_text(page(xr.concat(plans, "plan", data_vars="minimal")), encoding="utf-8")
    return out


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> Path:
    """A page of matches: bars to 100%, hatched, and a field without turf."""
    folder = tmp_path_factory.mktemp("played")
    asked = ["compare", "match-days", "--draws", "0", "--years", "1-3", "--out", str(folder)]
    assert CliRunner().invoke(main, asked).exit_code == 0
    out = folder / "page.html"
    out.write_text(page(open_result(folder)), encoding="utf-8")
    return out


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


def show(
    browser, html: Path, width: int, scheme: str = "light", media: str = "", is_open: bool = True
) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": SCREEN, "deviceScaleFactor": 1, "mobile": width < 600},
    )
    feature = {"name": "prefers-color-scheme", "value": scheme}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": [feature]})
    browser.get(html.as_uri())
    if is_open:
        browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")


def scroll_width(browser) -> int:
    return browser.execute_script("return document.documentElement.scrollWidth")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_opens_alone_and_fits(browser, html, width, scheme):
    browser.get_log("performance")
    browser.get_log("browser")
    show(browser, html, width, scheme)
    sent = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [
        m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"
    ]
    assert [url for url in urls if not url.startswith("data:")] == [html.as_uri()]
    assert browser.get_log("browser") == []
    assert scroll_width(browser) <= width
    figures = browser.execute_script(
        "return [...document.querySelectorAll('figure svg')].map(f => {"
        "const b = f.getBoundingClientRect();"
        "return [b.width, b.height, document.getElementById("
        "f.getAttribute('aria-labelledby')).textContent]})"
    )
    assert len(figures) > 10
    for across, up, alt in figures:
        assert min(300, width - 60) < across < width
        assert up > 85
        assert len(alt) > 30
    # A color that the page does not know would be black.
    ink = browser.execute_script("return getComputedStyle(document.querySelector('svg text')).fill")
    assert ink == {"light": "rgb(34, 50, 59)", "dark": "rgb(232, 236, 234)"}[scheme]
    if (width, scheme) not in CHECKED_WHOLLY:
        return
    browser.execute_script(axe.AXE_SCRIPT)
    found = browser.execute_async_script("axe.run().then(arguments[arguments.length - 1])")
    serious = [v["id"] for v in found["violations"] if v["impact"] in SERIOUS]
    assert serious == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("shown", ["html", "played"])
def test_no_text_of_a_chart_is_cut(browser, request, shown, width):
    """Every label lies inside its drawing."""
    show(browser, request.getfixturevalue(shown), width)
    cut = browser.execute_script(
        "return [...document.querySelectorAll('figure svg')].flatMap(f => {"
        "const b = f.getBoundingClientRect();"
        "return [...f.querySelectorAll('text')].filter(t => {const r = t.getBoundingClientRect();"
        "return r.width && (r.left < b.left - 1 || r.right > b.right + 1 || r.top < b.top - 1"
        " || r.bottom > b.bottom + 1)}).map(t => t.textContent)})"
    )
    assert cut == []


def test_names_beside_an_axis_end_before_it(browser, html):
    """On a phone letters are larger beside the drawing, and names must still have room."""
    show(browser, html, 390)
    over = browser.execute_script(
        "return [...document.querySelectorAll('figure[data-readings]')].flatMap(f => {"
        "const svg = f.querySelector('svg'), b = svg.getBoundingClientRect();"
        "const edge = b.left + JSON.parse(f.dataset.readings).box[0] * b.width"
        " / svg.viewBox.baseVal.width;"
        "return [...svg.querySelectorAll('text')].filter(t => {const r = t.getBoundingClientRect();"
        "return r.width && (r.left + r.right) / 2 < edge && r.right > edge + 1"
        "}).map(t => t.textContent)})"
    )
    assert over == []


def test_many_fields_and_plans_take_few_screens(browser, large):
    show(browser, large, 1280, is_open=False)
    height = browser.execute_script("return document.documentElement.scrollHeight")
    assert height <= MOST_SCREENS * SCREEN
    for width in WIDTHS:
        show(browser, large, width, is_open=False)
        assert scroll_width(browser) <= width


def test_printed_it_has_the_answer_and_open_charts_and_no_more(browser, html):
    show(browser, html, 1280, media="print", is_open=False)
    shown = browser.execute_script(
        "return ['nav', '#answer', '#days ~ .panels', '.cautions', '#cover', '.reading'].map(q => {"
        "const e = document.querySelector(q); return e ? e.getClientRects().length > 0 : null})"
    )
    assert shown == [False, True, True, True, False, False]
    # A heading whose content is folded away is not printed either.
    heads = browser.execute_script(
        "return [...document.querySelectorAll('h2')].filter(h => h.getClientRects().length)"
        ".map(h => h.id)"
    )
    assert not {"charts", "assumed", "values", "again"} & set(heads)
    assert {"numbers", "cautions"} <= set(heads)
    browser.execute_script("document.querySelector('#assumed ~ details').open = true")
    assert browser.find_element("id", "assumed").is_displayed()


def test_rows_of_values_are_low_on_a_phone(browser, html):
    """A column of a letter a line makes a row of a screen; the table scrolls instead."""
    show(browser, html, 390)
    heights = browser.execute_script(
        "return [...document.querySelectorAll('table.words tbody tr')].map(r => r.offsetHeight)"
    )
    assert len(heights) > 50
    assert max(heights) <= 100
    assert scroll_width(browser) <= 390


def test_printed_letters_can_be_read(browser, played):
    """On a sheet 7.4 in wide, at the 96 px of an inch in CSS, letters have 6 points or more."""
    show(browser, played, 710, media="print", is_open=False)
    sizes = browser.execute_script(
        "return [...document.querySelectorAll('figure svg')].filter(f => f.clientWidth).flatMap("
        "f => [...f.querySelectorAll('text')].map(t => parseFloat(getComputedStyle(t).fontSize)"
        " * f.clientWidth / f.viewBox.baseVal.width * 0.75))"
    )
    assert len(sizes) > 20
    assert min(sizes) >= 6.0
    note, text = browser.execute_script(
        "return ['.answer .note', '.answer p'].map(q => parseFloat(getComputedStyle("
        "document.querySelector(q)).fontSize))"
    )
    assert note < text


def test_a_swatch_looks_as_what_it_stands_for(browser, played):
    """Lines of a hatch are as far apart in the legend as in the bars, on the scale of the panel."""
    show(browser, played, 1280)
    lines = browser.execute_script(
        "return [...document.querySelectorAll('#events')].flatMap(h => [...h.parentElement"
        ".querySelectorAll('.key svg svg path')].map(p => p.getBBox().width))"
    )
    # The library's tile has a side of 72 points, whatever is drawn in it.
    assert len(lines) == 3
    assert all(60.0 < width < 150.0 for width in lines)


def test_without_script_all_is_there(browser, html):
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        show(browser, html, 1280, is_open=False)
        focusable = browser.find_elements("css selector", ".plot[tabindex]")
        drawn = browser.find_elements("css selector", "figure svg[role=img]")
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    # No stop of the keyboard leads to what does nothing.
    assert focusable == []
    assert len(drawn) > 10


def test_values_are_read_by_pointer_and_by_keys(browser, html):
    show(browser, html, 1280)
    first = browser.find_element("css selector", ".plot")
    webdriver.ActionChains(browser).move_to_element(first).perform()
    reading = browser.find_element("css selector", ".reading")
    assert reading.is_displayed()
    assert "average year" in reading.text
    assert "days" in reading.text
    browser.execute_script("arguments[0].focus()", first)
    first.send_keys("\ue011")  # Home
    at_home = reading.text
    assert at_home.startswith("none\n")
    first.send_keys("\ue015")  # arrow down
    assert reading.text.startswith("refill\n")
    spoken = browser.find_element("css selector", "figure .spoken").get_attribute("textContent")
    assert spoken.startswith("refill: average year ")
    first.send_keys("\ue00c")  # Escape
    assert not reading.is_displayed()


def test_a_keyboard_reaches_every_link_chart_table_and_fold(browser, html):
    # Of browsers side by side only one window has the focus.
    browser.execute_cdp_cmd("Emulation.setFocusEmulationEnabled", {"enabled": True})
    show(browser, html, 1280)
    browser.execute_script(
        "window.reached = new Set();"
        "document.addEventListener('focusin', e => window.reached.add(e.target))"
    )
    n = browser.execute_script(
        "window.all = [...document.querySelectorAll('a, summary, [tabindex=\"0\"]')];"
        "return window.all.length"
    )
    for _ in range(n + 2):
        webdriver.ActionChains(browser).send_keys("\ue004").perform()
    missed = browser.execute_script(
        "return window.all.filter(e => !window.reached.has(e)).map(e => e.outerHTML.slice(0, 80))"
    )
    assert missed == []
