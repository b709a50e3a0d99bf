"""The marks page's server: who may talk to it, what it refuses, and what it returns."""

from __future__ import annotations

import http.client
import json
import queue
import re
import threading
from importlib import resources
from urllib.parse import urlsplit

import pytest

from calibration.errors import CalibrationFileError
from calibration.marks import observe_mark
from tracker.pages.guide import mark_guides
from tracker.pages.marks import serve_marks

GOOD = {"foul_left": [300.25, 900.5], "foul_right": [500, 901]}


def agree(_marks):
    return "fine"


class Session:
    """The page served in a thread, and a browser's requests to it."""

    def __init__(self, on_save=agree, **options):
        self.saved = []
        self.result = queue.Queue()
        address = queue.Queue()

        def save(marks):
            self.saved.append(marks)
            return on_save(marks)

        def run():
            try:
                found = serve_marks(
                    b"png", width=1080, height=1920, on_save=save, on_ready=address.put, clip="a & b.mp4", **options
                )
            except BaseException as error:  # the test looks at it
                found = error
            self.result.put(found)

        threading.Thread(target=run, daemon=True).start()
        self.address = urlsplit(address.get(timeout=5))

    def ask(self, name, data=None, **headers):
        connection = http.client.HTTPConnection(self.address.hostname, self.address.port, timeout=5)
        path = name if name.startswith("/") else self.address.path + name
        body = None if data is None else data if isinstance(data, bytes) else json.dumps(data).encode()
        usual = {} if body is None else {"Content-Type": "application/json"}
        connection.request("GET" if body is None else "POST", path, body, {**usual, **headers})
        reply = connection.getresponse()
        content = reply.read()
        connection.close()
        return reply, content

    def end(self):
        self.ask("stop", {})
        return self.result.get(timeout=5)


@pytest.fixture
def session():
    session = Session()
    yield session
    if session.result.empty():
        try:
            session.ask("stop", {})
        except OSError:
            return


def test_save_then_finish_returns_the_marks(session):
    reply, content = session.ask("save", {"marks_px": GOOD})
    assert (reply.status, json.loads(content)) == (200, {"message": "fine"})
    session.ask("finish", {})
    found = session.result.get(timeout=5)
    assert found == {"width": 1080, "height": 1920, "marks_px": GOOD}
    assert session.saved == [found]


def test_stop_returns_nothing(session):
    session.ask("save", {"marks_px": GOOD})
    assert session.end() is None


def test_finish_before_save_is_refused(session):
    assert session.ask("finish", {})[0].status == 409
    assert session.result.empty()


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        ({}, "marks_px must be an object"),
        ({"foul_middle": [1, 2]}, "unknown mark 'foul_middle'"),
        ({"foul_left": [1081, 2]}, "lies outside the 1080x1920 frame"),
        ({"foul_left": [None, 2]}, "two numbers"),
        (None, "marks_px must be an object"),
    ],
)
def test_bad_marks_are_refused_with_words(session, marks, words):
    reply, content = session.ask("save", {"marks_px": marks})
    assert reply.status == 422
    assert words in json.loads(content)["message"]
    assert session.saved == []


def test_refusal_of_the_solver_is_shown_and_blocks_the_finish():
    def refuse(marks):
        msg = "all on one line"
        raise CalibrationFileError(msg)

    session = Session(refuse)
    reply, content = session.ask("save", {"marks_px": GOOD})
    assert (reply.status, json.loads(content)["message"]) == (422, "all on one line")
    assert session.ask("finish", {})[0].status == 409
    assert session.end() is None


def test_failure_of_the_program_ends_the_page_and_is_raised():
    def fail(marks):
        raise ZeroDivisionError

    session = Session(fail)
    assert session.ask("save", {"marks_px": GOOD})[0].status == 500
    assert isinstance(session.result.get(timeout=5), ZeroDivisionError)


def test_time_runs_out():
    assert Session(timeout_s=0.05).result.get(timeout=5) is None


def test_reload_shows_the_marks_given_and_then_those_saved():
    session = Session(marks_px={"pin_1_base": (400.0, 300.0)})
    setup = json.loads(session.ask("setup.json")[1])
    assert (setup["clip"], setup["width"], setup["height"]) == ("a & b.mp4", 1080, 1920)
    assert setup["marks_px"] == {"pin_1_base": [400.0, 300.0]}
    session.ask("save", {"marks_px": GOOD})
    assert json.loads(session.ask("setup.json")[1])["marks_px"] == GOOD
    session.end()


@pytest.mark.parametrize("path", ["/", "/setup.json", "/x/setup.json", "/favicon.ico", "/../marks.html"])
def test_nothing_without_the_secret(session, path):
    assert session.ask(path)[0].status == 404


@pytest.mark.parametrize("name", ["server.py", "../marks.py", "%2e%2e/marks.py", "?"])
def test_nothing_but_the_page_s_own_files(session, name):
    assert session.ask(name)[0].status == 404


@pytest.mark.parametrize("headers", [{"Host": "evil.example"}, {"Origin": "http://evil.example"}, {"Origin": "null"}])
def test_other_sites_get_no_answer_even_with_the_secret(session, headers):
    assert session.ask("setup.json", **headers)[0].status == 404
    assert session.ask("save", {"marks_px": GOOD}, **headers)[0].status == 404
    assert session.saved == []


def test_odd_bodies_are_refused(session):
    assert session.ask("save", b"{")[0].status == 400
    assert session.ask("save", b"[]")[0].status == 422
    assert session.ask("save", {}, **{"Content-Type": "text/plain"})[0].status == 415
    assert session.ask("save", {}, **{"Content-Length": "99999999"})[0].status == 413
    assert session.ask("save", {}, **{"Content-Length": "-1"})[0].status == 413


def test_headers_keep_everything_outside_out(session):
    for name in ("", "marks.js", "frame.png"):
        reply, _ = session.ask(name)
        assert reply.status == 200
        assert "default-src 'none'" in reply.getheader("Content-Security-Policy")
        assert "unsafe" not in reply.getheader("Content-Security-Policy")
        assert reply.getheader("X-Content-Type-Options") == "nosniff"
        assert reply.getheader("Cache-Control") == "no-store"


def test_only_this_machine_is_served(session):
    assert session.address.hostname == "127.0.0.1"
    assert len(session.address.path) > 30


def test_page_asks_for_nothing_outside():
    for name in ("marks.html", "marks.css", "marks.js"):
        text = resources.files("tracker.pages").joinpath(name).read_text(encoding="utf-8")
        assert not re.search(r"https?://|//\w+\.\w|@import|url\(", text)
        assert not re.search(r"innerHTML|\beval\b|\sstyle=|\son\w+=", text)


def test_every_guide_is_a_known_mark():
    guides = mark_guides()
    assert len({g.name for g in guides}) == len(guides) == 2 + 6 + 10 + 7
    for guide in guides:
        observe_mark(guide.name, (1.0, 1.0))
        assert guide.meaning.endswith(".")
