"""What the server runs: the dashboard behind its gate."""

from __future__ import annotations

import streamlit as st
from starlette.middleware import Middleware

from dashboards.bench.keys import KEYS
from dashboards.gate.asgi import Gate
from dashboards.gate.policy import Policy
from dashboards.gate.who_is_in import gate_book
from dashboards.server import APP

policy = Policy.from_environment()
book = gate_book() if policy.sign_in else None
gate = Middleware(Gate, policy=policy, book=book, scripts=[KEYS])
app = st.App(APP, middleware=[gate])
