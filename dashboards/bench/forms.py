"""Forms that lose nothing: drafts, saves stored once, and news of what others saved meanwhile.

One token names one filling-in of a form. It is in the keys of the form's widgets (a new token is
a new, empty form; a click on the old one's button is a click on nothing), in the draft (so that
it survives a reload or a restart) and, with what is saved, in the book (so that the same entry
sent twice is stored once).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

import streamlit as st

from dashboards.markup import literal
from insights.errors import ChangedMeanwhile, EntryError, StaysfixedError
from insights.history.book.book import Book
from insights.history.book.drafts import draft_of, drop_draft, keep_draft, key_of
from insights.history.book.entries import new_token
from insights.history.book.people import WRITERS, Person
from insights.wording.bench import field_words

UNSAID = ""
UNSAID_WORDS = "not said"


def _heading(name: str) -> str:
    words = field_words(name)
    return words[:1].upper() + words[1:]


@dataclass(frozen=True)
class Sent:
    """What a person saves.

    Parameters
    ----------
    changes
        The fields that differ from what was read; an empty text: no longer known.
    fields
        Every field of the form as it stands.
    expected
        The version that was read, for ``Book.save`` and ``Book.put``.
    token
        The same for the same entry, for the book.
    """

    changes: Mapping[str, str]
    fields: Mapping[str, str]
    expected: int
    token: str


Action = Callable[[Sent], str]
"""Saves, and returns what to say of it."""


@dataclass
class _State:
    """One filling-in of a form, as this visit knows it."""

    expected: int
    base: dict[str, str]
    entries: dict[str, str] = field(default_factory=dict)
    token: str = field(default_factory=new_token)
    news: list[str] = field(default_factory=list)
    theirs: dict[str, str] = field(default_factory=dict)
    problems: dict[str, str] = field(default_factory=dict)
    refusal: str = ""
    unkept: str = ""
    restored: bool = False
    said: str = ""


class Form:
    """A form about one thing in the book.

    Parameters
    ----------
    book, person
        The open book, and who types.
    page, subject
        Which form it is, and what it is about (a job's number; empty: something new).
    fields
        What stands in the book for each field, as one would type it.
    number
        The version that ``fields`` were read from; 0: nothing stands yet.
    news
        Given a version's number, says in sentences who saved what after it.

    Notes
    -----
    Draw its fields with :meth:`text`, :meth:`pick`, ..., then :meth:`save`. A draft is kept
    whenever a field is left.
    """

    def __init__(
        self,
        book: Book,
        person: Person,
        page: str,
        subject: str = "",
        *,
        fields: Mapping[str, str] | None = None,
        number: int = 0,
        news: Callable[[int], Iterable[str]] = lambda _: (),
    ) -> None:
        self._book = book
        self._person = person
        self._page = page
        self._draft = key_of(person, page, subject)
        self._place = f"form|{self._draft}"
        self._drawn: list[str] = []
        self._news: list[str] = []
        stands = dict(fields or {})
        if self._place not in st.session_state:
            st.session_state[self._place] = self._begun(stands, number)
        if self._state.expected != number:
            self._take_news(stands, number, news)

    @property
    def said(self) -> str:
        """What the last save said; empty before one. It stays until the next."""
        return self._state.said

    @property
    def touched(self) -> bool:
        """Whether something is entered that is not saved."""
        return bool(self._state.entries)

    @property
    def fields(self) -> Mapping[str, str]:
        """Every field as it stands, entered or in the book."""
        return {**self._state.base, **self._state.entries}

    def value(self, name: str) -> str:
        """Give what a field holds: what was entered, else what stands in the book."""
        state = self._state
        return state.entries.get(name, state.base.get(name, UNSAID))

    # Fields

    def text(self, name: str, label: str, *, hint: str = "", number: bool = False) -> str:
        """Draw a field of one line.

        Parameters
        ----------
        name
            The field: a column of the history, or a name of the form's own.
        label
            What is asked.
        hint
            Shown while it is empty.
        number
            Whether a tablet should show its digits.
        """
        key = self._seeded(name)
        with st.container(key=f"digits-{key}") if number else nullcontext():
            st.text_input(label, key=key, placeholder=hint, **self._watched(name))
        return self._after(name)

    def long_text(self, name: str, label: str, *, hint: str = "") -> str:
        """Draw a field of several lines; see :meth:`text`."""
        key = self._seeded(name)
        st.text_area(label, key=key, placeholder=hint, height=96, **self._watched(name))
        return self._after(name)

    def pick(
        self, name: str, label: str, options: Sequence[str], words: Mapping[str, str] | None = None
    ) -> str:
        """Draw a choice of a few, all of them in sight.

        Parameters
        ----------
        name, label
            As in :meth:`text`.
        options
            What can be chosen; "not said" is added.
        words
            What an option is called, where it is not called by its name.
        """
        called = {UNSAID: UNSAID_WORDS, **(words or {})}
        st.radio(
            label,
            self._offered(name, options),
            format_func=lambda option: called.get(option, option.replace("_", " ")),
            key=self._seeded(name),
            horizontal=True,
            **self._watched(name),
        )
        return self._after(name)

    def code(
        self, name: str, label: str, options: Sequence[str], *, hint: str = "", add: bool = True
    ) -> str:
        """Draw a choice from a list of the workshop's own.

        Parameters
        ----------
        name, label, hint
            As in :meth:`text`.
        options
            Those used so far, the most used first.
        add
            Whether a new one can be added by typing it.
        """
        key = self._seeded(name)
        if st.session_state[key] == UNSAID:
            st.session_state[key] = None
        st.selectbox(
            label,
            [option for option in self._offered(name, options) if option],
            key=key,
            placeholder=hint or "choose, or type a new one",
            accept_new_options=add,
            **self._watched(name),
        )
        held = self.value(name)
        if held and held not in options:
            like = get_close_matches(held, options, 3, cutoff=0.5)
            meant = f" Did you mean {' or '.join(like)}?" if like else ""
            st.info(literal(f"'{held}' is new: the book has no such entry yet.{meant}"))
        return self._after(name)

    # Saving

    def notices(self) -> None:
        """Say what a person must know before going on: news, clashes, drafts."""
        state = self._state
        if state.unkept:
            st.error(literal(f"What you type is not being kept until you save: {state.unkept}"))
        if state.restored and state.entries:
            st.info("What you had entered and not saved is here again.")
            st.button("Throw it away", key=self._key("discard"), on_click=self._discard)
        for sentence in dict.fromkeys([*state.news, *self._news]):
            st.info(literal(sentence))
        for name in list(state.theirs):
            self._clash(name)

    def save(self, label: str, action: Action, *, blocked: str = "") -> None:
        """Draw the button that saves.

        Parameters
        ----------
        label
            On the button.
        action
            Saves in the book, and returns what to say.
        blocked
            Why it can't be saved now; empty: it can.
        """
        state = self._state
        others = {name: words for name, words in state.problems.items() if name not in self._drawn}
        for name, words in others.items():
            st.error(literal(f"{_heading(name)}: {words}"))
        if state.problems:
            st.error("Not saved: please look at what is marked above. Nothing you typed is lost.")
        if state.refusal:  # beside the button, which may be far below the form's head
            st.error(literal(state.refusal))
        if self._person.role not in WRITERS:
            blocked = "Your role may read the book, not write in it."
        elif state.theirs:
            blocked = "Choose above whose entries stand, then save."
        if blocked:
            st.warning(literal(blocked))
        st.button(
            label,
            key=self._key("save"),
            type="primary",
            width="stretch",
            disabled=bool(blocked),
            on_click=self._on_save,
            args=(state.token, action),
        )

    # Inside

    @property
    def _state(self) -> _State:
        state = st.session_state[self._place]
        assert isinstance(state, _State)
        return state

    def _begun(self, stands: dict[str, str], number: int) -> _State:
        draft = draft_of(self._book, self._draft)
        if draft is None:
            return _State(number, stands)
        return _State(
            expected=draft["expected"],
            base={**stands, **draft["base"]},
            entries=draft["entries"],
            token=draft["token"],
            restored=True,
        )

    def _key(self, name: str) -> str:
        return f"{self._page}-{self._state.token[:12]}-{name}"

    def _seeded(self, name: str) -> str:
        key = self._key(name)
        if key not in st.session_state:
            st.session_state[key] = self.value(name)
        return key

    def _offered(self, name: str, options: Sequence[str]) -> list[str]:
        held = self.value(name)
        return list(dict.fromkeys([UNSAID, *options, held]))

    def _watched(self, name: str) -> dict[str, Any]:
        return {"on_change": self._on_left, "args": (self._state.token, name)}

    def _after(self, name: str) -> str:
        self._drawn.append(name)
        problem = self._state.problems.get(name)
        if problem:
            st.error(literal(problem))
        return self.value(name)

    def _on_left(self, token: str, name: str) -> None:
        state = self._state
        if token == state.token:  # else it was saved in the same moment
            self._note(name)
            self._keep()

    def _note(self, name: str) -> None:
        state, key = self._state, self._key(name)
        if key not in st.session_state:
            return
        typed = st.session_state[key] or UNSAID
        if typed == state.base.get(name, UNSAID):
            state.entries.pop(name, None)
        else:
            state.entries[name] = typed

    def _keep(self) -> None:
        state = self._state
        if self._person.role not in WRITERS:
            return
        try:
            if state.entries:
                base = {name: state.base.get(name, UNSAID) for name in state.entries}
                body = {
                    "token": state.token,
                    "expected": state.expected,
                    "base": base,
                    "entries": state.entries,
                }
                keep_draft(self._book, self._draft, body, by=self._person)
            else:
                drop_draft(self._book, self._draft, by=self._person)
            state.unkept = ""
        except StaysfixedError as error:
            state.unkept = str(error)

    def _discard(self) -> None:
        state = self._state
        state.entries = {}
        self._keep()
        del st.session_state[self._place]

    def _on_save(self, token: str, action: Action) -> None:
        state = self._state
        if token != state.token:
            return
        for name in self._drawn:
            self._note(name)
        state.problems, state.refusal = {}, ""
        try:
            said = action(self._sent())
        except EntryError as error:
            for name, _, problem, remedy in error.problems:
                state.problems[name] = f"{problem[:1].upper()}{problem[1:]}: {remedy}."
        except ChangedMeanwhile:
            state.refusal = "Not saved: someone else saved this meanwhile. Your entries are kept."
        except StaysfixedError as error:
            state.refusal = str(error)
        else:
            state.entries = {}
            self._keep()
            # The base is read anew: the save may have changed more than the form's fields.
            st.session_state[self._place] = _State(-1, {}, said=said)
        self._keep_if_refused(token)

    def _keep_if_refused(self, token: str) -> None:
        if self._state.token == token:
            self._keep()

    def _sent(self) -> Sent:
        state = self._state
        fields = {**state.base, **state.entries}
        body = json.dumps([state.token, state.expected, state.entries], sort_keys=True)
        token = hashlib.sha256(body.encode()).hexdigest()[:32]
        return Sent(dict(state.entries), fields, state.expected, token)

    def _take_news(
        self, stands: dict[str, str], number: int, news: Callable[[int], Iterable[str]]
    ) -> None:
        """Take up what others saved: theirs where this person entered nothing, else a clash."""
        state = self._state
        if state.expected >= 0:
            self._news = list(news(state.expected))
        if state.entries:  # else there is nothing of this person's to weigh them against
            state.news += self._news
        for name in {**state.base, **stands}:
            now = stands.get(name, UNSAID)
            if now == state.base.get(name, UNSAID):
                continue
            if name in state.entries and state.entries[name] != now:
                state.theirs[name] = now
                continue
            state.entries.pop(name, None)
            state.theirs.pop(name, None)
            st.session_state[self._key(name)] = now
        state.base, state.expected = stands, number

    def _clash(self, name: str) -> None:
        state = self._state
        mine, theirs = state.entries.get(name, UNSAID), state.theirs[name]
        st.warning(
            literal(
                f"{_heading(name)}: you entered '{mine}', meanwhile "
                f"'{theirs or UNSAID_WORDS}' was saved."
            )
        )
        left, right = st.columns(2)
        left.button(
            "Mine stands",
            key=self._key(f"mine-{name}"),
            on_click=self._settle,
            args=(name, mine),
            width="stretch",
        )
        right.button(
            "Theirs stands",
            key=self._key(f"theirs-{name}"),
            on_click=self._settle,
            args=(name, theirs),
            width="stretch",
        )

    def _settle(self, name: str, value: str) -> None:
        self._state.theirs.pop(name, None)
        self._state.refusal = ""
        st.session_state[self._key(name)] = value
        self._note(name)
        self._keep()
