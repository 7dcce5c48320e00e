"""Each way to a person against a real server: what arrives, what is tried again, what is parked."""

import json
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from tests.notify.servers import WAIT_S, MailServer, SilentServer, WebServer, free_port
from tests.notify.test_mqtt import make_authority

from waaler.core.facts import Severity
from waaler.notify.channels import NotNow, NotThis
from waaler.notify.mail import MailChannel
from waaler.notify.note import Note
from waaler.notify.push import PushChannel
from waaler.notify.secrets import read_lines, read_secret
from waaler.notify.webhook import WebhookChannel
from waaler.settings.messages import Mail, Person, Push, Webhook
from waaler.settings.path_keys import SecretFile

ANN, BOR, EVA = (
    Person("Ann", "1", "ann@example.org"),
    Person("Bor", "2", None),
    Person("Eva", "3", "eva@example.org"),
)


def note(person: int = 0, severity: Severity = Severity.URGENT, **more: Any) -> Note:
    return Note(
        **{
            "id": "abc-7",
            "subject": "[Bed] URGENT, Sump low at rest.",
            "body": "Sump low at rest.\nUnplug the pump, add 60 L.",
            "severity": severity,
            "person": person,
            "about": {"bed": "terrace", "kind": "sump-low"},
            **more,
        }
    )


@pytest.fixture
def mail_server() -> Iterator[MailServer]:
    with closing(MailServer()) as server:
        yield server


@pytest.fixture
def web() -> Iterator[WebServer]:
    with closing(WebServer()) as server:
        yield server


def plain(port: int, **more: Any) -> Mail:
    return Mail("127.0.0.1", port, "none", "bed@example.org", Severity.SOON, **more)


def hook(url: str) -> WebhookChannel:
    return WebhookChannel(Webhook("hook", url, None, Severity.SOON))


# --- mail ---------------------------------------------------------------------------------------


def test_a_mail_says_it_all_and_carries_an_id_by_which_a_repeat_is_known(mail_server: MailServer) -> None:
    MailChannel(plain(mail_server.port), [ANN]).send(note())

    to, message = mail_server.got.get(timeout=WAIT_S)
    assert to == ["ann@example.org"]
    assert (message["From"], message["To"]) == ("bed@example.org", "ann@example.org")
    assert message["Subject"] == "[Bed] URGENT, Sump low at rest."
    assert message["Message-ID"] == "<abc-7@example.org>"
    assert (message["Importance"], message["Auto-Submitted"]) == ("high", "auto-generated")
    assert message.get_content().replace("\r\n", "\n") == "Sump low at rest.\nUnplug the pump, add 60 L.\n"  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("person", "severity", "to"),
    [
        (0, Severity.URGENT, ["ann@example.org"]),
        (1, Severity.URGENT, ["ann@example.org"]),
        (2, Severity.URGENT, ["ann@example.org", "eva@example.org"]),
        (2, Severity.SOON, ["ann@example.org"]),
    ],
)
def test_it_goes_to_those_whose_turn_it_is_or_was(
    mail_server: MailServer, person: int, severity: Severity, to: list[str]
) -> None:
    MailChannel(plain(mail_server.port), [ANN, BOR, EVA]).send(note(person, severity))

    assert mail_server.got.get(timeout=WAIT_S)[0] == to


def test_where_the_first_person_has_no_address_it_goes_to_everybody_who_has_one(mail_server: MailServer) -> None:
    MailChannel(plain(mail_server.port), [BOR, EVA, ANN]).send(note())

    assert mail_server.got.get(timeout=WAIT_S)[0] == ["eva@example.org", "ann@example.org"]


def test_a_refused_recipient_parks_the_message_and_a_busy_server_does_not(mail_server: MailServer) -> None:
    channel = MailChannel(plain(mail_server.port), [ANN])
    mail_server.answers = ["550 no such person", "451 come back later"]

    with pytest.raises(NotThis, match="the server says 550 no such person"):
        channel.send(note())
    with pytest.raises(NotNow, match="the server says 451 come back later"):
        channel.send(note())
    channel.send(note())
    assert mail_server.got.get(timeout=WAIT_S)[0] == ["ann@example.org"]


def test_without_an_address_or_a_server_it_says_so() -> None:
    with pytest.raises(NotThis, match="no contact has a mail address"):
        MailChannel(plain(1), [BOR]).send(note())
    with pytest.raises(NotNow, match="Connection refused"):
        MailChannel(plain(free_port()), [ANN]).send(note())


def test_a_silent_mail_server_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("waaler.notify.mail.WAIT_S", 0.2)
    with closing(SilentServer()) as silent, pytest.raises(NotNow, match="timed out"):
        MailChannel(plain(silent.port), [ANN]).send(note())


def test_user_and_password_go_only_over_tls_and_a_wrong_one_is_told_without_it(tmp_path: Path) -> None:
    theirs, others = make_authority(tmp_path, "theirs"), make_authority(tmp_path, "others")
    secret = tmp_path / "secret"
    with closing(MailServer(theirs)) as server:

        def channel(password: str, authority: Path) -> MailChannel:
            secret.write_text(f"{password}\n")
            mail = Mail(
                "127.0.0.1", server.port, "starttls", "bed@example.org", Severity.SOON, "bed",
                SecretFile(secret), Path(f"{authority}.pem"),
            )  # fmt: skip
            return MailChannel(mail, [ANN])

        with pytest.raises(NotNow, match="certificate verify failed"):
            channel("right", others).send(note())
        with pytest.raises(NotNow) as refusal:
            channel("wrong-password", theirs).send(note())
        assert str(refusal.value) == "the server refuses user or password (535)"
        channel("right", theirs).send(note())
        assert server.got.get(timeout=WAIT_S)[0] == ["ann@example.org"]


