"""The machine's own Chromium for tests of the panel, and the words to look at a page with."""

from __future__ import annotations

import fcntl
import os
import shutil
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from signalk_host import cache_folder, installed_version, npm

AXE = "4.14.1"
"""Of the accessibility checker axe-core, from the npm registry; it is injected, never shipped."""

PHONE, TABLET, WIDE = (360, 740), (1280, 800), (1920, 1080)

FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
    # What a stranger's name server would say, in an attack by DNS rebinding.
    "--host-resolver-rules=MAP *.example 127.0.0.1",
]


def chromium() -> str | None:
    """Where the machine keeps its Chromium."""
    names = ("chromium", "chromium-browser", "google-chrome")
    return next((found for found in map(shutil.which, names) if found), None)


def axe_source() -> str:
    """The checker's text, fetched at the first call on a machine."""
    folder = cache_folder().parents[1] / "axe-core"
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if installed_version(folder, "axe-core") != AXE:
            (folder / "package.json").write_text('{"name": "checker", "private": true}')
            npm(folder, "install", f"axe-core@{AXE}", "--ignore-scripts")
    return (folder / "node_modules" / "axe-core" / "axe.min.js").read_text(encoding="utf-8")


class Watch:
    """What a browser asked for, said and asked back: nothing that should not be.

    Attributes
    ----------
    asked : list of str
        Addresses, in order.
    said : list of str
        Errors of the page's scripts, and what its policy refused.
    dialogs : list of str
        Boxes that a script opened.
    """

    def __init__(self, context: Any) -> None:
        self.asked: list[str] = []
        self.said: list[str] = []
        self.dialogs: list[str] = []
        context.on("request", lambda request: self.asked.append(request.url))
        context.on("page", self._watch)

    def _watch(self, page: Any) -> None:
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("console", lambda line: self._heard(line.type, line.text))
        page.on("dialog", self._box)

    def _heard(self, kind: str, text: str) -> None:
        # A server that is gone is told so by the browser itself.
        if kind in ("error", "warning") and "Failed to load resource" not in text:
            self.said.append(text)

    def _box(self, dialog: Any) -> None:
        self.dialogs.append(dialog.message)
        dialog.dismiss()

    def strangers(self, origin: str) -> list[str]:
        """Addresses elsewhere than at one's own server."""
        own = urlsplit(origin).netloc
        return [u for u in self.asked if urlsplit(u).scheme != "data" and urlsplit(u).netloc != own]


def keep(page: Any, name: str) -> None:
    """Keep a picture of the page where GOOSEWING_PANEL_PICTURES says."""
    folder = os.environ.get("GOOSEWING_PANEL_PICTURES")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(Path(folder) / f"{name}.png"))


def impacts(page: Any, axe: str) -> list[str]:
    """What axe-core holds to be serious or critical on the page as it stands."""
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{each['id']} ({each['impact']}): {node['html'][:120]} {node['failureSummary'][:200]}"
        for each in found["violations"]
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


def script(name: str) -> str:
    """A function for the page to run, from tests/panel/scripts."""
    path = Path(__file__).parent / "panel" / "scripts" / f"{name}.js"
    return path.read_text(encoding="utf-8")
