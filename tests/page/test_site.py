"""Who may ask the page, and what it answers."""

import base64
import csv
import io
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from tests.page.asking import NOW_S, Page, ask, site_of, write_bed
from tests.records.facts import at, intent
from tests.report.beds import NASTY, ZONE, write_days

from waaler.core.facts import Act, Cause, Deed, PresentNoted, RunIntent, RunStarted, TripBegan
from waaler.core.status import BedState, NextRun, Present, RunNow, Standing, Wait
from waaler.guard.messages import HoldKind, Purse, Trip
from waaler.guard.names import Hindrance
from waaler.page.passwords import PasswordFileError, Passwords, hash_line
from waaler.page.serve import Place, PlaceError, make_site
from waaler.page.site import Site
from waaler.records.store import Store
from waaler.settings import SettingsError


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    return tmp_path


@pytest.fixture
def site(folder: Path) -> Site:
    write_days(folder / "terrace.db", 1, reason=NASTY)
    return site_of(write_bed(folder))


def basic(name: str, password: str) -> str:
    return "Basic " + base64.b64encode(f"{name}:{password}".encode()).decode()


# --- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["", "evil.example", "localhost.evil.example", "localhost@evil.example", "[::1"])
def test_another_host_name_is_refused(site: Site, host: str) -> None:
    assert ask(site, HTTP_HOST=host).status == 421


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_the_page_only_reads(site: Site, method: str) -> None:
    got = ask(site, REQUEST_METHOD=method)

    assert (got.status, got.headers["Allow"]) == (405, "GET, HEAD")


@pytest.mark.parametrize(
    "path",
    ["/bed/other/", "/bed/terrace/../../etc/passwd", "/bed/TERRACE/", "/bed/terrace/run/x", "/bed/terrace/run/99",
     "/bed/terrace", "/status", "/bed/terrace/history/", "/bed/terrace/run/1/"],
)  # fmt: skip
def test_what_is_not_there_is_not_found(site: Site, path: str) -> None:
    assert ask(site, path).status == 404


@pytest.mark.parametrize(
    "query",
    ["since=yesterday", "since=2026-06-22&until=2026-06-21", "since=2001-01-01", "page=0", "page=-1",
     "outcome=exploded", "page=1e9", "since=0001-01-01&until=0001-01-02", "a=" + "b" * 400],
)  # fmt: skip
def test_a_question_that_makes_no_sense_is_answered_with_what_to_ask(site: Site, query: str) -> None:
    got = ask(site, "/bed/terrace/history", query)

    assert got.status == 400
    assert got.headers["Content-Type"] == "text/plain; charset=utf-8"


def test_only_the_proxy_may_connect_where_one_is_trusted(folder: Path) -> None:
    site = site_of(write_bed(folder), proxy="192.0.2.7")

    assert ask(site, REMOTE_ADDR="192.0.2.8", HTTP_X_FORWARDED_FOR="192.0.2.7").status == 403
    assert ask(site, REMOTE_ADDR="192.0.2.7").status == 200


def test_passwords_are_asked_for_and_wrong_ones_refused(folder: Path) -> None:
    file = folder / "page.passwords"
    file.write_text(hash_line("anna", "perlite 7") + "\n")
    file.chmod(0o640)
    site = site_of(write_bed(folder), passwords=Passwords(file))

    assert ask(site).headers["WWW-Authenticate"] == 'Basic realm="waaler", charset="UTF-8"'
    for header in ("", "Basic", "Basic !!!", "Bearer x", basic("anna", "perlite"), basic("ben", "perlite 7"),
                   basic("anna", ""), "Basic " + "A" * 600):  # fmt: skip
        assert ask(site, HTTP_AUTHORIZATION=header).status == 401
    for _ in range(2):
        assert ask(site, HTTP_AUTHORIZATION=basic("anna", "perlite 7")).status == 200


