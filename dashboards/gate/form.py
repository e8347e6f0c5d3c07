"""The sign-in page: a form without a script."""

from __future__ import annotations

from html import escape
from urllib.parse import parse_qs

from dashboards.gate.policy import SIGN_IN

LONGEST_BODY = 4096
WRONG = "The name or the password is not right."
IN_THE_CLEAR = (
    "This connection is not encrypted: whoever is on the same network could read the password."
)
_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Sign in: Stays Fixed</title>
<style>
:root {{ color-scheme: light dark; --paper: #f5f7f6; --ink: #16211f; --accent: #0b6b5d;
  --rule: #5d6b67; --bad: #8f1f1f; }}
@media (prefers-color-scheme: dark) {{ :root {{ --paper: #121817; --ink: #e6ece9;
  --accent: #58c7b0; --rule: #9aa8a4; --bad: #ff9d9d; }} }}
body {{ background: var(--paper); color: var(--ink); font: 1.1rem/1.5 sans-serif;
  margin: 0 auto; max-width: 24rem; padding: 12vh 1.2rem; }}
h1 {{ font-family: serif; font-size: 2rem; margin: 0 0 1.2rem; }}
label {{ display: block; margin: 1rem 0 .3rem; }}
input, button {{ box-sizing: border-box; font: inherit; min-height: 3.2rem; width: 100%;
  border: 2px solid var(--rule); border-radius: .2rem; padding: 0 .8rem; }}
input {{ background: transparent; color: inherit; }}
button {{ background: var(--accent); border-color: var(--accent); color: var(--paper);
  font-weight: 600; margin-top: 1.6rem; }}
:focus-visible {{ outline: 3px solid var(--accent); outline-offset: 2px; }}
.bad {{ color: var(--bad); font-weight: 600; }}
</style>
</head>
<body>
<main>
<h1>Sign in</h1>
{said}
<form method="post" action="{action}">
<label for="name">Your name</label>
<input id="name" name="name" autocomplete="username" required autofocus maxlength="60">
<label for="password">Password</label>
<input id="password" name="password" type="password" autocomplete="current-password" required
  maxlength="200">
<button>Sign in</button>
</form>
{warning}
<p>Forgotten? The owner of the job book can give you a new password.</p>
</main>
</body>
</html>
"""


def page(said: str = "", *, in_the_clear: bool = False) -> bytes:
    """Write the page.

    Parameters
    ----------
    said
        What came of the last attempt.
    in_the_clear
        Whether what is typed travels unencrypted.
    """
    return _PAGE.format(
        action=SIGN_IN,
        said=f'<p class="bad" role="alert">{escape(said)}</p>' if said else "",
        warning=f"<p>{escape(IN_THE_CLEAR)}</p>" if in_the_clear else "",
    ).encode()


def waiting(seconds: int) -> str:
    """Say how long to wait."""
    shown = f"{seconds} seconds" if seconds < 120 else f"{-(-seconds // 60)} minutes"
    return f"Too many wrong attempts. Try again in {shown}."


def typed(body: bytes) -> tuple[str, str] | None:
    """Read name and password out of what the form sent; None where it is not the form's."""
    try:
        fields = parse_qs(
            body.decode("utf-8"), keep_blank_values=True, strict_parsing=True, max_num_fields=4
        )
    except ValueError:
        return None
    name, password = fields.get("name", []), fields.get("password", [])
    return (name[0], password[0]) if len(name) == len(password) == 1 else None
