"""`goosewing depart`: the table, the document, wants, exit codes, processes that end."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from goosewing.errors import InputError
from goosewing_cli.depart_command import departure_times, parse_spacing

BASE = ("depart", "marks.gpx", "--boat", "brisvik/boat.toml")
STEADY = (*BASE, "--wind", "315/10", "--current", "020/0.5")
SPAN = ("--from", "2027-06-12T05:00Z", "--until", "2027-06-12T20:00Z")
COMMAND = (
    sys.executable, "-c",
    # Whoever runs the tests in the background has had interrupts switched off by the shell.
    "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "from goosewing_cli.main import run; run()",
)  # fmt: skip


SHORT = """<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand"><rte>
<rtept lat="56.7" lon="11.9"><name>A</name></rtept><rtept lat="56.8" lon="12.0"><name>B</name>
</rtept></rte></gpx>"""


@pytest.fixture
def shifting(desk):
    """A short leg, and a table of wind with gusts that turns and freshens, for 36 hours."""
    (desk / "marks.gpx").write_text(SHORT, encoding="utf-8")
    rows = "\n".join(
        f"2027-06-{12 + h // 24:02d}T{h % 24:02d}:00Z,{250 + 4 * h % 110},{8 + h % 7},{14 + h % 7}"
        for h in range(0, 36, 2)
    )
    (desk / "wind.csv").write_text(f"time,wind_from_deg,wind_kn,gust_kn\n{rows}\n")
    return desk


def departed(ran):
    assert ran.code == 0, ran.err
    return json.loads(ran.out)


# ---- which departures ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "minutes"), [("1h", 60), ("30min", 30), ("90", 90), ("1.5h", 90), (" 2 h ", 120)]
)
def test_spacing_is_hours_or_minutes(text, minutes):
    assert parse_spacing(text) == timedelta(minutes=minutes)


@pytest.mark.parametrize("text", ["", "0", "0h", "-1h", "1d", "h", "1hour", "0.5", "nan", "1e9h"])
def test_other_spacings_are_refused(text):
    with pytest.raises(InputError, match="--every must be a minute or more"):
        parse_spacing(text)


def test_first_and_last_departure_are_included():
    times = departure_times("2027-06-12T05:00Z", "2027-06-12T09:00+02:00", "1h")
    assert times == [datetime(2027, 6, 12, h, tzinfo=UTC) for h in (5, 6, 7)]
    assert len(departure_times("2027-06-12T05:00Z", "2027-06-12T06:59Z", "1h")) == 2
    assert len(departure_times("2027-06-12T05:00Z", "2027-06-12T05:00Z", "1h")) == 1


def test_unless_said_it_looks_a_day_ahead_from_now():
    before = datetime.now(UTC)
    times = departure_times(None, None, "1h")
    assert len(times) == 25
    assert before - timedelta(minutes=1) <= times[0] <= datetime.now(UTC)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--from", "2027-06-12T05:00Z", "--until", "2027-06-12T04:00Z"), "--until"),
        (("--from", "2027-06-12T05:00"), "--from needs a zone"),
        (("--from", "noon"), "--from must be an ISO 8601 time"),
        (("--from", "2027-06-12T05:00Z", "--until", "2028-06-12T05:00Z"), "more than 1000"),
        ((*SPAN, "--wants", "sun"), "a want is daylight"),
        ((*SPAN, "--every", "often"), "--every must be"),
        ((*SPAN, "--out", "marks.gpx"), "marks.gpx"),
        ((*SPAN, "--deviation", "card.csv"), "--deviation needs --variation"),
        ((*SPAN, "--start-with", "spinnaker"), "spinnaker"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(run, desk, arguments, says):
    before = (desk / "marks.gpx").read_bytes()
    ran = run(*STEADY, *arguments)
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert says in ran.err
    assert (desk / "marks.gpx").read_bytes() == before


# ---- what is printed -------------------------------------------------------------------------


def test_the_table_fits_eighty_columns_and_the_best_stands_first(run):
    ran = run(*STEADY, *SPAN, "--every", "3h", "--zone", "Europe/Stockholm")
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert max(len(line) for line in lines if "leaving" not in line) <= 80
    (head,) = (number for number, line in enumerate(lines) if line.startswith("Leave"))
    rows = [line for line in lines[head + 1 :] if re.match(r"\d\d \d{4}Z", line)]
    assert len(rows) == 6
    assert rows[0].startswith("12 0500Z")
    assert lines[head + 2].startswith("12 07:00")
    # Arrivals by day before those in the dark, where all take as long.
    assert ["dark" in row for row in rows] == sorted("dark" in row for row in rows)
    assert "Best: leave 2027-06-12 0500Z (12 07:00 CEST)" in " ".join(ran.out.split())
    assert "Caution: Not for sole navigation." in ran.out


@pytest.mark.long
@pytest.mark.usefixtures("shifting")
def test_the_document_agrees_with_itself(run):
    made = departed(
        run(*BASE, "--wind", "wind.csv", "--hold-last", *SPAN, "--every", "5h", "--json",
            "--wants", "gust<=19.5")
    )  # fmt: skip
    assert made["format"] == "goosewing.departures/1"
    assert made["boat"] == "Brisvik"
    assert (made["first"], made["last"]) == ("2027-06-12T05:00:00Z", "2027-06-12T20:00:00Z")
    assert made["wants"] == ["gust<=19.5"]
    assert len(made["departures"]) + len(made["others"]) == 4
    assert all(each["strongest_gust_kn"] <= 19.5 for each in made["departures"])
    assert all(each["strongest_gust_kn"] > 19.5 for each in made["others"])
    assert all(each["misses"] == ["gust<=19.5"] for each in made["others"])
    elapsed = [each["elapsed_h"] for each in made["departures"]]
    assert elapsed == sorted(elapsed)
    assert made["cautions"]
    assert "plan" not in made["departures"][0]


@pytest.mark.long
@pytest.mark.usefixtures("shifting")
def test_each_elapsed_time_is_that_of_the_plan_for_this_departure():
    weather = ("--wind", "wind.csv", "--current", "020/0.5")
    made = asked(*BASE, *weather, *SPAN, "--every", "5h", "--json")
    assert len(made["departures"]) == 4
    for each in made["departures"]:
        plan = asked("plan", *BASE[1:], *weather, "--depart", each["departure"], "--json")
        assert plan["elapsed_h"] == each["elapsed_h"]
        assert (plan["arrival"], plan["saved_min"]) == (each["arrival"], each["saved_min"])


def asked(*arguments):
    """What a command of its own prints, as JSON."""
    done = subprocess.run([*COMMAND, *arguments], capture_output=True, check=True)
    # After ten seconds, as on a busy machine, there are lines of progress, and never anything else.
    progress = rb"[^:]+: .*(looked at|planned.*|still to search|making the boards exact)"
    assert all(re.fullmatch(progress, line) for line in done.stderr.splitlines())
    return json.loads(done.stdout)


def test_the_best_departure_s_plan_is_written_as_the_plan_command_writes_it(run, desk):
    ran = run(*STEADY, *SPAN, "--every", "5h", "--out", "best.gpx", "--variation", "4")
    assert ran.code == 0
    assert "Written: best.gpx" in ran.out
    (best,) = re.findall(r"Best: leave (\d{4}-\d\d-\d\d) (\d\d)(\d\d)Z", ran.out)
    ran = run("plan", *STEADY[1:], "--depart", f"{best[0]}T{best[1]}:{best[2]}Z", "--out",
              "plan.gpx", "--variation", "4")  # fmt: skip
    assert ran.code == 0
    assert (desk / "best.gpx").read_bytes() == (desk / "plan.gpx").read_bytes()


# ---- none that will do -----------------------------------------------------------------------


def test_no_departure_that_meets_the_wants_is_told_with_the_nearest(run, desk):
    ran = run(*STEADY, *SPAN, "--every", "5h", "--wants", "elapsed<=2", "--out", "best.gpx")
    assert (ran.code, ran.err.count("\n")) == (3, 1)
    assert "nearest is 2027-06-12 0500Z, which misses elapsed<=2 (" in ran.err
    # The table is told all the same: it helps to want less.
    assert "0 meet elapsed<=2" in ran.out
    assert len(re.findall(r"misses elapsed<=2 \(", ran.out)) >= 2
    assert "Wanted elapsed<=2: no departure meets it." in ran.out
    assert not (desk / "best.gpx").exists()


def test_no_departure_that_can_be_planned_is_told_with_why(run):
    ran = run(*BASE, "--wind", "315/60", *SPAN)
    assert (ran.code, ran.out, ran.err.count("\n")) == (3, "", 1)
    assert "no departure can be planned: no sail set may be carried" in ran.err


@pytest.mark.usefixtures("shifting")
def test_those_outside_the_forecast_are_listed_with_the_reason(run):
    ran = run(*BASE, "--wind", "wind.csv", "--from", "2027-06-11T20:00Z",
              "--until", "2027-06-12T04:00Z", "--every", "8h")  # fmt: skip
    assert ran.code == 0
    assert "11 2000Z  no plan: the forecast covers 2027-06-12 0000Z" in ran.out


# ---- processes -------------------------------------------------------------------------------


@pytest.fixture
def long_job(shifting):  # noqa: ARG001 - for the files
    """A command in a session of its own that keeps several processes busy for long."""
    running = subprocess.Popen(
        [*COMMAND, *BASE, "--wind", "wind.csv", "--hold-last", "--from", "2027-06-12T00:00Z",
         "--every", "5min"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip
    yield running
    if group_lives(running.pid):
        os.killpg(running.pid, signal.SIGKILL)
    running.communicate()


def group_lives(group):
    """Whether any process of a group is left, those that only wait to be buried aside."""
    return any(state not in "ZX" for state in states(group))


def states(group):
    """State of every process of a group, as /proc has it."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = stat.read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()
        except OSError:
            continue
        if int(words[2]) == group:
            found.append(words[0])
    return found