@pytest.mark.parametrize(
    ("text", "mode", "part"),
    [
        (None, 0o640, "cannot be read: No such file"),
        ("", 0o640, "has no line; make one with `waaler page --make-password NAME`"),
        ("anna:perlite\n", 0o640, "page.passwords:1:1: this is no hash"),
        (
            "anna:scrypt:3:8:1:00112233445566778899:00112233445566778899001122334455\n",
            0o640,
            ":1:1: this is no hash",
        ),
        ("anna:scrypt:16384:8:1:0011223344556677:\n", 0o640, ":1:1: this is no hash"),
        ("x", 0o644, "others may read or change it; chmod 640"),
        ("x", 0o660, "others may read or change it; chmod 640"),
    ],
)
def test_a_password_file_that_cannot_be_trusted_is_refused(
    folder: Path, text: str | None, mode: int, part: str
) -> None:
    file = folder / "page.passwords"
    if text is not None:
        file.write_text(text)
        file.chmod(mode)

    with pytest.raises(PasswordFileError, match=part):
        Passwords(file)


@pytest.mark.parametrize(
    ("listen", "names", "part"),
    [
        ("0.0.0.0:8080", ["bed.example.org"], "can be reached from the network: give --password-file"),
        ("192.0.2.5:8080", [], "can be reached from the network"),
        ("localhost:8080", [], "is no address; write 127.0.0.1:8080"),
        ("127.0.0.1", [], "is no address"),
        ("127.0.0.1:99999", [], "is no address"),
    ],
)
def test_a_place_that_would_show_the_page_to_everybody_is_refused(listen: str, names: list[str], part: str) -> None:
    with pytest.raises(PlaceError, match=part):
        Place.of(listen, names, None, None)


def test_every_address_needs_the_names_of_the_page() -> None:
    with pytest.raises(PlaceError, match="say with --name which host names"):
        Place.of("0.0.0.0:8080", [], None, "192.0.2.7")


def test_a_network_without_tls_is_said_to_be_readable() -> None:
    place = Place.of("192.0.2.5:8080", [], None, "192.0.2.7")

    assert "This network is readable: there is no TLS here" in place.told(["terrace"])[1]
    assert len(Place.of("127.0.0.1:8080", [], None, None).told(["terrace"])) == 1


def test_a_place_of_its_own_answers_to_its_own_names(folder: Path) -> None:
    place = Place.of("[::1]:8080", ["Bed.Example.org"], None, None)
    site = make_site([], place)

    assert ask(site, HTTP_HOST="bed.example.org:443").status == 200
    assert ask(site, HTTP_HOST="[::1]:8080").status == 200
    assert ask(site, HTTP_HOST="192.0.2.1").status == 421


# --- what is answered ---------------------------------------------------------------------------


def test_every_answer_forbids_scripts_frames_and_cookies(site: Site) -> None:
    for path in ("/", "/bed/terrace/history", "/nowhere", "/look.css"):
        headers = ask(site, path).headers
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["X-Frame-Options"] == "DENY"
        assert "Set-Cookie" not in headers


@pytest.mark.parametrize(
    "path", ["/", "/bed/terrace/", "/bed/terrace/history", "/bed/terrace/run/1", "/bed/terrace/run/2"]
)
def test_a_name_with_markup_is_text_on_every_page_and_nothing_comes_from_outside(site: Site, path: str) -> None:
    got = ask(site, path)

    page = Page(got.text)
    assert got.status == 200
    assert page.tags.count("script") == 1, "the page's own"
    assert NASTY in page.words
    assert not [link for link in page.links if "//" in link]
    assert " style=" not in got.text
    assert len(got.text.encode()) < 100_000


def test_every_link_of_the_site_leads_to_a_page(site: Site) -> None:
    for path in ("/", "/bed/terrace/", "/bed/terrace/history", "/bed/terrace/run/1"):
        for link in Page(ask(site, path).text).links:
            if link.startswith(("data:", "#")):
                continue
            where, _, query = link.partition("?")
            parts = path.rsplit("/", 1)[0].split("/") + where.split("/")
            found: list[str] = []
            for part in parts:
                if part == "..":
                    found.pop()
                elif part not in (".", ""):
                    found.append(part)
            target = "/" + "/".join(found) + ("/" if where.endswith("/") and found else "")
            assert ask(site, target, query).status == 200, (path, link)


