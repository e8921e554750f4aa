"""The panel as it is seen: on three screens, by day and by night, in every state."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from panel_browser import PHONE, TABLET, WIDE, impacts, keep, script

SIZES = {"phone": PHONE, "tablet": TABLET, "wide": WIDE}
STATES = ("waiting", "advising", "due", "stale", "failed")
PARTS = ("top", "now", "next", "up-room", "chart-room", "figures-room", "boards-room", "polar-room",
         "orders-room", "events-room", "cautions-room")  # fmt: skip
ON_CHART = ("#chart .leaflet-control-zoom", "#chart-buttons", "#chart .airs", "#chart .scale-bar",
            "#chart .coast-warning")  # fmt: skip
SPLIT = "<img src=x onerror=alert(1)>"

BOXES = script("boxes")

CUT = script("cut")


def overlaps(boxes: list[dict[str, Any]]) -> list[str]:
    found = []
    for one, other in itertools.combinations(boxes, 2):
        wide = min(one["right"], other["right"]) - max(one["left"], other["left"])
        high = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
        if wide > 1 and high > 1:
            found.append(f"{one['name']} and {other['name']}: {wide:.0f} by {high:.0f}")
    return found


NAMED = ("#chart .symbol.turn", "#chart .symbol.mark", "#chart .turn-tag", "#chart .mark-tag")


def hidden_names(page: Any) -> list[str]:
    """Marks and turning points that lie beneath what stands over the chart."""
    page.wait_for_timeout(100)  # names are laid out a moment after the lines
    over = page.evaluate(BOXES, list(ON_CHART))
    return [line for each in page.evaluate(BOXES, list(NAMED)) for line in overlaps([each, *over])]


def settled(page: Any, moment: dict[str, Any]) -> None:
    """Wait until the page shows a moment."""
    state = moment["panel"]["state"]
    page.wait_for_selector(f'html[data-link="good"][data-state="{state}"]')
    if moment["plan"]:
        page.wait_for_selector("#boards tbody tr.board")
    if moment["polar"]:
        page.wait_for_selector("#polar svg")


def pixels(page: Any, selector: str) -> float:
    return float(page.eval_on_selector(selector, "e => parseFloat(getComputedStyle(e).fontSize)"))


LOOKS = {
    "phone-day": STATES,
    "phone-night": ("advising", "due", "stale"),
    "tablet-day": ("advising", "due"),
    "tablet-night": ("waiting", "failed"),
    "wide-day": ("due",),
    "wide-night": ("advising",),
}
"""The rooms are the same on all screens: not every state is looked at on each."""


@pytest.mark.parametrize("look", LOOKS)
def test_nothing_is_cut_and_nothing_lies_over_another(opened, shown, show, moments, axe, look):
    size, _, eyes = look.partition("-")
    scheme = "dark" if eyes == "night" else "light"
    page = opened("about:blank", SIZES[size], color_scheme=scheme, own=shown.url)
    for state in LOOKS[look]:
        show.turn(state)
        page.goto(shown.url)
        settled(page, moments[state])
        assert page.get_attribute("html", "data-eyes") == eyes
        keep(page, f"{look}-{state}")
        scrolled = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert scrolled[0] <= scrolled[1], state
        assert page.evaluate(CUT) == [], state
        assert overlaps(page.evaluate(BOXES, [f"#{part}" for part in PARTS])) == [], state
        assert overlaps(page.evaluate(BOXES, list(ON_CHART))) == [], state
        assert hidden_names(page) == [], state
        if size != "wide":
            assert impacts(page, axe) == [], state


def test_a_notice_on_the_phone_leaves_what_matters_in_sight(opened, shown, show, moments):
    show.turn("stale")
    page = opened(shown.url, PHONE)
    settled(page, moments["stale"])
    seen = ["#notice-board", "#top", "#next"]
    assert len(page.evaluate(BOXES, seen)) == 3
    assert overlaps(page.evaluate(BOXES, seen)) == []
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    last = ["#notice-board", "#cautions-room"]
    assert len(page.evaluate(BOXES, last)) == 2
    assert overlaps(page.evaluate(BOXES, last)) == []


@pytest.mark.parametrize("state", ["advising", "due"])
def test_the_next_action_is_read_from_the_wheel(opened, shown, show, moments, state):
    show.turn(state)
    page = opened(shown.url, PHONE)
    settled(page, moments[state])
    for selector in ("#now-heading", "#now-twa", "#next-time"):
        assert pixels(page, selector) >= 40, selector
    # All of it at once, without a touch, and the button too where one is wanted.
    for selector in ("#now-heading", "#now-twa", "#next-words", "#next-time", "#acknowledge"):
        if page.is_visible(selector):
            box = page.locator(selector).bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= PHONE[1]
    assert page.is_visible("#acknowledge") == (state == "due")


def test_two_manoeuvres_at_once_are_still_read_at_once(opened, shown, show, moments):
    show.turn("due")
    words = "Gybe onto starboard tack, set the pole for wing-and-wing"
    show.moment["panel"]["next"]["words"] = words
    show.moment["panel"]["shown"]["next"]["words"] = words
    page = opened(shown.url, PHONE)
    settled(page, moments["due"])
    assert page.inner_text("#next-words") == words
    box = page.locator("#acknowledge").bounding_box()
    assert box["y"] + box["height"] <= PHONE[1]
    assert page.evaluate(CUT) == []
    keep(page, "phone-day-long")


TEN_INCHES_PX_MM = 1280 / 217.0
"""A tablet of ten inches, 16 to 10, shows 1280 pixels on 217 mm."""

DIGIT_SHARE = 0.7
"""Of a letter's size that a digit is high: 0.70 to 0.73 in the fonts of the page."""


