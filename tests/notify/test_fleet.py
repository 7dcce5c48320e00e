"""Many beds as one terminal shows them."""

import json
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from tests.notify.mosquitto import Listener, Mosquitto

from waaler.cli.main import main
from waaler.cli.watch import lines
from waaler.notify.fleet import MOST_BEDS, Fleet, rows, take
from waaler.notify.metrics_file import MetricsFile
from waaler.notify.places import Places
from waaler.report.bed import Bed

NOW_S = 1_782_025_200.0


def stamp(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).isoformat()


def status(at_s: float = NOW_S, **more: Any) -> bytes:
    following = {"start": "2026-06-21T13:40:00+02:00", "seconds": 120, "window": "day"}
    sump = {"litres": 140.4, "needs_water_at": "2026-06-26T15:00:00+02:00"}
    return json.dumps({"state": "waiting", "at": stamp(at_s), "next": following, "sump": sump, **more}).encode()


def fleet(*messages: tuple[str, bytes]) -> Fleet:
    seen = Fleet()
    for topic, payload in messages:
        seen = take(seen, f"waaler/{topic}", payload, NOW_S)
    return seen


def alert(severity: str, text: str = "Sump low at rest.\nUnplug.") -> bytes:
    return json.dumps({"severity": severity, "text": text}).encode()


def test_those_in_need_come_first_and_who_is_silent_is_told() -> None:
    seen = fleet(
        ("quiet", b"ignored"),
        ("good/online", b"true"),
        ("good/status", status()),
        ("low/online", b"true"),
        ("low/status", status(state="stopped for safety")),
        ("low/alert/probe", alert("soon", "A probe.")),
        ("low/alert/sump-low", alert("urgent")),
        ("gone/online", b"false"),
        ("gone/status", status(NOW_S - 7200)),
        ("hung/online", b"true"),
        ("hung/status", status(NOW_S - 151)),
    )

    assert list(lines(rows(seen, NOW_S))) == [
        "4 beds, 2 silent, 1 with alerts",
        "  bed                  state              next        sump",
        "  gone                 SILENT, offline    06-21 13:40 140 L, low Fri 26 Jun",
        "  hung                 SILENT 3 min       06-21 13:40 140 L, low Fri 26 Jun",
        "  low                  stopped for safety 06-21 13:40 140 L, low Fri 26 Jun",
        "      urgent: Sump low at rest.",
        "      soon: A probe.",
        "  good                 waiting            06-21 13:40 140 L, low Fri 26 Jun",
    ]
    assert seen.dropped == 1


def test_what_the_next_run_waits_for_is_told_below_the_bed() -> None:
    until = "2026-06-21T13:40:00+02:00"
    wait = {"what": "hold", "reason": "pause by ann", "until": until, "do": ""}
    lock = {"what": "lock", "reason": "locked: ran too long", "until": None, "do": "find the cause"}
    seen = fleet(
        ("a/online", b"true"),
        ("a/status", status(state="pause", wait=wait)),
        ("b/online", b"true"),
        ("b/status", status(state="locked", next=None, wait=lock)),
    )

    assert list(lines(rows(seen, NOW_S)))[2:] == [
        "  a                    pause              06-21 13:40 140 L, low Fri 26 Jun",
        "      waits: pause by ann, until today, 13:40",
        "  b                    locked                         140 L, low Fri 26 Jun",
        "      waits: locked: ran too long",
    ]


def test_an_alert_that_is_over_is_gone() -> None:
    seen = fleet(("low/alert/sump-low", alert("urgent")), ("low/alert/sump-low", b""))

    assert rows(seen, NOW_S)[0]["alerts"] == []


