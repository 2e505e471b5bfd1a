"""The page in a real browser, where there is one: Chromium with its driver, selenium and axe."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

import drysward
from drysward.pages import open_result, page

webdriver = pytest.importorskip("selenium.webdriver")
axe = pytest.importorskip("axe_core_python.base")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
CHECKED_WHOLLY = ((1280, "light"), (390, "dark"))
"""Where every rule of accessibility is looked at, contrast included; it takes seconds."""
SERIOUS = {"serious", "critical"}

pytestmark = pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no Chromium with its driver")


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
def browser(tmp_path_factory):
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


def show(browser, html: Path, width: int, scheme: str) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 600},
    )
    feature = {"name": "prefers-color-scheme", "value": scheme}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [feature]})
    browser.get(html.as_uri())
    browser.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_the_page_opens_alone_and_fits(browser, html, width, scheme):
    browser.get_log("performance")
    browser.get_log("browser")
    show(browser, html, width, scheme)
    sent = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [
        m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"
    ]
    assert [url for url in asked if not url.startswith("data:")] == [html.as_uri()]
    assert browser.get_log("browser") == []
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    assert wide <= width
    figures = browser.execute_script(
        "return [...document.querySelectorAll('figure svg')].map(f => {"
        "const b = f.getBoundingClientRect();"
        "return [b.width, b.height, document.getElementById("
        "f.getAttribute('aria-labelledby')).textContent]})"
    )
    assert len(figures) > 10
    for across, up, told in figures:
        assert min(300, width - 60) < across < width
        assert up > 150
        assert len(told) > 30
    # A colour that the page does not know would be black.
    ink = browser.execute_script("return getComputedStyle(document.querySelector('svg text')).fill")
    assert ink == {"light": "rgb(34, 50, 59)", "dark": "rgb(232, 236, 234)"}[scheme]
    if (width, scheme) not in CHECKED_WHOLLY:
        return
    browser.execute_script(axe.AXE_SCRIPT)
    found = browser.execute_async_script("axe.run().then(arguments[arguments.length - 1])")
    serious = [v["id"] for v in found["violations"] if v["impact"] in SERIOUS]
    assert serious == []


def test_a_keyboard_reaches_links_tables_and_folds(browser, html):
    show(browser, html, 1280, "light")
    keys = webdriver.Keys if hasattr(webdriver, "Keys") else None
    tab = keys.TAB if keys else "\ue004"
    reached = []
    for _ in range(40):
        browser.switch_to.active_element.send_keys(tab)
        reached.append(browser.execute_script(
            "const e = document.activeElement; return e.className || e.tagName"
        ))  # fmt: skip
    assert reached[0] == "skip"
    assert "A" in reached
    assert "scroll" in reached
    assert "SUMMARY" in reached
