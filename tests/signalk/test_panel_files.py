"""The files of the panel page: other people's unchanged, ours without a way out of the boat."""

from __future__ import annotations

import hashlib
import json
import re
import tarfile
from html.parser import HTMLParser
from pathlib import Path

import pytest

from signalk_host import PLUG, HostUnavailableError, npm

PUBLIC = PLUG / "public"
VENDOR = PUBLIC / "vendor"
OWN_SCRIPTS = sorted(PUBLIC.glob("*.js"))

# SHA-256 of files of leaflet-1.9.4.tgz, whose own SHA-512 was what the npm registry states as
# dist.integrity: sha512-nxS1ynzJOmOlHp+iL3FyWqK89GtNL8U8rvlMOsQdTTssxZwCXh8N2NB3GDQOL+YR3XnWyZA
# xwQixURb+FA74PA== (seen 2026-11-25).
LEAFLET = {
    "dist/leaflet.js": "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
    "dist/leaflet.css": "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
    "LICENSE": "53e8dc25862014e4324741ca18fbe3611e11d42ef69f59f86ea8c5389647d4cb",
}


class Page(HTMLParser):
    """The page's elements with their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inline = ""
        self.feed((PUBLIC / "index.html").read_text())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.elements and self.elements[-1][0] in ("script", "style"):
            self.inline += data.strip()

    def values(self, attribute: str) -> list[str]:
        return [given[attribute] or "" for _, given in self.elements if attribute in given]


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def test_vendored_files_are_as_recorded():
    found = {path.name: sha256(path.read_bytes()) for path in (VENDOR / "leaflet").iterdir()}
    assert found == {Path(name).name: sum_ for name, sum_ in LEAFLET.items()}


def test_vendored_files_are_the_registry_s(tmp_path):
    try:
        # npm holds the archive against the registry's own sum.
        npm(tmp_path, "pack", "leaflet@1.9.4", timeout=60)
    except HostUnavailableError as why:
        pytest.skip(f"no npm registry: {why}")
    with tarfile.open(tmp_path / "leaflet-1.9.4.tgz") as archive:
        for name in LEAFLET:
            member = archive.extractfile(f"package/{name}")
            assert member
            assert member.read() == (VENDOR / "leaflet" / Path(name).name).read_bytes(), name


def test_the_licence_goes_with_it():
    assert "BSD 2-Clause" in (VENDOR / "leaflet" / "LICENSE").read_text()
    assert "public" in json.loads((PLUG / "package.json").read_text())["files"]


def test_the_policy_lets_nothing_in_from_elsewhere():
    page = Page()
    policies = [
        given["content"] or ""
        for tag, given in page.elements
        if tag == "meta" and given.get("http-equiv") == "Content-Security-Policy"
    ]
    rules = dict(rule.strip().split(" ", 1) for rule in policies[0].split(";"))
    assert rules.pop("default-src") == "'none'"
    assert rules["script-src"] == rules["style-src"] == rules["connect-src"] == "'self'"
    assert set(rules.values()) <= {"'self'", "'none'"}
    # It binds only what comes after it.
    assert [tag for tag, _ in page.elements].index("meta") < [t for t, _ in page.elements].index(
        "link"
    )


def test_nothing_is_written_into_the_page_itself():
    page = Page()
    assert not page.inline
    assert not page.values("style")
    assert not [key for _, given in page.elements for key in given if key.startswith("on")]


def test_every_file_the_page_names_is_there():
    page = Page()
    named = [each for each in page.values("src") + page.values("href") if each]
    named += [
        found
        for script in OWN_SCRIPTS
        for found in re.findall(r"from '(\./[^']+)'", script.read_text())
    ]
    assert len(named) > 10
    assert [each for each in named if not (PUBLIC / each).is_file()] == []


@pytest.mark.parametrize("script", OWN_SCRIPTS, ids=lambda path: path.name)
def test_foreign_text_can_only_become_text(script):
    source = script.read_text()
    for way in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "srcdoc",
    ):
        assert way not in source, way
    # Leaflet takes what these are given for markup, where it is a string.
    assert not re.findall(r"bind(?:Tooltip|Popup)|setContent", source)
    assert all(value.startswith("picture") for value in re.findall(r"\bhtml: (\w+)", source))


@pytest.mark.parametrize("script", [*OWN_SCRIPTS, PUBLIC / "panel.css"], ids=lambda path: path.name)
def test_nothing_is_fetched_from_elsewhere(script):
    away = re.findall(r"(?:https?:)?//[a-z0-9][\w.-]*\.\w+[^\s'\"]*", script.read_text())
    # The name of a language, which nobody fetches.
    assert set(away) <= {"http://www.w3.org/2000/svg"}


def test_every_element_the_scripts_ask_for_is_in_the_page():
    ids = Page().values("id")
    assert len(ids) == len(set(ids))
    asked = {
        found
        for script in OWN_SCRIPTS
        for found in re.findall(r"byId\('([^']+)'\)", script.read_text())
    }
    assert len(asked) > 40
    assert asked <= set(ids)


def test_every_control_is_documented():
    page = Page()
    told = OWN_SCRIPTS[[path.name for path in OWN_SCRIPTS].index("panel.js")].read_text()
    head = told[: told.index("*/")]
    controls = [g["id"] for tag, g in page.elements if tag in ("button", "select", "a", "dialog")]
    assert len(controls) > 10
    assert [each for each in controls if not re.search(rf"\b{each}\b", head)] == []