def test_now_tells_the_next_run_with_its_reason_sump_and_what_was_measured(site: Site) -> None:
    words = Page(ask(site).text).words

    for part in (
        "waiting",
        "today, 12:00",
        "2 min; day: cycle 3 of 5, evenly from 06:00 to 18:00",
        "EC 2.9 mS/cm",
        "days until it needs water; expected, not measured",
        "Do NOT add water; free the drain.",
        "The last 14 days",
    ):
        assert part in words


def running(until_s: float) -> PresentNoted:
    until = datetime.fromtimestamp(until_s, ZoneInfo(ZONE))
    return PresentNoted(at(11_390.0), Present(BedState.RUNNING, RunNow(70, until, 90.0, "plan", "as planned")))


def test_a_run_in_progress_is_told_with_what_is_left(folder: Path, site: Site) -> None:
    store = Store(folder / "terrace.db", "boot-a")
    store.write([intent(70, at(11_390.0)), RunStarted(70, at(11_390.0), 90.0), running(at(11_480.0).wall_s)])
    store.close()

    words = Page(ask(site).text).words

    assert "\nrunning\n, 80 s more; plan: as planned\n" in words


@pytest.mark.parametrize(
    ("over_s", "told"),
    [(9.0, "\nrunning\n, 0 s more; plan: as planned\n"), (11.0, "as planned; nothing later is in the records\n")],
)
def test_a_run_whose_end_is_not_in_the_records_is_told_as_such(
    folder: Path, site: Site, over_s: float, told: str
) -> None:
    store = Store(folder / "terrace.db", "boot-a")
    store.write([running(NOW_S - over_s)])
    store.close()

    assert told in Page(ask(site).text).words


def noted(folder: Path, present: Present) -> str:
    """The words of the page when this was noted last."""
    store = Store(folder / "terrace.db", "boot-a")
    store.write([PresentNoted(at(11_395.0), present)])
    store.close()
    return Page(ask(site_of(write_bed(folder))).text).words


def test_a_pause_says_until_when_and_when_the_next_run_comes_and_is_no_alarm(folder: Path, site: Site) -> None:
    until = datetime(2026, 6, 21, 23, 45, tzinfo=ZoneInfo(ZONE))
    wait = Wait(Hindrance.HOLD, "pause by anna", until, "it ends by itself")
    hold = Standing(HoldKind.PAUSE, until, "anna")
    words = noted(folder, Present(BedState.PAUSE, None, hold, NextRun(until, 120.0, cause="catch-up"), wait))

    assert "\npause\n, until today, 23:45, by anna; it ends by itself, or with `waaler resume`\n" in words
    assert "next run\ntoday, 23:45\n120 s, catch-up; pause by anna, until today, 23:45\n" in words
    assert 'class="verdict"' in ask(site).text


def test_a_lock_says_since_when_and_what_to_do_and_is_an_alarm(folder: Path, site: Site) -> None:
    wait = Wait(Hindrance.LOCK, "locked: ran too long", None, "find the cause, then `waaler clear`")
    store = Store(folder / "terrace.db", "boot-a")
    store.write([TripBegan(at(11_000.0), Trip.OVERRUN, "locked: ran too long", is_locked=True)])
    store.close()
    words = noted(folder, Present(BedState.LOCKED, wait=wait))

    assert "\nlocked\n, since today, 11:03: ran too long; find the cause, then `waaler clear`\n" in words
    assert "next run\nnone yet\nlocked: ran too long\n" in words
    assert 'class="verdict alarm"' in ask(site).text


def test_records_in_which_no_daemon_has_told_of_the_bed_say_so(folder: Path) -> None:
    store = Store(folder / "terrace.db", "boot-a")
    store.write([Deed(at(11_395.0), Act.START, "the daemon started")])
    store.close()

    assert "\nnot known\n, the daemon has told nothing yet\n" in Page(ask(site_of(write_bed(folder))).text).words


