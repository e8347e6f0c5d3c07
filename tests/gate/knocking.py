"""Knock at a gate as a browser, or as someone who is none, would: ASGI without a server."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

HOST = "127.0.0.1:8501"
HOME = f"http://{HOST}"


@dataclass
class Answer:
    """What came back."""

    status: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    body: str = ""
    frames: list[dict[str, Any]] = field(default_factory=list)

    @property
    def is_behind(self) -> bool:
        """Whether it came from behind the gate."""
        return self.body == "behind the gate"

    @property
    def cookie(self) -> str:
        """The cookie as the browser would send it back."""
        return self.headers["set-cookie"].partition(";")[0]


async def behind(scope: dict, receive: Any, send: Any) -> None:
    """Stand for the dashboard."""
    if scope["type"] == "http":
        headers = [(b"x-frame-options", b"ALLOWALL"), (b"content-type", b"text/plain")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": b"behind the gate"})
        return
    await receive()
    await send({"type": "websocket.accept"})
    while (message := await receive())["type"] == "websocket.receive":
        await send({"type": "websocket.send", "text": message["text"]})


def knock(
    gate: Any,
    path: str = "/",
    method: str = "GET",
    *,
    form: dict[str, str] | bytes | None = None,
    client: str = "10.0.0.7",
    **headers: str,
) -> Answer:
    """Send one request; ``origin`` and ``host`` are a browser's own unless given as empty."""
    given = {"host": HOST, **headers}
    if method != "GET":
        given = {"origin": HOME, **given}
    body = form if isinstance(form, bytes) else urlencode(form or {}).encode()
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "headers": _encoded(given),
        "client": (client, 50000),
    }
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": body, "more_body": False}

    asyncio.run(gate(scope, receive, _kept(sent)))
    start, *rest = sent
    headers_back = {name.decode().lower(): value.decode() for name, value in start["headers"]}
    text = b"".join(part.get("body", b"") for part in rest).decode()
    return Answer(start["status"], headers_back, text)


def open_line(gate: Any, frames: Sequence[Any] = (), **headers: str) -> Answer:
    """Open a WebSocket and send frames; a frame may also be a function, called in between."""
    given = {"host": HOST, "origin": HOME, **headers}
    scope = {
        "type": "websocket",
        "path": "/_stcore/stream",
        "headers": _encoded(given),
        "client": ("10.0.0.7", 50000),
    }
    waiting = list(frames)
    sent: list[dict[str, Any]] = []
    opened = False

    async def receive() -> dict[str, Any]:
        nonlocal opened
        if not opened:
            opened = True
            return {"type": "websocket.connect"}
        while waiting and callable(waiting[0]):
            await asyncio.to_thread(waiting.pop(0))
        if not waiting:
            return {"type": "websocket.disconnect", "code": 1000}
        return {"type": "websocket.receive", "text": waiting.pop(0)}

    asyncio.run(gate(scope, receive, _kept(sent)))
    return Answer(frames=sent)


def _encoded(headers: dict[str, str]) -> list[tuple[bytes, bytes]]:
    return [
        (name.replace("_", "-").encode(), value.encode())
        for name, value in headers.items()
        if value
    ]


def _kept(sent: list[dict[str, Any]]) -> Any:
    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    return send
