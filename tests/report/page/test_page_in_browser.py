"""Pages in a real browser, at desktop and phone width, with and without scripts, and by an accessibility checker."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tarfile
from pathlib import Path

import pytest

from tracker.report.folder import read_folder
from tracker.report.page.session import session_page

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
from selenium.webdriver.common.by import By  # noqa: E402
from selenium.webdriver.support.select import Select  # noqa: E402

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
AXE = "axe-core@4.10.3"
pytestmark = [
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no chromium with its driver here"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
DESKTOP, PHONE = 1200, 360


def opened(scripts: bool = True):
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in ("--headless=new", "--disable-gpu", "--window-size=1200,900", "--disable-dev-shm-usage"):
        options.add_argument(flag)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        options.add_argument("--no-sandbox")
    if not scripts:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))


@pytest.fixture(scope="module")
def browser():
    driver = opened()
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def address(hostile_out, hostile_folder) -> str:
    file = hostile_out / "session.html"
    file.write_text(session_page(hostile_out, hostile_folder), encoding="utf-8")
    return file.as_uri()


@pytest.fixture(scope="module")
def axe(tmp_path_factory, pytestconfig) -> str:
    """Source of axe-core, of the npm registry; without it tests are skipped, but fail where it is said to be needed."""
    kept = Path(pytestconfig.cache.mkdir("axe")) / f"{AXE}.js"
    if not kept.exists():
        npm, work = shutil.which("npm"), tmp_path_factory.mktemp("axe")
        if npm is None:
            pytest.skip("no npm here to fetch axe-core with")
        done = subprocess.run([npm, "pack", AXE], cwd=work, capture_output=True, check=False, timeout=120)
        packed = list(work.glob("*.tgz"))
        if done.returncode or not packed:
            (pytest.fail if os.environ.get("SIXTYFEET_AXE") == "needed" else pytest.skip)(
                "axe-core could not be fetched"
            )
        with tarfile.open(packed[0]) as archive:
            kept.write_bytes(archive.extractfile("package/axe.min.js").read())
    return kept.read_text(encoding="utf-8")


def wide(driver, width: int, address: str) -> None:
    size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    driver.get(address)


def requests_of(driver) -> list[str]:
    events = [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    return [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]


@pytest.mark.parametrize("width", [DESKTOP, PHONE])
def test_nothing_on_the_console_and_nothing_asked_elsewhere(browser, address, width):
    requests_of(browser)
    browser.get_log("browser")
    wide(browser, width, address)
    assert browser.get_log("browser") == []
    asked = requests_of(browser)
    assert address in asked
    assert all(url == address or url.startswith("data:") for url in asked)
    assert "run" not in browser.title.split()


@pytest.mark.parametrize("width", [DESKTOP, PHONE])
def test_the_page_itself_never_scrolls_sideways(browser, address, width):
    wide(browser, width, address)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("width", [DESKTOP, PHONE])
def test_an_accessibility_checker_finds_nothing_serious(browser, address, axe, width):
    """axe-core of the npm registry: rules of WCAG 2 and best practices."""
    wide(browser, width, address)
    browser.execute_script(axe)
    found = browser.execute_async_script("axe.run().then(arguments[0])")
    grave = [
        (v["id"], v["nodes"][0]["html"][:120]) for v in found["violations"] if v["impact"] in ("serious", "critical")
    ]
    assert grave == []
    assert len(found["passes"]) > 15


def test_texts_in_pictures_can_be_read_on_a_phone(browser, address):
    wide(browser, PHONE, address)
    least = browser.execute_script(
        "const texts = [...document.querySelectorAll('figure svg text')];"
        "return Math.min(...texts.map(t => t.getBoundingClientRect().height))"
    )
    assert least >= 9.0


def test_two_shots_are_compared(browser, address):
    wide(browser, DESKTOP, address)
    Select(browser.find_element(By.ID, "other")).select_by_index(2)
    rows = browser.find_elements(By.CSS_SELECTOR, "#two-answer tbody tr")
    cells = {
        row.find_element(By.TAG_NAME, "th").text: [c.text for c in row.find_elements(By.TAG_NAME, "td")] for row in rows
    }
    assert cells["contact at (ft)"][2] == "0.00 \u00b1 0.01"
    assert cells["end of hook (ft)"] == ["\u2013"] * 3


def test_shots_can_be_left_out_of_the_picture(browser, address):
    wide(browser, DESKTOP, address)
    box = browser.find_element(By.CSS_SELECTOR, "[data-shows]")
    shown, line = (box.get_attribute(name) for name in ("data-shows", "data-line"))
    rows = browser.find_elements(By.CSS_SELECTOR, "#overview [data-shot]")
    lines = browser.find_elements(By.CSS_SELECTOR, ".group svg [data-shot]")
    parts = [r for r in rows if r.get_attribute("data-shot") == shown]
    parts += [p for p in lines if p.get_attribute("data-shot") == line]
    others = [p for p in (*rows, *lines) if p not in parts]
    assert len(parts) >= 2
    assert all(p.is_displayed() for p in parts)
    box.click()
    assert not any(p.is_displayed() for p in parts)
    assert all(p.is_displayed() for p in others)


def test_without_scripts_nothing_is_missing(browser, address):
    wide(browser, DESKTOP, address)
    with_scripts = browser.find_element(By.ID, "main").text
    driver = opened(scripts=False)
    try:
        wide(driver, DESKTOP, address)
        without = driver.find_element(By.ID, "main").text
        assert not driver.find_element(By.ID, "two").is_displayed()
    finally:
        driver.quit()
    for part in ("Ways to play", "What gave no shot", "All shots", "Cautions"):
        assert part in without
    assert len(without) > 0.8 * len(with_scripts)


def test_it_prints(browser, address):
    """A4 and Letter: the page makes a file of some sheets, and what is for the screen only is gone."""
    wide(browser, DESKTOP, address)
    for width, height in ((8.27, 11.69), (8.5, 11.0)):
        made = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
        assert len(made["data"]) > 20000
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert not browser.find_element(By.CSS_SELECTOR, "nav").is_displayed()
        assert not browser.find_element(By.ID, "two").is_displayed()
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_a_session_without_shots_and_without_line_up(browser, tmp_path):
    (tmp_path / "shots.csv").write_text("shot_id,clip\r\n", encoding="utf-8")
    file = tmp_path / "session.html"
    file.write_text(session_page(tmp_path, read_folder(tmp_path)), encoding="utf-8")
    browser.get_log("browser")
    wide(browser, PHONE, file.as_uri())
    assert browser.get_log("browser") == []
    assert "No clip gave a shot" in browser.find_element(By.ID, "main").text
