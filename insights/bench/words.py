"""Free text as counts: its words, its pairs of neighbouring words, and how its words are spelled.

Spellings (runs of letters inside a word) let a mistyped or inflected word still be recognised.
E-mail addresses and long numbers (telephones, serials) are left out before anything is counted.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.sparse as sp
from sklearn.feature_extraction.text import CountVectorizer

SPELLING_LENGTHS = (3, 4)
PERSONAL = re.compile(r"\S+@\S+|\+?\d[\d\s()/.-]{5,}\d|\w*\d{5,}\w*")
"""E-mail addresses; seven digits or more with their signs between; five digits in a row."""
_WORD = re.compile(r"\w+")


def words_of(text: str) -> list[str]:
    """Give the words of a text in order, in one case, without addresses and long numbers."""
    return _WORD.findall(PERSONAL.sub(" ", unicodedata.normalize("NFKC", text).casefold()))


@dataclass(frozen=True)
class Counted:
    """Texts as counts.

    Parameters
    ----------
    features
        Whether each feature is in each text, shape (texts, features).
    spellings
        How many different spellings each text has, counted features or not, shape (texts,).
    """

    features: sp.csr_matrix
    spellings: np.ndarray


class Reader:
    """Turns texts into counts of the features found in the texts it was made from.

    Parameters
    ----------
    texts
        The words of each text (:func:`words_of`), at least one with a word.
    """

    def __init__(self, texts: Sequence[Sequence[str]]) -> None:
        words = sorted({word for text in texts for word in text})
        self._terms = CountVectorizer(analyzer=_terms, binary=True).fit(texts)
        self._spelling = CountVectorizer(
            analyzer="char_wb", ngram_range=SPELLING_LENGTHS, lowercase=False
        ).fit(words)
        terms = len(self._terms.vocabulary_)
        self.is_spelling = np.arange(terms + len(self._spelling.vocabulary_)) >= terms

    def read(self, texts: Sequence[Sequence[str]]) -> Counted:
        """Count the features of texts.

        Parameters
        ----------
        texts
            The words of each text.
        """
        spell = self._spelling.build_analyzer()
        place = {word: at for at, word in enumerate({word for text in texts for word in text})}
        spelled = [spell(word) for word in place]
        # Words repeat, so each is spelled once: texts by words, times words by spellings.
        number: dict[str, int] = {}
        of_words = _membership(
            [[number.setdefault(one, len(number)) for one in some] for some in spelled]
        )
        of_texts = _membership([[place[word] for word in text] for text in texts], len(place))
        held = (of_texts @ of_words).tocsr()
        known = self._spelling.vocabulary_
        pick = [(at, known[one]) for one, at in number.items() if one in known]
        kept = sp.csr_matrix(
            (np.ones(len(pick)), ([at for at, _ in pick], [to for _, to in pick])),
            shape=(len(number), len(known)),
        )
        features = sp.hstack([self._terms.transform(texts), held @ kept], format="csr")
        features.data = np.ones(len(features.data))
        return Counted(features, np.diff(held.indptr))


def _terms(words: Sequence[str]) -> list[str]:
    return [*words, *map(" ".join, pairwise(words))]


def _membership(members: Sequence[Sequence[int]], width: int | None = None) -> sp.csr_matrix:
    """Mark which members each row has, shape (rows, width)."""
    ends = np.cumsum([0, *map(len, members)])
    flat = np.fromiter((one for some in members for one in some), dtype=np.int64, count=ends[-1])
    wide = int(flat.max(initial=-1)) + 1 if width is None else width
    return sp.csr_matrix((np.ones(len(flat)), flat, ends), shape=(len(members), wide))
