"""Nobody gets past the gate who should not: guessing, fixation, other sites, other names, theft.

What is asked of it: OWASP's cheat sheets on session management and on cross-site request forgery
(origin check, SameSite), RFC 6265bis (the cookie prefix __Host-), RFC 6455 10.2 (the origin of a
WebSocket), and the Fetch standard (browsers name the origin with every POST).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from argon2 import PasswordHasher
from knocking import Answer, behind, knock, open_line

from dashboards.gate.asgi import Gate
from dashboards.gate.network import policy_for
from dashboards.gate.policy import Policy
from insights.errors import RequestError
from insights.history.book import sessions, throttle
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.book.users import add_user, remove_user, set_password

ADA = Person("Ada")
GOOD = "three kettles on a shelf"
OPENED = {"type": "websocket.accept"}
REFUSED = [{"type": "websocket.close", "code": 1008}]


@pytest.fixture(autouse=True)
def _quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("insights.history.book.passwords._hasher", lambda: quick)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = create_book(tmp_path / "book.db", Settings(), ADA)
    add_user(made, "Ada", "owner", GOOD, by=ADA)
    add_user(made, "Eve", "reader", GOOD, by=ADA)
    return made


@pytest.fixture
def gate(book: Book) -> Gate:
    return Gate(behind, Policy(book.name), book)


@pytest.fixture
def local() -> Gate:
    return Gate(behind, Policy())


def signed_in(gate: Gate, name: str = "Ada", password: str = GOOD, **more: str) -> Answer:
    form = {"name": name, "password": password}
    return knock(gate, "/sign-in", "POST", form=form, **more)


# This machine only


def test_on_this_machine_nobody_signs_in(local):
    assert knock(local).is_behind
    assert open_line(local, ["hello"]).frames[-1]["text"] == "hello"


FOREIGN = ["evil.example", "evil.example:8501", "192.168.1.5:8501", "", "127.0.0.1.evil.example"]
CONFUSING = ["127.0.0.1:8501@evil.example", "evil.example#127.0.0.1", "127.0.0.1:x", "localhost/"]


@pytest.mark.parametrize("host", FOREIGN + CONFUSING)
@pytest.mark.parametrize("which", ["gate", "local"])
def test_a_foreign_host_name_is_refused(which, host, request):
    # How a rebound name looks: the page's own name, this machine's address.
    stood = request.getfixturevalue(which)
    assert knock(stood, host=host).status == 403
    assert knock(stood, "/_stcore/health", host=host).status == 403
    assert open_line(stood, ["hello"], host=host, origin=f"http://{host}").frames == REFUSED


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8501", "localhost.:1"])
def test_a_name_of_ours_is_answered_to(local, host):
    assert knock(local, host=host).is_behind


def test_what_comes_through_a_proxy_is_not_this_machine(local):
    for header in ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"):
        assert knock(local, **{header.replace("-", "_"): "10.0.0.1"}).status == 403


# Other sites


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "", "https://127.0.0.1:8501", "http://127.0.0.1:80"]
)
def test_another_site_can_neither_post_nor_open_a_line(gate, local, origin):
    cookie = signed_in(gate).cookie
    for path in ("/sign-in", "/sign-out", "/_stcore/upload_file/a/b"):
        assert knock(gate, path, "POST", origin=origin, cookie=cookie).status == 403
    assert knock(local, "/_stcore/upload_file/a/b", "PUT", origin=origin).status == 403
    assert open_line(gate, ["hello"], origin=origin, cookie=cookie).frames == REFUSED
    assert open_line(local, ["hello"], origin=origin).frames == REFUSED
    assert knock(gate, cookie=cookie).is_behind  # still signed in: nothing was done


def test_the_cookie_stays_with_this_site_and_out_of_scripts(gate, book):
    told = signed_in(gate).headers["set-cookie"]
    assert told.endswith("; Path=/; HttpOnly; SameSite=Strict")
    secure = Gate(behind, Policy(book.name, ("bench.example",), behind_tls=True), book)
    told = signed_in(secure, host="bench.example", origin="https://bench.example").headers
    assert told["set-cookie"].startswith("__Host-")
    assert "; Secure" in told["set-cookie"]
    assert "Domain" not in told["set-cookie"]


# Without a session


@pytest.mark.parametrize(
    "path", ["/", "/media/a.csv", "/_stcore/host-config", "/static/js/index.js", "/record"]
)
@pytest.mark.parametrize("cookie", ["", "staysfixed_session=", "staysfixed_session=abc"])
def test_without_a_session_there_is_only_the_form(gate, path, cookie):
    assert knock(gate, path, cookie=cookie).status == 401
    shown = knock(gate, path, cookie=cookie, accept="text/html")
    assert (shown.status, shown.headers["location"]) == (303, "/sign-in")
    assert knock(gate, path, "PUT", cookie=cookie).status == 401
    assert open_line(gate, ["hello"], cookie=cookie).frames == REFUSED


def test_the_form_has_no_script_and_posts_home(gate):
    shown = knock(gate, "/sign-in")
    assert shown.status == 200
    assert "<script" not in shown.body
    assert 'action="/sign-in"' in shown.body
    assert "script-src" not in shown.headers["content-security-policy"]
    assert shown.headers["content-security-policy"].startswith("default-src 'none'")


def test_what_the_library_offers_beside_the_pages_is_closed(gate, local):
    cookie = signed_in(gate).cookie
    for path in ("/_stcore/metrics", "/_stcore/agent/interact", "/auth/login", "/oauth2callback"):
        assert knock(gate, path, cookie=cookie).status == 404
        assert knock(local, path).status == 404


# Signing in


def test_signing_in_lets_in_and_signing_out_ends_it_for_a_thief_too(gate):
    found = signed_in(gate)
    assert (found.status, found.headers["location"]) == (303, "/")
    assert knock(gate, cookie=found.cookie).is_behind
    stolen = open_line(
        gate,
        [
            "mine",
            lambda: knock(gate, "/sign-out", "POST", cookie=found.cookie),
            "the thief's",
            "again",
        ],
        cookie=found.cookie,
    )
    assert [frame.get("text") for frame in stolen.frames] == [None, "mine", None]
    assert stolen.frames[-1] == REFUSED[0]
    assert knock(gate, cookie=found.cookie).status == 401
    assert open_line(gate, ["hello"], cookie=found.cookie).frames == REFUSED


def test_a_session_handed_to_the_browser_beforehand_is_worth_nothing(gate):
    """Session fixation: the token after signing in is new, whatever was brought along."""
    made_up = "staysfixed_session=chosen-by-someone-else"
    assert signed_in(gate, cookie=made_up).cookie != made_up
    assert knock(gate, cookie=made_up).status == 401
    of_eve = signed_in(gate, "Eve").cookie
    of_ada = signed_in(gate, cookie=of_eve).cookie
    assert of_ada != of_eve
    assert knock(gate, cookie=of_eve).status == 401
    # A second cookie of the same name, set from a neighbouring site, is not taken for the first.
    assert knock(gate, cookie=f"{of_ada}; {signed_in(gate, 'Eve').cookie}").status == 401


def test_a_session_ends_in_time(gate, monkeypatch):
    cookie = signed_in(gate).cookie
    real = sessions.now_us

    def later(seconds: int) -> None:
        monkeypatch.setattr(sessions, "now_us", lambda: real() + seconds * 1_000_000)

    opened = open_line(
        gate, ["now", lambda: later(sessions.IDLE_SECONDS + 1), "too late"], cookie=cookie
    )
    assert [frame.get("text") for frame in opened.frames] == [None, "now", None]
    assert knock(gate, cookie=cookie).status == 401


@pytest.mark.parametrize("change", [set_password, remove_user])
def test_a_session_ends_with_a_new_password_or_with_its_user(gate, book, change):
    cookie = signed_in(gate, "Eve").cookie
    more = ("four grinders in a row",) if change is set_password else ()
    change(book, "Eve", *more, by=ADA)
    assert knock(gate, cookie=cookie).status == 401


def test_guesses_are_slowed_and_told_apart_by_nothing(gate):
    answers = [signed_in(gate, "Ada", f"a wrong guess {n}", client=f"10.1.0.{n}") for n in range(6)]
    nobody = [signed_in(gate, "Cy", f"a wrong guess {n}", client=f"10.2.0.{n}") for n in range(6)]
    free = throttle.FREE_BY_NAME
    assert [answer.status for answer in answers] == [401] * free + [429] * (6 - free)
    assert [(a.status, a.body) for a in answers] == [(a.status, a.body) for a in nobody]
    assert answers[-1].headers["retry-after"] == "5"
    assert "set-cookie" not in answers[-1].headers
    # The right one waits as well, and the restart of the server forgives nothing.
    again = Gate(behind, gate._policy, gate._book)
    assert signed_in(again).status == 429


@pytest.mark.parametrize(
    "form",
    [
        b"",
        b"name=Ada",
        b"name=Ada&name=Bo&password=x",
        b"\xff\xfe=1",
        b"a" * 5000,
        b"name=Ada&password=" + b"a" * 4096,
        b'{"name": "Ada"}',
    ],
)
def test_what_the_form_would_not_send_is_refused(gate, form):
    assert knock(gate, "/sign-in", "POST", form=form).status == 400


# What every answer carries


@pytest.mark.parametrize("path", ["/", "/sign-in", "/_stcore/metrics", "/_stcore/health"])
def test_every_answer_carries_the_safety_headers(gate, local, path):
    for answer in (knock(gate, path), knock(local, path), knock(gate, path, host="evil.example")):
        headers = answer.headers
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert headers["x-frame-options"] == "DENY"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
    assert knock(gate, path).headers["cache-control"] == "no-store"


def test_only_scripts_of_ours_run(book):
    """The fingerprint of "alert('Hello, world.');" is the one that CSP level 2 gives (5.1)."""
    scripts = ["\n<script>alert('Hello, world.');</script>\n"]
    stood = Gate(behind, Policy(book.name), book, scripts)
    rules = knock(stood, cookie=signed_in(stood).cookie).headers["content-security-policy"]
    known = "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
    assert f"script-src 'self' {known}" in rules.split("; ")


def test_the_pages_load_from_here_only(gate):
    cookie = signed_in(gate).cookie
    rules = knock(gate, cookie=cookie).headers["content-security-policy"].split("; ")
    assert "default-src 'self'" in rules
    assert "script-src 'self'" in rules
    assert not any("http" in rule or "*" in rule for rule in rules)


# The network, by choice only


def test_the_network_needs_a_book_with_users_and_names(tmp_path, book):
    plain = tmp_path / "jobs.csv"
    plain.write_text("job_id\n")
    empty = create_book(tmp_path / "empty.db", Settings(), ADA)
    for source in (None, str(plain)):
        with pytest.raises(RequestError, match="Only a job book"):
            policy_for(source, "192.168.1.5")
    with pytest.raises(RequestError, match="Nobody can sign in"):
        policy_for(empty.name, "192.168.1.5")
    for asked in ({"address": "0.0.0.0"}, {"behind_tls": True}):
        with pytest.raises(RequestError, match="--name"):
            policy_for(book.name, **asked)


def test_every_way_onto_the_network_asks_for_a_sign_in(book):
    assert policy_for(book.name) == Policy()
    assert policy_for(book.name, sign_in=True) == Policy(book.name)
    for asked in (
        {"address": "192.168.1.5"},
        {"address": "::", "names": ["Bench.example."]},
        {"names": ["bench.example"]},
        {"behind_tls": True, "names": ["bench.example"]},
    ):
        policy = policy_for(book.name, **asked)
        assert policy.sign_in
        stood = Gate(behind, policy, book)
        host = "bench.example" if "names" in asked else "192.168.1.5:8501"
        assert knock(stood, host=host).status == 401
        assert knock(stood, host="other.example").status == 403


def test_the_policy_reaches_the_server_whole(monkeypatch):
    monkeypatch.setenv("STAYSFIXED_GATE", "")
    monkeypatch.delenv("STAYSFIXED_GATE")
    assert Policy.from_environment() == Policy()
    asked = Policy("book.db", ("localhost", "bench.example"), behind_tls=True)
    asked.to_environment()
    assert Policy.from_environment() == asked


def test_a_gate_that_asks_needs_someone_who_knows():
    with pytest.raises(ValueError, match="needs a book"):
        Gate(behind, Policy("book.db"))
