"""Names short enough for a handheld GPS: unlike each other, and still telling.

Pure text. A name that fits stays as it is. Of a longer one, every word keeps
its beginning and a number at the end stays whole ("Kullen 3" becomes
``KULLE3``); trade words that stand alone become their usual letters ("Tack 1"
``T1``, "Mark 4" ``MK4``). Which letters are usual is common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import count, product
from typing import Protocol, cast

from goosewing.errors import InputError

DIGITS = "0123456789"

# What compatibility decomposition does not turn into a letter with an accent.
# æ keeps both its letters; å, ä, ö, ø and ü become the letter they are built on,
# which is one letter shorter than aa, ae, oe and ue: it matters where six are all.
_LETTERS = str.maketrans(
    {
        "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O", "ß": "ss", "ẞ": "SS",
        "ð": "d", "Ð": "D", "đ": "d", "Đ": "D", "þ": "th", "Þ": "Th", "ł": "l", "Ł": "L",
        "ı": "i", "ħ": "h", "Ħ": "H", "ŋ": "n", "Ŋ": "N",
        "–": "-", "—": "-", "‘": "'", "’": "'", "“": '"', "”": '"', "×": "x", "°": "", "′": "'",
        "″": '"',
    }
)  # fmt: skip

_TRADE_WORDS: Mapping[str, str] = {
    "tack": "T",
    "gybe": "G",
    "pole": "P",
    "set pole": "P",
    "strike pole": "P",
    "sail change": "C",
    "engine": "E",
    "course change": "A",
    "mark": "MK",
    "waypoint": "WP",
    "route": "R",
    "track": "TR",
}

_SMALL_WORDS = frozenset({"a", "and", "the", "of", "to", "til", "till", "und", "och", "og"})

_MOST_WORDS = 3


class _Transliterator(Protocol):
    def __call__(self, text: str) -> str: ...


@cache
def _other_scripts() -> _Transliterator | None:
    try:
        from anyascii import anyascii
    except ImportError:
        return None
    return cast("_Transliterator", anyascii)


def knows_other_scripts() -> bool:
    """Whether the package for other scripts (extra ``handheld``) is installed."""
    return _other_scripts() is not None


def to_ascii(text: str) -> str:
    """Write text in printable ASCII, as near to the original as can be.

    Letters that other scripts alone have need the extra ``handheld``; without
    it they are dropped.

    Examples
    --------
    >>> to_ascii("Læsø Rende – Ängö, 57°")
    'Laeso Rende - Ango, 57'
    """
    plain = "".join(_ascii_of(each) for each in unicodedata.normalize("NFC", text))
    return "".join(each if each.isprintable() else " " for each in plain if each.isascii())


def _ascii_of(letter: str) -> str:
    if letter.isascii():
        return letter
    spelled = letter.translate(_LETTERS)
    if spelled != letter:
        return spelled
    built_on = unicodedata.normalize("NFKD", letter)
    bare = "".join(each for each in built_on if not unicodedata.combining(each))
    if bare.isascii():
        return bare
    other = _other_scripts()
    return other(letter) if other else " "


def expand_charset(text: str) -> str:
    """Return the characters of a set written with ranges, each once.

    Parameters
    ----------
    text : str
        Such as ``A-Z0-9``; a hyphen that stands first or last is itself.

    Raises
    ------
    InputError
        If it holds fewer than two characters, one that can't be printed, or a
        range that runs backwards.

    Examples
    --------
    >>> expand_charset("A-F0-3-")
    'ABCDEF0123-'
    """
    found: dict[str, None] = {}
    for part in re.findall(r".-.|.", text, re.DOTALL):
        first, last = (part[0], part[-1]) if len(part) == 3 else (part, part)
        if first > last:
            raise InputError(f"the range {part} in the character set {text!r} runs backwards")
        found.update(dict.fromkeys(chr(code) for code in range(ord(first), ord(last) + 1)))
    unfit = [each for each in found if not each.isprintable() or unicodedata.combining(each)]
    if unfit:
        raise InputError(f"the character set holds {unfit[0]!r}, which can't be printed")
    if len({each.casefold() for each in found if each != " "}) < 2:
        raise InputError(
            f"a character set needs two or more characters, such as A-Z0-9, got {text!r}"
        )
    return "".join(found)


def in_charset(text: str, charset: str) -> list[str]:
    """Return the words of a text in the characters of a set; what has none is left out.

    Examples
    --------
    >>> in_charset("St. Anna's skär", "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    ['ST', 'ANNAS', 'SKAR']
    """
    allowed = frozenset(charset)
    text = re.sub(r"['’`´]", "", unicodedata.normalize("NFC", text))
    spelled = "".join(_spelled(each, allowed) for each in text)
    return spelled.split()


def _spelled(letter: str, allowed: frozenset[str]) -> str:
    for each in (letter, letter.upper(), letter.lower()):
        if each and all(part in allowed for part in each):
            return each
    if letter.isascii():
        return " "
    # An accent, or a sign that has no letters, is no break between words.
    plain = to_ascii(letter)
    return "".join(_spelled(each, allowed) for each in plain) if plain.strip() else plain


class ShortNames:
    """Gives short names, each once, whatever the case of letters.

    Parameters
    ----------
    length : int
        Most characters in a name.
    charset : str
        The characters a name may hold, written out.
    stem : str
        What nameless points are called, with a number.
    """

    def __init__(self, *, length: int, charset: str, stem: str = "WP") -> None:
        self.length = length
        self.charset = charset
        self.stem = stem
        self._joint = " " if " " in charset else ""
        self._taken: set[str] = set()
        self._numbers: dict[str, Iterator[str]] = {}

    def give(self, names: Sequence[str | None]) -> tuple[str, ...]:
        """Give each of `names` a short one; those that fit as they are have theirs first.

        Raises
        ------
        InputError
            If there are more names than the length and the characters allow.
        """
        given: list[str | None] = [name if self._free_and_fit(name) else None for name in names]
        for at, name in enumerate(names):
            if given[at] is None:
                given[at] = self._unlike(self._brief(name or ""))
        return tuple(each for each in given if each is not None)

    def _free_and_fit(self, name: str | None) -> bool:
        if not name or not fits(name, self.length, self.charset):
            return False
        if name.casefold() in self._taken:
            return False
        self._taken.add(name.casefold())
        return True

    def _brief(self, name: str) -> str:
        words = re.sub(r"[\W_]+", " ", to_ascii(name)).strip().casefold()
        trade = re.fullmatch(r"(\D+?) ?(\d*)", words)
        if trade and trade[1] in _TRADE_WORDS:
            letters = self._joined(in_charset(_TRADE_WORDS[trade[1]], self.charset))
            number = "".join(in_charset(trade[2], self.charset))
            return self._with_tail(letters, number)
        return self._shortened(in_charset(name, self.charset))

    def _shortened(self, words: list[str]) -> str:
        whole = self._joined(words)
        if len(whole) <= self.length:
            return whole
        telling = [each for each in words if each.casefold() not in _SMALL_WORDS] or words
        letters, number = _number_apart(telling)
        room = self.length - len(number)
        if room <= 0 or not letters:
            return whole[-self.length :].strip()
        kept = letters[:_MOST_WORDS]
        joints = len(self._joint) * (len(kept) - 1)
        if room - joints < len(kept):
            kept, joints = kept[:1], 0
        return self._joined(_fairly_cut(kept, room - joints)) + number

    def _joined(self, words: Sequence[str]) -> str:
        return self._joint.join(words)

    def _with_tail(self, letters: str, tail: str) -> str:
        return (letters[: max(self.length - len(tail), 0)] + tail)[-self.length :].strip()

    def _unlike(self, name: str) -> str:
        if name and name.casefold() not in self._taken:
            self._taken.add(name.casefold())
            return name
        stem = name or "".join(in_charset(self.stem, self.charset))
        if stem not in self._numbers:
            self._numbers[stem] = self._tails(stem, starting_at=2 if name else 1)
        for tail in self._numbers[stem]:
            candidate = self._with_tail(stem, tail)
            if candidate.casefold() not in self._taken:
                self._taken.add(candidate.casefold())
                return candidate
        raise InputError(
            f"cannot make that many different names of {self.length} characters; "
            "allow longer names or more characters"
        )

    def _tails(self, stem: str, *, starting_at: int) -> Iterator[str]:
        # A digit behind a number would make another number: T1 becomes T1B, not T12.
        if set(DIGITS) <= set(self.charset) and not stem[-1:].isdigit():
            for number in count(starting_at):
                if len(str(number)) > self.length:
                    break
                yield str(number)
        signs = {each.casefold(): each for each in self.charset if each != " "}
        ordered = sorted(signs.values(), key=lambda each: each.isdigit())
        for width in range(1, self.length + 1):
            for letters in product(ordered, repeat=width):
                if letters != ("A",):
                    yield "".join(letters)


def fits(name: str, length: int, charset: str) -> bool:
    """Whether a receiver takes a name as it is."""
    return 0 < len(name) <= length and set(name) <= set(charset) and name == name.strip()


def _number_apart(words: list[str]) -> tuple[list[str], str]:
    match = re.fullmatch(r"(.*?)([0-9]+)", words[-1]) if words else None
    if not match:
        return words, ""
    letters = words[:-1] + ([match[1]] if match[1] else [])
    return letters, match[2]


def _fairly_cut(words: Sequence[str], room: int) -> list[str]:
    """Cut words to `room` letters in all: what a short word leaves, longer ones get."""
    shares = [0] * len(words)
    for _ in range(min(room, sum(map(len, words)))):
        hungry = [at for at, word in enumerate(words) if shares[at] < len(word)]
        shares[min(hungry, key=lambda at: shares[at])] += 1
    return [word[:share] for word, share in zip(words, shares, strict=True)]
