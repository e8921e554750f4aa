"""A reach that is the fastest way without the pole is not planned a second time."""

from datetime import UTC, datetime

import pytest

from conftest import SAMPLES
from goosewing.case import Case
from goosewing.errors import NoPlanError
from goosewing.exchange.gpx.marks import read_marks
from goosewing.foresight import alternatives as instead
from goosewing.plan import of_case
from goosewing.weather.read import read_weather

pytestmark = pytest.mark.long


def test_two_questions_with_one_answer_are_one_plan(brisvik, monkeypatch):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks[1:3]
    weather = read_weather(SAMPLES / "forecast.grib2", wanted="wind")
    case = Case(marks=marks, boat=brisvik, weather=weather,
                departure=datetime(2027, 6, 12, 8, tzinfo=UTC))  # fmt: skip
    made = of_case(case)
    planned = []

    def counted(asked, **how):
        planned.append(asked)
        return of_case(asked, **how)

    monkeypatch.setattr(instead.plans, "of_case", counted)
    asked = instead.questions(case, made)
    assert [each.kind for each in asked if each.and_reaching] == ["without the pole"]
    whole = instead.add(case, made).legs[0].alternatives
    kinds = [each.kind for each in whole if each.kind != "second best"]
    assert {"without the pole", "reaching all the way"} <= set(kinds)
    # The same answer, as if it had been planned by itself: within what a search finds again.
    one, two = (next(e for e in whole if e.kind == kind)
                for kind in ("without the pole", "reaching all the way"))  # fmt: skip
    (alone,) = instead.answers(case, made, instead.Question(0, "reaching all the way"))
    assert two.elapsed_h == pytest.approx(alone.elapsed_h, rel=2e-3)
    if one.boards == two.boards:
        assert len(planned) == len(asked) + 1


def test_it_is_told_why_the_other_board_cannot_come_first(brisvik, monkeypatch):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks[1:3]
    weather = read_weather(SAMPLES / "forecast.grib2", wanted="wind")
    case = Case(marks=marks, boat=brisvik, weather=weather,
                departure=datetime(2027, 6, 12, 8, tzinfo=UTC))  # fmt: skip
    made = of_case(case)
    question = instead.Question(0, "other board first")

    def refused(_asked, **_how):
        raise NoPlanError("a shoal lies there")

    monkeypatch.setattr(instead.plans, "of_case", refused)
    answer = instead.answers(case, made, question)
    told = instead.with_answers(made, [question], [answer])
    other = "port" if made.legs[0].boards[0].tack == "starboard" else "starboard"
    (said,) = told.notices[len(made.notices) :]
    assert said == (
        f"{marks[0].name} to {marks[1].name}, {other} board first: "
        "none found, because a shoal lies there."
    )
    assert told.legs == made.legs
    # Where the pole can't stand all the way that is no news.
    assert instead.answers(case, made, instead.Question(0, "poled all the way")) == ()


def test_a_plan_without_its_comparisons_is_the_same_plan(brisvik):
    """Whoever asks for boards and times alone is spared what a plan is told beside."""
    marks = read_marks(SAMPLES / "kattegat.gpx").marks[1:3]
    weather = read_weather(SAMPLES / "forecast.grib2", wanted="wind")
    case = Case(marks=marks, boat=brisvik, weather=weather,
                departure=datetime(2027, 6, 12, 8, tzinfo=UTC))  # fmt: skip
    whole, bare = of_case(case), of_case(case, compare=False)
    assert [leg.boards for leg in bare.legs] == [leg.boards for leg in whole.legs]
    assert (bare.arrival, bare.elapsed_h) == (whole.arrival, whole.elapsed_h)
    assert whole.relaxed_h is not None
    assert bare.relaxed_h is None
    assert bare.bound_h is None
