"""The gate itself: every request and every message passes it, or gets no further."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

from dashboards.gate import form
from dashboards.gate.headers import FORM_CONTENT, page_content, with_safety
from dashboards.gate.policy import HEALTH, SIGN_IN, SIGN_OUT, Policy, headers_of, token_in
from insights.errors import BookError
from insights.history.book.book import Book
from insights.history.book.passwords import prepare
from insights.history.book.sessions import person_of, sign_in, sign_out

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

AT_ONCE = 2
"""Passwords checked at once: each takes 64 MiB and a core for a while."""

NOT_ALLOWED_CODE = 1008
"""How a WebSocket is closed on someone who may not use it (RFC 6455, 7.4.1)."""

_TEXT = "text/plain; charset=utf-8"
_HTML = "text/html; charset=utf-8"


class Gate:
    """Stand before an ASGI application.

    Parameters
    ----------
    app
        What is behind the gate.
    policy
        What it lets through.
    book
        Opened for writing, where one must sign in; None otherwise.
    scripts
        What pages carry of scripts of ours, where one must sign in.
    """

    def __init__(
        self, app: App, policy: Policy, book: Book | None = None, scripts: Iterable[str] = ()
    ) -> None:
        if policy.sign_in and book is None:
            raise ValueError("signing in needs a book that knows who may")
        self._app = app
        self._policy = policy
        self._book = book
        self._content = page_content(scripts if policy.sign_in else None)
        self._checking = asyncio.Semaphore(AT_ONCE)
        if policy.sign_in:
            prepare()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one connection through, or answer it here."""
        if scope["type"] == "http":
            await self._http(scope, receive, self._safe(scope, send))
        elif scope["type"] == "websocket":
            await self._websocket(scope, receive, send)
        else:
            await self._app(scope, receive, send)  # the server's own start and stop

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        refusal = self._policy.refusal(scope)
        if refusal is not None:
            await _answer(send, 403, refusal.encode())
        elif self._policy.is_closed(scope["path"]):
            await _answer(send, 404, b"Not here.")
        elif not self._policy.sign_in or scope["path"] == HEALTH:
            await self._app(scope, receive, send)
        else:
            try:
                await self._signed_in_only(scope, receive, send)
            except BookError as error:
                await _answer(send, 503, str(error).encode())

    async def _signed_in_only(self, scope: Scope, receive: Receive, send: Send) -> None:
        path, posted = scope["path"], scope["method"] == "POST"
        if path == SIGN_IN:
            await (self._sign_in(scope, receive, send) if posted else self._form(send, 200))
        elif path == SIGN_OUT:
            await (self._sign_out(scope, send) if posted else _go(send, "/"))
        elif await self._is_signed_in(scope):
            await self._app(scope, receive, send)
        elif b"text/html" in dict(scope["headers"]).get(b"accept", b""):
            await _go(send, SIGN_IN)
        else:
            await _answer(send, 401, b"Sign in first.")

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._policy.refusal(scope) is not None or not await self._may_use(scope):
            await receive()  # the request to open, which ASGI wants taken before it is refused
            await send({"type": "websocket.close", "code": NOT_ALLOWED_CODE})
            return

        async def checked() -> Message:
            message = await receive()
            # Signed out, taken out or timed out since: the open line must not outlive it.
            if message["type"] == "websocket.receive" and not await self._may_use(scope):
                await send({"type": "websocket.close", "code": NOT_ALLOWED_CODE})
                return {"type": "websocket.disconnect", "code": NOT_ALLOWED_CODE}
            return message

        await self._app(scope, checked, send)

    async def _may_use(self, scope: Scope) -> bool:
        try:
            return not self._policy.sign_in or await self._is_signed_in(scope)
        except BookError:
            return False

    async def _is_signed_in(self, scope: Scope) -> bool:
        assert self._book is not None
        token = token_in(headers_of(scope), self._policy.cookie)
        return await asyncio.to_thread(person_of, self._book, token) is not None

    async def _sign_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        assert self._book is not None
        body = await _body(receive)
        given = None if body is None else form.typed(body)
        if given is None:
            await _answer(send, 400, b"This is not what the form sends.")
            return
        address = str((scope.get("client") or ("unknown",))[0])
        async with self._checking:
            found = await asyncio.to_thread(sign_in, self._book, *given, address=address)
        if found.wait_seconds:
            retry = (b"retry-after", str(found.wait_seconds).encode())
            await self._form(send, 429, form.waiting(found.wait_seconds), retry)
        elif found.token is None:
            await self._form(send, 401, form.WRONG)
        else:
            await self._end(scope)  # whatever the browser brought along is worth nothing now
            await _go(send, "/", (b"set-cookie", self._cookie(found.token).encode()))

    async def _sign_out(self, scope: Scope, send: Send) -> None:
        await self._end(scope)
        await _go(send, SIGN_IN, (b"set-cookie", self._cookie("", "; Max-Age=0").encode()))

    async def _end(self, scope: Scope) -> None:
        assert self._book is not None
        token = token_in(headers_of(scope), self._policy.cookie)
        await asyncio.to_thread(sign_out, self._book, token)

    def _cookie(self, token: str, more: str = "") -> str:
        secure = "; Secure" if self._policy.behind_tls else ""
        return f"{self._policy.cookie}={token}; Path=/; HttpOnly; SameSite=Strict{secure}{more}"

    async def _form(
        self, send: Send, status: int, said: str = "", *more: tuple[bytes, bytes]
    ) -> None:
        written = form.page(said, in_the_clear=self._policy.in_the_clear)
        content = (b"content-security-policy", FORM_CONTENT.encode())
        await _answer(send, status, written, content, *more, kind=_HTML)

    def _safe(self, scope: Scope, send: Send) -> Send:
        # The library's own scripts are the same for everyone and may be kept.
        keep_nothing = self._policy.sign_in and not scope["path"].startswith("/static/")

        async def safe(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = message.get("headers", [])
                own = dict(given).get(b"content-security-policy", self._content.encode())
                headers = with_safety(given, own.decode(), keep_nothing=keep_nothing)
                message = {**message, "headers": headers}
            await send(message)

        return safe


async def _body(receive: Receive) -> bytes | None:
    """Read what was posted; None where it is longer than the form's."""
    body = b""
    while len(body) <= form.LONGEST_BODY:
        message = await receive()
        if message["type"] != "http.request":
            return None
        body += message.get("body", b"")
        if not message.get("more_body", False):
            return body if len(body) <= form.LONGEST_BODY else None
    return None


async def _answer(
    send: Send, status: int, body: bytes, *more: tuple[bytes, bytes], kind: str = _TEXT
) -> None:
    headers = [
        (b"content-type", kind.encode()),
        (b"content-length", str(len(body)).encode()),
        *more,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _go(send: Send, where: str, *more: tuple[bytes, bytes]) -> None:
    # 303: whatever was posted, the next is a plain visit.
    await _answer(send, 303, b"", (b"location", where.encode()), *more)
