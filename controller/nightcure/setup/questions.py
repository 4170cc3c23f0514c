"""Questions to a person: each may be answered by an option, by a line, or by its default."""

from __future__ import annotations

import getpass
import select
import sys
from collections.abc import Callable
from typing import TypeVar

from rich.console import Console

from ..errors import BadInput
from .passphrase import hashed

T = TypeVar("T")


class Stopped(Exception):
    """The person ended it; nothing was done."""


class Asker:
    """Asks on `console`, reads standard input.

    At a terminal a wrong answer is told and asked again. Where standard input is none, a line is
    one answer, and a wrong one ends it: the lines after it would answer other questions.

    Args:
        yes: take the defaults that are safe instead of asking.
    """

    def __init__(self, console: Console, yes: bool = False) -> None:
        self.console = console
        self.yes = yes
        self.terminal = sys.stdin.isatty()

    def say(self, text: str = "") -> None:
        """A line for the person."""
        self.console.print(text, highlight=False, markup=False)

    def explain(self, text: str) -> None:
        """What helps to answer the next question; nothing where none is asked."""
        if not self.yes:
            self.say(text)

    def ask(
        self,
        option: str,
        question: str,
        parse: Callable[[str], T],
        given: str | None = None,
        default: str | None = None,
        safe: bool = True,
    ) -> T:
        """One answer.

        Args:
            option: its name without the dashes, for sentences; empty where there is none.
            parse: the answer's meaning; raises ValueError with a sentence for a wrong one.
            given: what the option says, if it was given.
            default: for an empty answer; None where there must be one.
            safe: `--yes` may take the default.

        Raises:
            BadInput: the option or line is wrong, or there is none.
            Stopped: the person ended the input.
        """
        if given is not None:
            try:
                return parse(given.strip())
            except ValueError as error:
                raise BadInput(f"--{option}: {error}") from None
        if self.yes:
            if default is None or not safe:
                raise BadInput(f"--yes has no safe answer to '{question}'; give --{option} too.")
            return parse(default)
        while True:
            answer = self._line(question, default, option) or default
            if answer is None:
                problem = "it needs an answer."
            else:
                try:
                    return parse(answer)
                except ValueError as error:
                    problem = str(error)
            if not self.terminal:
                raise BadInput(f"'{question}': {problem}")
            self.say(f"  {problem}")

    def yes_no(
        self,
        option: str,
        question: str,
        given: bool | None = None,
        default: bool = True,
        safe: bool = True,
    ) -> bool:
        """A yes or a no."""
        told = None if given is None else ("y" if given else "n")
        question = f"{question} (y/n)"
        return self.ask(option, question, _yes_no, told, "y" if default else "n", safe)

    def secret(self, question: str) -> str:
        """A hidden line."""
        if not self.terminal:
            return self._line(question, None, "passphrase-file")
        try:
            return getpass.getpass(f"{question}: ", stream=None)
        except EOFError:
            raise Stopped from None

    def new_passphrase(self, may_be_none: bool) -> str | None:
        """The hash of a passphrase typed twice; None for an empty one where that is allowed."""
        while True:
            first = self.secret("Passphrase" + (" (empty: none)" if may_be_none else ""))
            if not first and may_be_none:
                return None
            try:
                found = hashed(first, "The passphrase")
                if self.secret("The same again") == first:
                    return found
                problem = "The two are not the same."
            except BadInput as error:
                problem = str(error)
            if not self.terminal:
                raise BadInput(problem)
            self.say(f"  {problem}")

    def pressed_enter(self, within_s: float) -> bool:
        """Wait so long; whether the person pressed Enter meanwhile (at a terminal only)."""
        if not self.terminal:
            select.select([], [], [], within_s)
            return False
        ready, _, _ = select.select([sys.stdin], [], [], within_s)
        if ready and not sys.stdin.readline():
            raise Stopped
        return bool(ready)

    def _line(self, question: str, default: str | None, option: str) -> str:
        hint = "" if default is None else f" [{default}]"
        self.console.print(f"{question}{hint}: ", end="", highlight=False, markup=False)
        line = sys.stdin.readline()
        if not line:
            self.say()
            if self.terminal:
                raise Stopped
            more = f" or the option --{option}" if option else ""
            raise BadInput(f"The answers end before '{question}'; add a line{more}.")
        if not self.terminal:
            self.say()
        return line.strip()


def _yes_no(text: str) -> bool:
    word = text.lower()
    if word in ("y", "yes"):
        return True
    if word in ("n", "no"):
        return False
    raise ValueError(f"'{text}' is neither y nor n.")


def one_of(*words: str) -> Callable[[str], str]:
    """A parser for one of several words, or the beginning of just one."""

    def parse(text: str) -> str:
        found = [word for word in words if text and word.startswith(text.lower())]
        if len(found) == 1 or text.lower() in words:
            return text.lower() if text.lower() in words else found[0]
        raise ValueError(f"'{text}' is not one of {', '.join(words)}.")

    return parse


def number(least: float, most: float, unit: str) -> Callable[[str], float]:
    """A parser for a number with its range; its unit may be typed behind it."""

    def parse(text: str) -> float:
        plain = text.lower().removesuffix(unit.lower()).strip().replace(",", ".")
        try:
            value = float(plain)
        except ValueError:
            raise ValueError(f"'{text}' is not a number of {unit}.") from None
        if not least <= value <= most:
            raise ValueError(f"{text} is out of range; it should be {least:g} to {most:g} {unit}.")
        return value

    return parse


def plain_text(longest: int) -> Callable[[str], str]:
    """A parser for a name: some text, no control characters."""

    def parse(text: str) -> str:
        if not text.isprintable() or not text.strip():
            raise ValueError("it should be text that can be printed, and not empty.")
        if len(text) > longest:
            raise ValueError(f"it has {len(text)} characters; at most {longest} fit.")
        return text.strip()

    return parse
