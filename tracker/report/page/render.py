"""Templates filled in: every text is escaped, and nothing is asked of any other place than the page itself."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from tracker.report.page.said import after_code, printed
from tracker.version import VERSION


def render(template: str, context: Mapping[str, Any]) -> str:
    """Fill in a template of this package.

    Text of the context is escaped; only :class:`markupsafe.Markup` goes in as it is. Styles and script are put into
    the page, which lets no other script run (Content-Security-Policy with the script's hash).
    """
    script = _file("page.js")
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    own = {
        "css": Markup(_file("page.css")),  # noqa: S704 - this package's own file
        "script": Markup(script),  # noqa: S704 - likewise
        "script_hash": Markup(f"'sha256-{digest}'"),  # noqa: S704 - base64
        "version": VERSION,
    }
    return _environment().get_template(template).render({**context, **own})


@cache
def _environment() -> jinja2.Environment:
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("tracker.report.page"), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True,
    )  # fmt: skip
    made.filters |= {"after_code": after_code, "printed": printed}
    return made


def _file(name: str) -> str:
    return resources.files("tracker.report.page").joinpath("templates", name).read_text(encoding="utf-8")