@pytest.mark.parametrize(
    ("later_s", "told"), [(0.0, "waiting"), (1500.0, "waiting"), (1501.0, "no sign of the daemon")]
)
def test_a_daemon_that_gives_no_sign_is_told(folder: Path, later_s: float, told: str) -> None:
    write_days(folder / "terrace.db", 1)

    page = ask(site_of(write_bed(folder), now_s=NOW_S - 1200 + later_s))

    words = Page(page.text).words
    assert f"\n{told}\n" in words
    assert ("next run\nnone\nnothing waters this bed\n" in words) == (told != "waiting")


def test_a_bed_without_records_says_so(folder: Path) -> None:
    got = ask(site_of(write_bed(folder)))

    assert got.status == 200
    assert "no records yet; they begin when `waaler run` first starts for this bed" in Page(got.text).words
    assert ask(site_of(write_bed(folder)), "/bed/terrace/history").status == 503


def test_a_bad_edit_leaves_the_page_and_says_what_is_wrong(folder: Path, site: Site) -> None:
    file = folder / "terrace.yaml"
    file.write_text(file.read_text().replace("water: 2 min", "water: soon"))

    words = Page(ask(site).text).words

    assert "The file has a fault, the last accepted one is shown:" in words
    assert NASTY in words


def test_a_file_that_never_was_good_is_refused_at_the_start(folder: Path) -> None:
    file = write_bed(folder)
    file.write_text("bed: terrace\n")

    with pytest.raises(SettingsError):
        site_of(file)


def test_several_beds_stand_side_by_side(folder: Path) -> None:
    write_days(folder / "terrace.db", 1)
    site = site_of(write_bed(folder), write_bed(folder, "tunnel", "Tunnel"))

    page = Page(ask(site).text)

    assert "bed/terrace/" in page.links
    assert "bed/tunnel/" in page.links
    assert "no records yet" in page.words


def test_the_history_is_told_in_pages_and_filtered(folder: Path) -> None:
    write_days(folder / "terrace.db", 30)
    site = site_of(write_bed(folder))
    query = "since=2026-06-21&until=2026-07-20"

    first, second = (Page(ask(site, "/bed/terrace/history", f"{query}&page={n}").text) for n in (1, 2))
    skipped = Page(ask(site, "/bed/terrace/history", f"{query}&outcome=skipped").text)

    assert [page.tags.count("tr") for page in (first, second, skipped)] == [51, 12, 31]
    assert f"history?{query}&page=2" in first.links
    assert first.words.count("why?") == 50


def test_the_csv_quotes_what_a_spreadsheet_would_run(folder: Path) -> None:
    store = Store(folder / "terrace.db", "boot-a")
    store.write([RunIntent(1, at(0.0), Cause.HAND, Purse.SPARE, 60.0, "=1+1", by="@anna")])
    store.close()

    got = ask(site_of(write_bed(folder)), "/bed/terrace/history.csv", "since=2026-06-21&until=2026-06-21")

    (row,) = csv.DictReader(io.StringIO(got.text))
    assert (row["reason"], row["by"]) == ("'=1+1", "'@anna")
    assert got.headers["Content-Disposition"] == 'attachment; filename="terrace-2026-06-21-2026-06-21.csv"'


def test_nothing_is_told_twice_while_nothing_changed(folder: Path, site: Site) -> None:
    tag = ask(site).headers["ETag"]

    again = ask(site, HTTP_IF_NONE_MATCH=tag)
    assert (again.status, again.text) == (304, "")
    store = Store(folder / "terrace.db", "boot-a")
    store.write([intent(70, at(11_390.0))])
    assert ask(site, HTTP_IF_NONE_MATCH=tag).status == 200
    store.close()


def test_a_head_request_gets_the_headers_alone(site: Site) -> None:
    got = ask(site, REQUEST_METHOD="HEAD")

    assert got.text == ""
    assert int(got.headers["Content-Length"]) > 1000
