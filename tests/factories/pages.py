"""A browser without a screen: pages fetched in process, with their fields, tables and texts."""

from __future__ import annotations

import json
import threading
from concurrent.futures import ThreadPoolExecutor
from html.parser import HTMLParser
from typing import Any

from django.db import connection
from django.test import Client

from tests.factories.registry import Api, joined

PAGE = {"Accept": "text/html"}


class Page(HTMLParser):
    """What a page says: its text, the numbers that it carries for programs, links and fields.

    ``resources`` are all that it names to be loaded, every variant of a picture among them.
    """

    def __init__(self, response: Any) -> None:
        super().__init__()
        self.response = response
        self.status: int = response.status_code
        self.numbers: dict[str, Any] = {}
        self.links: list[str] = []
        self.related: dict[str, str] = {}
        self.fields: dict[str, str] = {}
        self.resources: list[str] = []
        self._texts: list[str] = []
        self._area: str | None = None
        self.feed(response.content.decode())

    @property
    def text(self) -> str:
        """All text, with single blanks."""
        return " ".join(" ".join(self._texts).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: text or "" for name, text in attrs}
        assert "style" not in given, (tag, given)
        assert not any(name.startswith("on") for name in given), (tag, given)
        if tag == "data" and "data-of" in given:
            text = given["value"]
            self.numbers[given["data-of"]] = json.loads(text) if text else None
        elif tag == "a":
            self.links.append(given["href"])
            if "rel" in given:
                self.related[given["rel"]] = given["href"]
        elif tag == "input" and given.get("type") not in {"checkbox", "radio"}:
            self.fields[given["name"]] = given.get("value", "")
        elif tag == "textarea":
            self._area = given["name"]
            self.fields[self._area] = ""
        elif tag == "source":
            self.resources.append(given["srcset"])
        elif tag in {"script", "img"}:
            self.resources.append(given["src"])
        elif tag == "link" and given.get("rel") in {"stylesheet", "icon"}:
            self.resources.append(given["href"])

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._area = None

    def handle_data(self, data: str) -> None:
        if self._area is not None:
            self.fields[self._area] += data
        self._texts.append(data)


class Browser:
    """Somebody's browser; with a token, signed in."""

    def __init__(self, api: Api | None = None) -> None:
        self.api = api
        self.client = Client(headers=PAGE)
        if api is not None:
            response = self.client.post("/sign-in/", {"token": api.token, "stay": "yes"})
            assert response.status_code == 303, response.content

    def get(self, path: str, *, status: int = 200, **query: str) -> Page:
        """A page."""
        page = Page(self.client.get(path, query_params=query))
        assert page.status == status, page.text
        return page

    def post(self, path: str, *, status: int = 200, **fields: str) -> Page:
        """The page that a form is answered with, at once."""
        page = Page(self.client.post(path, fields))
        assert page.status == status, page.text
        return page

    def sent(self, path: str, **fields: str) -> str:
        """Where a form that was taken leads."""
        response = self.client.post(path, fields)
        assert response.status_code == 303, Page(response).text
        return str(response.headers["Location"])


def keeper_browser() -> Browser:
    """The browser of a keeper who has just joined."""
    return Browser(joined())


def sent_at_once(api: Api, path: str, *, n: int = 4, **fields: str) -> list[str]:
    """Where one form leads that several windows of a keeper send at the same moment.

    For tests with transactions of their own: every window has its connection.
    """
    browsers = [Browser(api) for _ in range(n)]
    start = threading.Barrier(n)

    def send(browser: Browser) -> str:
        try:
            start.wait()
            return browser.sent(path, **fields)
        finally:
            connection.close()

    with ThreadPoolExecutor(n) as windows:
        return list(windows.map(send, browsers))