def test_a_title_with_a_line_break_makes_no_header(mail_server: MailServer) -> None:
    MailChannel(plain(mail_server.port), [ANN]).send(note(subject="a\nBcc: x@example.org"))

    _, got = mail_server.got.get(timeout=WAIT_S)
    assert got["Subject"] == "a\\nBcc: x@example.org"
    assert got["Bcc"] is None


# --- webhook ------------------------------------------------------------------------------------


def test_a_webhook_gets_json_with_the_id(web: WebServer) -> None:
    hook(f"{web.url}/in?key=s3cret").send(note())

    method, path, body, kind = web.got.get(timeout=WAIT_S)
    assert (method, path, kind) == ("POST", "/in?key=s3cret", "application/json")
    assert json.loads(body) == {
        "id": "abc-7",
        "bed": "terrace",
        "kind": "sump-low",
        "subject": "[Bed] URGENT, Sump low at rest.",
        "text": "Sump low at rest.\nUnplug the pump, add 60 L.",
    }


@pytest.mark.parametrize(
    ("code", "problem"),
    [
        (302, NotNow),
        (400, NotThis),
        (413, NotThis),
        (401, NotNow),
        (404, NotNow),
        (429, NotNow),
        (500, NotNow),
        (503, NotNow),
    ],
)
def test_what_another_try_may_mend_is_tried_again_and_the_rest_parked(
    web: WebServer, code: int, problem: type[Exception]
) -> None:
    web.codes = [code]

    with pytest.raises(problem, match=f"the server says {code}"):
        hook(f"{web.url}/in?key=s3cret").send(note())
    web.got.get(timeout=WAIT_S)
    assert web.got.empty(), "a redirection is not followed"


def test_no_reason_holds_the_secret_address(web: WebServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("waaler.notify.webhook.WAIT_S", 0.2)
    web.codes = [500]
    with closing(SilentServer()) as silent:
        for url in (
            f"{web.url}/s3cret",
            f"http://127.0.0.1:{free_port()}/s3cret",
            f"http://127.0.0.1:{silent.port}/s3cret",
            "http://[s3cret",
            "http://127.0.0.1:port/s3cret",
            "http://no such host/s3cret",
        ):
            with pytest.raises(NotNow) as refusal:
                hook(url).send(note())
            assert "s3cret" not in str(refusal.value)


def test_its_address_may_stand_in_a_file(web: WebServer, tmp_path: Path) -> None:
    path = tmp_path / "hook"
    channel = WebhookChannel(Webhook("hook", None, SecretFile(path), Severity.SOON))

    with pytest.raises(NotNow, match="No such file"):
        channel.send(note())
    path.write_text(f"{web.url}/in\n")
    channel.send(note())
    assert web.got.get(timeout=WAIT_S)[1] == "/in"


# --- push ---------------------------------------------------------------------------------------


def push(tmp_path: Path, *urls: str) -> PushChannel:
    path = tmp_path / "push"
    path.write_text("# addresses\n" + "".join(f"{url}\n" for url in urls))
    return PushChannel(Push(SecretFile(path), Severity.URGENT))


def test_the_notification_library_delivers_to_every_address(web: WebServer, tmp_path: Path) -> None:
    pytest.importorskip("apprise", reason='pip install "waaler[push]"')
    address = web.url.replace("http://", "json://")

    push(tmp_path, f"{address}/one", f"{address}/two").send(note())

    got = [web.got.get(timeout=WAIT_S) for _ in range(2)]
    assert {path for _, path, _, _ in got} == {"/one", "/two"}
    assert json.loads(got[0][2])["title"] == "[Bed] URGENT, Sump low at rest."
    assert "Unplug the pump, add 60 L." in json.loads(got[0][2])["message"]


def test_an_address_that_fails_or_makes_no_sense_is_told_without_it(web: WebServer, tmp_path: Path) -> None:
    pytest.importorskip("apprise", reason='pip install "waaler[push]"')
    web.codes = [500]
    with pytest.raises(NotNow, match="the library could not deliver it to every address"):
        push(tmp_path, web.url.replace("http://", "json://") + "/s3cret").send(note())
    with pytest.raises(NotNow) as refusal:
        push(tmp_path, "s3cret").send(note())
    assert str(refusal.value) == "address 1 of the file makes no sense to the library"


def test_without_the_library_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "apprise", None)

    with pytest.raises(NotNow, match='pip install "waaler\\[push\\]"'):
        push(tmp_path, "json://x").send(note())


# --- secrets ------------------------------------------------------------------------------------


def test_a_secret_is_the_first_line_of_a_file_or_a_credential(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "mail-password").write_text("from the manager\n")
    (tmp_path / "file").write_text("# mine\nfrom a file\nmore\n")

    assert read_secret(SecretFile(tmp_path / "file")) == "from a file"
    assert read_lines(SecretFile(tmp_path / "file")) == ["from a file", "more"]
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    assert read_secret(SecretFile(tmp_path / "none", "mail-password")) == "from the manager"


@pytest.mark.parametrize(("content", "reason"), [(b"\n", "is empty"), (b"\xff\xff", "is not UTF-8 text")])
def test_a_secret_that_cannot_be_read_names_the_file_alone(tmp_path: Path, content: bytes, reason: str) -> None:
    (tmp_path / "secret").write_bytes(content)

    with pytest.raises(OSError, match=reason):
        read_secret(SecretFile(tmp_path / "secret"))
