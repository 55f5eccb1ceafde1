"""Passwords: what is accepted, and how they are kept.

The rules follow the thinking of NIST SP 800-63B-4, section 3.1.1 (from memory): length is what counts, at
least 15 characters where the password is the only factor and at least 64 allowed; no rule about kinds of
characters; no change by calendar; what everybody tries first is refused, with the reason.
"""

from __future__ import annotations

import secrets
import unicodedata
from functools import cached_property
from threading import BoundedSemaphore

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from api.errors import InvalidError

# source: NIST SP 800-63B-4, section 3.1.1.2: single-factor passwords (from memory).
LEAST = 15
# The standard asks for at least 64; hashing a book would only help whoever wants to keep the machine busy.
MOST = 256
# Rule of ours: what is left of a password once names and well-known runs are taken out must still be worth
# guessing, and no password of a few letters repeated is.
LEAST_LEFT = 8
LEAST_DIFFERENT = 5
RUN = 4
ROWS = (
    "abcdefghijklmnopqrstuvwxyz",
    "0123456789012345678901234567890",
    "qwertyuiop",
    "qwertzuiop",
    "azertyuiop",
    "asdfghjkl",
    "zxcvbnm",
    "yxcvbnm",
)
WORDS = ("corrosion", "survey", "mapper", "password", "passphrase", "welcome", "letmein", "secret", "admin")
"""Of this service, and of everybody's first try: common practice, no source."""

# Each takes 64 MiB for as long as it lasts; many sign-ins at once must not take all there is.
AT_ONCE = 2
TELLABLE = "abcdefghjkmnpqrstuvwxyz23456789"


class Passwords:
    """Hashes passwords with argon2id and compares them; slow on purpose, so call it in the thread pool.

    Parameters
    ----------
    hasher : Argon2Hasher, optional
        With pwdlib's recommended costs by default.
    """

    def __init__(self, hasher: Argon2Hasher | None = None) -> None:
        self._hash = PasswordHash((hasher or Argon2Hasher(),))
        self._room = BoundedSemaphore(AT_ONCE)

    def hashed(self, password: str) -> str:
        """Hash a password that `check_password` accepted."""
        with self._room:
            return self._hash.hash(_bytes(password))

    def matches(self, password: str, kept: str | None) -> tuple[bool, str | None]:
        """Compare a password with its hash, taking as long where there is no account.

        Parameters
        ----------
        kept : str or None
            Hash of the account; None where there is no such account.

        Returns
        -------
        bool
            Whether it is the password.
        str or None
            A new hash to keep instead, if the costs were raised since.
        """
        if len(password) > 4 * MOST:
            return False, None
        with self._room:
            ok, renewed = self._hash.verify_and_update(_bytes(password), kept or self._nobody)
        return (ok, renewed) if kept is not None else (False, None)

    @cached_property
    def _nobody(self) -> str:
        return self._hash.hash("the password of nobody")


def generated() -> str:
    """Make a first password to be told to a person: 99 random bits, no letters that look alike."""
    groups = ("".join(secrets.choice(TELLABLE) for _ in range(5)) for _ in range(4))
    return "-".join(groups)


def prepared(password: str) -> str:
    """Write a password in one way however a keyboard composed it (RFC 8265, section 4.2, from memory)."""
    spaced = "".join(" " if unicodedata.category(one) == "Zs" else one for one in password)
    return unicodedata.normalize("NFC", spaced)


def _bytes(password: str) -> bytes:
    # A request may hold half a character pair; that is a wrong password, not a failure of ours.
    return prepared(password).encode("utf-8", "surrogatepass")


def check_password(password: str, *names: str) -> None:
    """Refuse a password that is too short, too long or easily guessed.

    Parameters
    ----------
    *names : str
        What the person is called; guessers try that first.

    Raises
    ------
    InvalidError
        With the rule it breaks; never with the password.
    """
    text = prepared(password)
    problem = ""
    if len(text) < LEAST:
        problem = f"the password has {len(text)} characters; at least {LEAST} are needed."
    elif len(text) > MOST:
        problem = f"the password has {len(text)} characters; at most {MOST} are taken."
    elif any(unicodedata.category(one) in {"Cc", "Cs", "Cn"} for one in text):
        problem = "the password holds a character that cannot be typed again everywhere."
    elif len(set(text.casefold())) < LEAST_DIFFERENT:
        problem = f"the password repeats fewer than {LEAST_DIFFERENT} different characters."
    elif _left(text.casefold(), names) < LEAST_LEFT:
        problem = "the password is little more than a name, a common word or a row of the keyboard."
    if problem:
        raise InvalidError(
            problem,
            place="password",
            remedy="Take a sentence of your own, or a few unrelated words; spaces are welcome.",
        )


def _left(text: str, names: tuple[str, ...]) -> int:
    """Count the characters left once names, common words and runs of the keyboard are taken out."""
    known = {part for name in names for part in name.casefold().split() if len(part) >= 3}
    for word in sorted({*known, *WORDS}, key=len, reverse=True):
        text = text.replace(word, "")
    for row in ROWS:
        for line in (row, row[::-1]):
            for length in range(len(line), RUN - 1, -1):
                for start in range(len(line) - length + 1):
                    text = text.replace(line[start : start + length], "")
    return len(text)
