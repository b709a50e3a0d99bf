"""The marks page in a real browser; skipped where there is none."""

from __future__ import annotations

import os
import queue
import shutil
import threading
import time

import cv2
import numpy as np
import pytest

from tracker.pages.marks import serve_marks

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
from selenium.webdriver import ActionChains  # noqa: E402
from selenium.webdriver.common.by import By  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
pytestmark = [
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no chromium with its driver here"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
WIDTH, HEIGHT = 640, 360


@pytest.fixture(scope="module")
def browser():
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in ("--headless=new", "--disable-gpu", "--window-size=1200,900", "--disable-dev-shm-usage"):
        options.add_argument(flag)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        options.add_argument("--no-sandbox")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


class Page:
    """The page open in the browser."""

    def __init__(self, browser, **options):
        self.browser = browser
        self.result = queue.Queue()
        address = queue.Queue()
        picture = np.full((HEIGHT, WIDTH, 3), 90, np.uint8)
        cv2.line(picture, (200, 300), (300, 40), (220, 220, 220), 2)
        png = cv2.imencode(".png", picture)[1].tobytes()

        def run():
            usual = {"on_save": lambda marks: f"{len(marks['marks_px'])} marks, good", "clip": "<b>odd</b> name.mp4"}
            found = serve_marks(
                png, width=WIDTH, height=HEIGHT, on_ready=address.put, timeout_s=60, **{**usual, **options}
            )
            self.result.put(found)

        threading.Thread(target=run, daemon=True).start()
        self.browser.get(address.get(timeout=5))
        self.until(lambda: self.script("return document.body.dataset.ready") == "1")
        self.frame = browser.find_element(By.ID, "frame")

    def until(self, condition, seconds=10):
        end = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < end, self.browser.get_log("browser")
            time.sleep(0.03)

    def script(self, text):
        return self.browser.execute_script(text)

    def marks(self):
        return self.script("return marks")

    def screen(self, x, y):
        """Offset from the canvas's middle, as the driver wants it, of an image point, right to a screen pixel."""
        s = self.script(
            f"const s = toScreen({{x: {x}, y: {y}}});return [s.x - frame.clientWidth / 2, s.y - frame.clientHeight / 2]"
        )
        return round(s[0]), round(s[1])

    def click(self, x, y):
        ActionChains(self.browser).move_to_element_with_offset(self.frame, *self.screen(x, y)).click().perform()

    def keys(self, *keys):
        self.frame.send_keys(*keys)

    def press(self, name):
        self.browser.find_element(By.ID, name).click()

    def pixel(self):
        return 1 / self.script("return view.scale")


@pytest.fixture
def page(browser):
    page = Page(browser)
    yield page
    page.script("saved = true")


def test_clicks_are_saved_accepted_and_returned(page):
    page.click(200, 300)
    page.click(420, 300)
    assert set(page.marks()) == {"foul_left", "foul_right"}
    page.press("save")
    page.until(lambda: page.browser.find_element(By.ID, "verdict").text == "2 marks, good")
    page.press("finish")
    found = page.result.get(timeout=5)
    assert (found["width"], found["height"]) == (WIDTH, HEIGHT)
    assert found["marks_px"]["foul_left"] == pytest.approx([200, 300], abs=1.6 * page.pixel())
    page.until(lambda: page.browser.find_elements(By.ID, "over"))
    assert [entry for entry in page.browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_arrow_keys_nudge_by_a_quarter_of_a_pixel(page):
    page.click(200, 300)
    page.browser.find_element(By.CSS_SELECTOR, "[data-mark=foul_left]").click()
    before = page.marks()["foul_left"]
    page.keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT, Keys.ARROW_UP)
    after = page.marks()["foul_left"]
    assert (after["x"] - before["x"], after["y"] - before["y"]) == pytest.approx((0.5, -0.25))


def test_all_by_keyboard(page):
    page.keys(*[Keys.ARROW_LEFT] * 3, Keys.ENTER, *[Keys.ARROW_DOWN] * 2, Keys.ENTER)
    assert set(page.marks()) == {"foul_left", "foul_right"}
    page.keys("p", Keys.DELETE)
    assert set(page.marks()) == {"foul_left"}


def test_drag_corrects_and_undo_and_redo_go_back_and_forth(page):
    page.click(200, 300)
    first = page.marks()["foul_left"]
    start = page.screen(first["x"], first["y"])
    drag = ActionChains(page.browser).move_to_element_with_offset(page.frame, *start).click_and_hold()
    drag.move_by_offset(30, -20).release().perform()
    moved = page.marks()["foul_left"]
    assert moved["x"] - first["x"] == pytest.approx(30 * page.pixel(), abs=0.05)
    assert moved["y"] - first["y"] == pytest.approx(-20 * page.pixel(), abs=0.05)
    page.press("undo")
    assert page.marks()["foul_left"] == first
    page.press("undo")
    assert page.marks() == {}
    page.press("redo")
    assert page.marks()["foul_left"] == first


def test_drag_on_empty_ground_pans_and_places_nothing(page):
    for _ in range(4):
        page.press("closer")
    before = page.script("return view.x")
    ActionChains(page.browser).move_to_element(page.frame).click_and_hold().move_by_offset(-60, 0).release().perform()
    assert page.script("return view.x") > before
    assert page.marks() == {}


def test_zoomed_click_is_finer(page):
    for _ in range(6):
        page.press("closer")
    assert page.pixel() < 0.1
    page.click(320.3, 180.7)
    mark = page.marks()["foul_left"]
    assert (mark["x"], mark["y"]) == pytest.approx((320.3, 180.7), abs=0.1)


def test_loupe_places_exactly(page):
    page.click(200, 300)
    page.press("undo")
    page.script("cross = {x: 100.5, y: 50.5}; draw()")
    loupe = page.browser.find_element(By.ID, "loupe")
    ActionChains(page.browser).move_to_element_with_offset(loupe, 8, -16).click().perform()
    mark = page.marks()["foul_left"]
    assert (mark["x"], mark["y"]) == pytest.approx((101.5, 48.5), abs=0.13)


def test_one_more_edge_point(page):
    page.browser.find_element(By.CSS_SELECTOR, "[aria-label='One more point on the left edge']").click()
    page.click(100, 100)
    assert set(page.marks()) == {"left_edge_4"}


def test_refusal_is_shown_and_blocks_the_finish(browser):
    def refuse(marks):
        msg = "marks: too few"
        raise ValueError(msg)

    page = Page(browser, on_save=refuse)
    page.click(200, 300)
    page.press("save")
    verdict = page.browser.find_element(By.ID, "verdict")
    page.until(lambda: verdict.text == "marks: too few")
    assert not page.browser.find_element(By.ID, "finish").is_displayed()
    page.press("stop")
    assert page.result.get(timeout=5) is None


def test_name_of_the_clip_is_text_and_every_control_has_a_name(page):
    assert page.browser.find_element(By.ID, "clip").text == "<b>odd</b> name.mp4"
    for button in page.browser.find_elements(By.TAG_NAME, "button"):
        assert button.accessible_name or not button.is_displayed()
    assert page.frame.accessible_name
    assert page.script("return document.documentElement.scrollWidth <= window.innerWidth")


def test_marks_given_are_shown(browser):
    page = Page(browser, marks_px={"right_edge_6": (10.5, 20.25)})
    assert page.marks() == {"right_edge_6": {"x": 10.5, "y": 20.25}}
    assert page.browser.find_element(By.CSS_SELECTOR, "[data-mark=right_edge_6] small").text.endswith("10.50, 20.25")
