"""The words of what the page alone knows: its own tests in node, rounded as the engine rounds."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.words.figures import hours_and_minutes
from signalk_host import HostUnavailableError, node

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def runner() -> str:
    try:
        return node()
    except HostUnavailableError as why:
        pytest.skip(str(why))


@settings(deadline=None, max_examples=5)
@given(
    st.lists(
        st.floats(-1000.0, 1000.0)
        | st.integers(-8000, 8000).map(lambda n: n / 16)
        | st.integers(-4000, 4000).map(lambda n: n / 200),
        min_size=200,
        max_size=300,
    )
)
def test_numbers_are_rounded_as_the_engine_rounds(runner, numbers):
    done = subprocess.run(
        [runner, str(HERE / "panel_numbers.mjs")],
        input=json.dumps({"numbers": numbers}),
        capture_output=True,
        text=True,
        check=True,
    )
    written = json.loads(done.stdout)["written"]
    unsigned = re.compile(r"^-(0(\.0+)?)$")
    for number, shown in zip(numbers, written, strict=True):
        plain = [unsigned.sub(r"\1", f"{number:.{decimals}f}") for decimals in range(3)]
        assert shown == [*plain, hours_and_minutes(number)]


def test_formatters_in_node(runner):
    done = subprocess.run(
        [runner, "--test", "--test-reporter=tap", str(HERE / "panel_words.test.mjs")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-4000:]
    passed = re.search(r"^# pass (\d+)$", done.stdout, re.M)
    assert passed
    assert int(passed[1]) >= 6