def test_nothing_that_a_bed_says_moves_the_terminal_s_cursor() -> None:
    seen = fleet(
        ("a/online", b"true"),
        ("a/status", status(state="\x1b[2Jx\r\n" + "y" * 500)),
        ("a/alert/k", alert("urgent", "\x07z")),
    )

    shown = "\n".join(lines(rows(seen, NOW_S)))
    assert "\x1b" not in shown
    assert "\x07" not in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_so_many_beds_and_no_more() -> None:
    seen = fleet(*((f"bed-{n}/online", b"true") for n in range(MOST_BEDS + 10)))

    assert (len(seen.beds), seen.dropped) == (MOST_BEDS, 10)


TOPICS = st.sampled_from(["online", "status", "alert/k", "run", "", "alert/", "x/y/z"]).map(
    lambda t: f"waaler/a/{t}"
)
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from(["2026-06-21T09:00:00+01:00", "9999-12-31T23:59:59-12:00"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["state", "at", "next", "start", "sump", "litres", "needs_water_at", "text", "severity"]
            ),
            inner,
            max_size=6,
        )
    ),
    max_leaves=20,
)


@given(
    st.lists(
        st.tuples(
            TOPICS | st.text(max_size=20), st.binary(max_size=40) | JSON.map(lambda told: json.dumps(told).encode())
        ),
        max_size=8,
    )
)
def test_no_message_whatever_ends_the_watch(messages: list[tuple[str, bytes]]) -> None:
    seen = Fleet()
    for topic, payload in messages:
        seen = take(seen, topic, payload, NOW_S)
        shown = list(lines(rows(seen, NOW_S)))
        assert all(len(line) <= 80 and line.isprintable() for line in shown)


def test_watch_once_tells_of_every_bed_of_a_real_broker(broker: Mosquitto, listen: Callable[..., Listener]) -> None:
    publisher = listen()._client
    for n in range(5):
        publisher.publish(f"waaler/bed-{n}/online", b"true", qos=1, retain=True)
        told = publisher.publish(f"waaler/bed-{n}/status", status(time.time()), qos=1, retain=True)
    told.wait_for_publish(10)

    done = CliRunner().invoke(main, ["watch", "--broker", "127.0.0.1", "--port", str(broker.port), "--json"])

    assert done.exit_code == 0
    assert [(row["bed"], row["silent"]) for row in json.loads(done.output)] == [
        (f"bed-{n}", False) for n in range(5)
    ]


@pytest.mark.parametrize("words", [("--user", "ann"), ("--password-file", "secret")])
def test_watch_lets_no_password_travel_without_tls_unless_told_to(tmp_path: Path, words: tuple[str, str]) -> None:
    (tmp_path / "secret").write_text("s3cret\n")
    asked = [
        "watch",
        "--broker",
        "192.0.2.1",
        "--once",
        *(str(tmp_path / w) if w == "secret" else w for w in words),
    ]

    done = CliRunner().invoke(main, asked)

    assert done.exit_code == 2
    assert done.output == "a password would travel without TLS; add --ca-file, or --plain to let it\n"


@pytest.mark.parametrize(("host", "more"), [("127.0.0.1", []), ("localhost", []), ("127.0.0.2", ["--plain"])])
def test_on_this_machine_or_by_an_explicit_word_it_may(host: str, more: list[str]) -> None:
    asked = ["watch", "--broker", host, "--port", "1", "--user", "ann", "--once", *more]

    assert CliRunner().invoke(main, asked).output.startswith("the broker: no")


def test_a_broker_that_is_away_is_told() -> None:
    done = CliRunner().invoke(main, ["watch", "--broker", "127.0.0.1", "--port", "1", "--once"])

    assert done.exit_code == 1
    assert done.output.startswith("the broker: no")


def test_the_figures_stand_in_a_file_that_is_never_half_written(tmp_path: Path, places: Places) -> None:
    from threading import Event

    from tests.settings.test_reading import settings

    path = tmp_path / "waaler.prom"
    MetricsFile(path, Bed.of(settings("")), places, Event()).write(NOW_S)

    assert path.read_text().endswith("# EOF\n")
    assert path.stat().st_mode & 0o777 == 0o644
    assert [found.name for found in tmp_path.glob("waaler.prom*")] == ["waaler.prom"]
