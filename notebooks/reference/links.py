"""Check a folder of pages: every link and anchor leads somewhere, and nothing is fetched."""

from __future__ import annotations

import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

# What a browser fetches by itself; links of <a> are followed by people only.
FETCHED = {"img": "src", "script": "src", "link": "href", "iframe": "src", "source": "src"}
FETCHED |= {"embed": "src", "object": "data", "video": "src", "audio": "src", "use": "href"}
IN_STYLE = re.compile(r"""(?:url\(|@import)\s*["']?\s*((?:https?:)?//[^"')\s]+)""")


class Page(HTMLParser):
    """What a page holds: its anchors, its links, what it fetches."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.anchors: set[str] = {"", "top"}
        self.links: list[str] = []
        self.fetched: list[str] = []
        self.feed(text)
        self.fetched += IN_STYLE.findall(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep anchors, links and what is fetched."""
        given = {key: value or "" for key, value in attrs}
        self.anchors |= {given[key] for key in ("id", "name") if given.get(key)}
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        if tag in FETCHED and FETCHED[tag] in given:
            self.fetched.append(given[FETCHED[tag]])
        if "srcset" in given:
            self.fetched += [part.split()[0] for part in given["srcset"].split(",")]


@cache
def read(path: Path) -> Page:
    """One page of the folder."""
    return Page(path.read_text(encoding="utf-8"))


def faults(folder: Path) -> list[str]:
    """Links that lead nowhere and resources from elsewhere, with the page each is on."""
    found: list[str] = []
    for path in sorted(folder.rglob("*.html")):
        page, shown = read(path), path.relative_to(folder).as_posix()
        found += [f"{shown} fetches {url}" for url in page.fetched if outside(url)]
        for url in (*page.links, *page.fetched):
            if not outside(url) and (fault := broken(path, url)):
                found.append(f"{shown}: {fault}")
    for path in sorted(folder.rglob("*.css")):
        urls = IN_STYLE.findall(path.read_text(encoding="utf-8"))
        found += [f"{path.relative_to(folder).as_posix()} fetches {url}" for url in urls]
    return found


def outside(url: str) -> bool:
    """Whether a URL leads out of the folder; data carried by the page itself do not."""
    parts = urlsplit(url)
    return parts.scheme != "data" and bool(parts.scheme or parts.netloc)


def broken(path: Path, url: str) -> str:
    """What is wrong with a link inside the folder; empty if nothing."""
    parts = urlsplit(url)
    if parts.scheme == "data":
        return ""
    target = (path.parent / unquote(parts.path)).resolve() if parts.path else path.resolve()
    if not target.is_file():
        return f"{url} leads to no file"
    anchored = parts.fragment and target.suffix == ".html"
    if anchored and unquote(parts.fragment) not in read(target).anchors:
        return f"{url} leads to no anchor"
    return ""