def wait_until(true, seconds):
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


needs_processes = pytest.mark.skipif(
    sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2, reason="needs two cores and /proc"
)


@pytest.mark.long
@needs_processes
@pytest.mark.parametrize("later_s", [0.0, 0.4, 3.0])
def test_an_interrupt_ends_all_at_once_with_130_and_leaves_nothing(long_job, later_s):
    assert wait_until(lambda: len(states(long_job.pid)) >= 3, 60.0)
    time.sleep(later_s)
    begun = time.monotonic()
    os.killpg(long_job.pid, signal.SIGINT)
    out, err = long_job.communicate(timeout=20.0)
    assert time.monotonic() - begun < 10.0
    assert (long_job.returncode, out, err) == (130, b"", b"goosewing: interrupted\n")
    assert wait_until(lambda: not group_lives(long_job.pid), 5.0)


@needs_processes
def test_workers_end_when_the_command_is_killed(long_job):
    assert wait_until(lambda: len(states(long_job.pid)) >= 3, 60.0)
    time.sleep(2.0)
    long_job.kill()
    long_job.wait()
    assert wait_until(lambda: not group_lives(long_job.pid), 20.0)


@needs_processes
def test_what_goes_wrong_in_a_worker_is_one_line_too(desk):
    # Nothing a user can enter does: what is wrong with one departure is wrong with the first.
    code = (
        "from goosewing.departures.compare import gathered\n"
        "from goosewing.errors import InputError\n"
        "from goosewing_cli.pool import pool\n"
        "import worker_at_fault\n"
        "try:\n"
        "    with pool(None, 2) as executor:\n"
        "        gathered(executor, worker_at_fault.refuse, range(9), 9, called_off_by=())\n"
        "except InputError as error:\n"
        "    print(error)\n"
    )
    fault = (
        "def refuse(n):\n    from goosewing.errors import InputError\n    raise InputError('no')\n"
    )
    (desk / "worker_at_fault.py").write_text(fault)
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": "."},
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "no\n", "")