@pytest.mark.parametrize("state", ["advising", "due"])
def test_what_is_steered_is_read_at_three_metres(opened, shown, show, moments, state):
    """Letters of a 200th of the distance: 15 mm for the two figures that steer."""
    show.turn(state)
    page = opened(shown.url, TABLET)
    settled(page, moments[state])
    now = moments[state]["panel"]["shown"]["now"]
    figures, north = now["steer"].split()
    assert page.inner_text("#now-heading") == figures
    assert page.inner_text("#now-north").startswith(north)
    assert page.inner_text("#now-twa") == now["twa"]
    sizes = {e: pixels(page, e) for e in ("#now-heading", "#now-twa")}
    for selector, size in sizes.items():
        assert size * DIGIT_SHARE / TEN_INCHES_PX_MM >= 14.8, selector
    # Nothing on the page is larger.
    largest = page.evaluate(
        "Math.max(...[...document.querySelectorAll('main *')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert largest == max(sizes.values())
    assert page.is_visible("#next-caution")


def test_a_phone_on_its_side_has_the_chart_and_the_helm_in_view(opened, shown, show, moments):
    for state in ("advising", "due"):
        show.turn(state)
        page = opened(shown.url, (PHONE[1], PHONE[0]))
        settled(page, moments[state])
        page.wait_for_timeout(100)
        keep(page, f"side-day-{state}")
        seen = ["#now", "#next", "#chart"]
        boxes = page.evaluate(BOXES, seen)
        assert len(boxes) == 3
        assert overlaps(boxes) == []
        for selector in ("#now-heading", "#next-time", "#acknowledge"):
            if page.is_visible(selector):
                box = page.locator(selector).bounding_box()
                assert box["y"] + box["height"] <= PHONE[0], (state, selector)
        chart = page.locator("#chart").bounding_box()
        assert chart["width"] > 300
        assert chart["height"] > 250


def test_course_up_turns_the_picture_and_leaves_words_upright(opened, shown, moments):
    page = opened(shown.url, TABLET)
    settled(page, moments["advising"])
    course = moments["advising"]["panel"]["boat"]["course_over_ground_deg"]
    page.click("#course-up")
    # The chart may get another size as what stands over it comes; she stays in its middle.
    page.wait_for_timeout(2000)
    keep(page, "tablet-day-course-up")
    turned = page.eval_on_selector(".leaflet-map-pane", "e => getComputedStyle(e).rotate")
    assert float(turned.removesuffix("deg")) == pytest.approx(-course, abs=0.1)
    middle = page.evaluate("""() => {
      const [chart, boat] = ['#chart', '.symbol.boat'].map(e => document.querySelector(e).getBoundingClientRect())
      return [boat.x + boat.width / 2 - chart.x - chart.width / 2, boat.y + boat.height / 2 - chart.y - chart.height / 2]
    }""")  # noqa: E501
    assert max(map(abs, middle)) < 3.0
    assert page.get_attribute("#course-up", "aria-pressed") == "true"
    page.click("#course-up")
    assert page.eval_on_selector(".leaflet-map-pane", "e => getComputedStyle(e).rotate") == "none"


def test_her_track_is_drawn_astern(opened, shown, show, moments):
    page = opened(shown.url, TABLET)
    settled(page, moments["advising"])
    for at in range(5):
        show.moment["panel"]["boat"]["lat"] += 0.002
        show.moment["panel"]["boat"]["lon"] += 0.004 * (at % 2)
        page.wait_for_timeout(3400)
    path = ""
    for _ in range(20):
        # On a machine with other work the page may look less often than once a move.
        path = page.eval_on_selector("#chart path.track", "e => e.getAttribute('d')")
        if path.count("L") >= 2:
            break
        show.moment["panel"]["boat"]["lat"] += 0.002
        page.wait_for_timeout(3400)
    assert path.count("L") >= 2


def test_the_screen_can_be_dimmed_and_the_choice_is_kept(opened, shown, moments):
    page = opened(shown.url, PHONE)
    settled(page, moments["advising"])
    light = "e => parseFloat(getComputedStyle(e).opacity)"
    assert page.eval_on_selector("#dim", light) == 0.0
    page.click("#dimmer")
    page.click("#dimmer")
    assert page.eval_on_selector("#dim", light) > 0.5
    page.reload()
    settled(page, moments["advising"])
    assert page.eval_on_selector("#dim", light) > 0.5
    page.click("#dimmer")  # It takes no touch away.


def test_what_only_the_crew_can_know_is_asked_in_large_letters(opened, shown, show):
    show.turn("waiting")
    choices = [{"key": "yes", "words": "Rounded: on to Hed"}, {"key": "no", "words": "Not: to Dan"}]
    words = "Dan lies astern as it was kept 3 h ago. Rounded?"
    asked = {"key": "passed", "words": words, "choices": choices}
    show.moment["panel"]["shown"]["question"] = asked
    show.moment["panel"]["can"] = ["answer"]
    page = opened(shown.url, PHONE)
    page.wait_for_selector("#question:not([hidden])")
    keep(page, "phone-day-asked")
    assert page.inner_text("#question-words") == words
    page.click("#question-choices [data-choice='yes']")
    page.wait_for_selector("#order-state:has-text('Rounded: on to Hed')", state="attached")
    assert ("answer", {"question": "passed", "choice": "yes"}) in show.ordered


def test_what_is_up_is_told_in_two_touches(opened, shown, show, moments):
    show.moment["panel"]["can"] = ["carry"]
    page = opened(shown.url, TABLET)
    settled(page, moments["advising"])
    page.click("#up-sails button:has-text('wing-and-wing')")
    page.click("#up-starboard")
    page.wait_for_selector("#order-state:has-text('wing-and-wing is up')", state="attached")
    assert show.ordered == [("carry", {"sailSet": "wing-and-wing", "tack": "starboard"})]


def test_nothing_blue_or_white_shines_at_night(opened, shown, moments):
    # Blue and white light spoil a dark-adapted eye, red does least (common practice, no source).
    page = opened(shown.url, PHONE)
    page.click("#eyes")
    settled(page, moments["advising"])
    light = page.evaluate(script("bright"))
    assert light == []


def test_the_choice_of_eyes_is_kept(opened, shown, moments):
    page = opened(shown.url, TABLET)
    page.click("#eyes")
    assert page.get_attribute("html", "data-eyes") == "night"
    page.reload()
    settled(page, moments["advising"])
    assert page.get_attribute("html", "data-eyes") == "night"
    page.click("#eyes")
    assert page.get_attribute("html", "data-eyes") == "day"


# ---- without a mouse -------------------------------------------------------------------------

CONTROLS = script("controls")

FOCUSED = script("focused")


@pytest.mark.parametrize("size", ["phone", "tablet"])
def test_every_control_is_reached_by_tab(opened, shown, show, moments, size):
    show.turn("due")
    page = opened(shown.url, SIZES[size])
    settled(page, moments["due"])
    page.wait_for_selector("#plan-route:enabled")
    wanted = page.evaluate(CONTROLS)
    assert {"acknowledge", "plan-route", "route", "clear", "export-gpx", "eyes", "see-plan"} <= {
        *wanted
    }
    met = []
    for _ in range(len(wanted) + 3):
        page.keyboard.press("Tab")
        focused = page.evaluate(FOCUSED)
        if focused["name"] in ["", *met]:
            break
        met.append(focused["name"])
        assert focused["ring"], focused
        assert focused["inside"], focused
        assert not focused["covered"], focused
    assert sorted(met) == sorted(wanted)


def test_enter_acknowledges(opened, shown, show, moments):
    show.turn("due")
    page = opened(shown.url, PHONE)
    settled(page, moments["due"])
    page.focus("#acknowledge")
    page.keyboard.press("Enter")
    page.wait_for_selector("#order-state:not(:empty)")
    assert show.ordered == [("acknowledge", {"point": moments["due"]["panel"]["next"]["point"]})]


def test_forgetting_the_plan_asks_back_first(opened, shown, show, moments, axe):
    page = opened(shown.url, TABLET)
    settled(page, moments["advising"])
    page.focus("#clear")
    page.keyboard.press("Enter")
    page.wait_for_selector("#clear-dialog[open]")
    assert impacts(page, axe) == []
    keep(page, "tablet-day-clear")
    page.keyboard.press("Enter")  # what has the focus is the harmless answer
    page.wait_for_selector("#clear-dialog:not([open])", state="attached")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    page.wait_for_selector("#clear-dialog:not([open])", state="attached")
    assert show.ordered == []
    page.keyboard.press("Enter")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#order-state:not(:empty)")
    assert show.ordered == [("clear", {})]


def test_a_refusal_is_told_in_its_own_words(opened, shown, show, moments):
    from goosewing.live.panel.counter import Refusal

    page = opened(shown.url, PHONE)
    settled(page, moments["advising"])
    page.wait_for_selector("#plan-route:enabled")
    show.refusal = Refusal(409, "the wind is not known yet")
    page.click("#plan-route")
    page.wait_for_selector("#error:has-text('the wind is not known yet')")
    assert page.get_attribute("#error", "role") == "alert"


# ---- names that strangers wrote --------------------------------------------------------------


def test_names_are_text_and_never_markup(opened, shown, show, moments):
    def spoiled(value: Any, key: str = "") -> Any:
        if isinstance(value, dict):
            return {k: spoiled(v, k) for k, v in value.items()}
        if isinstance(value, list):
            return [spoiled(v, key) for v in value]
        free = {
            "name",
            "mark",
            "next",
            "words",
            "text",
            "message",
            "sail_set",
            "from",
            "to",
            "point",
        }
        loose = key in free | {"cautions", "notices", "reasons"}
        return f"{value[:12]}{SPLIT}" if loose and isinstance(value, str) else value

    for state in ("advising", "due"):
        show.turn(state)
        show.moment = spoiled(show.moment)
        show.listed = [{"id": "a", "name": SPLIT, "points": 3}]
        page = opened(shown.url, WIDE)
        settled(page, moments[state])
        page.wait_for_selector("#plan-route:enabled")
        page.click("#cautions-more summary")
        page.wait_for_timeout(300)
        keep(page, f"wide-day-{state}-names")
        assert page.locator("img").count() == 0
        for room in ("#next-words", "#message", "#boards", "#route", "#events", "#cautions",
                     "#chart .leaflet-words-pane"):  # fmt: skip
            assert SPLIT in page.locator(room).first.inner_text(), room
        scrolled = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert scrolled[0] <= scrolled[1]
