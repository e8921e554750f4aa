"""What the plugin's package holds and asks for; no host is needed."""

from __future__ import annotations

import json
import re
import tomllib
import zipfile

import goosewing
from signalk_host import CHECKOUT, PLUG


def test_package_asks_for_nothing():
    package = json.loads((PLUG / "package.json").read_text())
    assert not [key for key in package if key.lower().endswith("dependencies")]
    wanted = {
        name
        for source in PLUG.rglob("*.js")
        for name in re.findall(r"require\('([^']+)'\)", source.read_text())
    }
    assert wanted
    assert all(name.startswith(("./", "node:")) for name in wanted)


def test_package_is_of_the_same_release_and_licence():
    package = json.loads((PLUG / "package.json").read_text())
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    assert package["version"] == goosewing.__version__
    assert package["license"] == project["license"]


def test_wheel_leaves_the_plug_out(wheel):
    # Its page is the panel of our own server too; the plugin itself is npm's to install.
    names = [n for n in zipfile.ZipFile(wheel).namelist() if "/panel_pages/" not in n]
    assert not [name for name in names if name.endswith((".js", "package.json"))]
