"""The reader's language: one catalogue for everything that is said, and the decimal mark that goes with it.

Whatever a person reads goes through `said`, `counted` or `numeral`; what a machine reads (CSV, keys of JSON,
run files) does not. The language is one for the whole process and is set once, before anything is said.
"""

from __future__ import annotations

import gettext
import os
import string
from collections.abc import Callable, Mapping
from pathlib import Path

from analysis import counted, marked, numeral, said

__all__ = [
    "ENGLISH",
    "counted",
    "decimal_mark",
    "language",
    "languages",
    "marked",
    "numeral",
    "readers_language",
    "said",
    "source_words",
    "use_language",
    "use_speaker",
]

ENGLISH = "en"
_DOMAIN = "clepsydra"
_CATALOGUES = Path(__file__).parent / "languages"
_LOCALE_VARIABLES = ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")


class _Numbers(string.Formatter):
    """`str.format` whose numbers take a decimal mark of their own."""

    def __init__(self, mark: str) -> None:
        self._mark = mark

    def format_field(self, value: object, format_spec: str) -> str:
        text = str(super().format_field(value, format_spec))
        if not isinstance(value, int | float):
            return text
        # Where the comma parts the fraction, a narrow space parts thousands (ISO 80000-1).
        return text.replace(",", "\u202f").replace(".", self._mark)


class Catalogue:
    """Speaks from a gettext catalogue.

    Parameters
    ----------
    translations : gettext.NullTranslations
        The catalogue; the null one leaves English.
    code : str
        Its language, such as "de".
    mark : str
        Decimal mark.
    """

    def __init__(self, translations: gettext.NullTranslations, code: str = ENGLISH, mark: str = ".") -> None:
        self.code = code
        self.mark = mark
        self._translations = translations
        self._filled: Callable[[str, Mapping[str, object]], str] = (
            str.format_map if mark == "." else lambda text, values: _Numbers(mark).vformat(text, (), values)
        )

    def said(self, template: str, values: Mapping[str, object]) -> str:
        """Translate a template and fill in its values."""
        text = self._translations.gettext(template) if template else template
        return self._filled(text, values) if values else text

    def counted(self, one: str, many: str, count: int, values: Mapping[str, object]) -> str:
        """Choose between the forms for a count, translate and fill in."""
        return self._filled(self._translations.ngettext(one, many, count), {"count": count, **values})

    def numeral(self, digits: str) -> str:
        """Write a number that is ready but for the decimal mark."""
        return digits if self.mark == "." else digits.replace(".", self.mark)


_speaker = Catalogue(gettext.NullTranslations())


def source_words(name: str) -> str:
    """
    Say the name of a source of uncertainty.

    The name itself joins a source to the same one of another run and is therefore the same in every language.

    Parameters
    ----------
    name : str
        Such as ``"drop"``, ``"steel rule: scale as read (2)"`` or ``"fall “3”: depth"``; the part before the
        colon is a name of the run's.
    """
    one, bracket, number = name.rpartition(" (")
    if bracket and number.removesuffix(")").isdecimal():
        return f"{source_words(one)} ({number}"
    whole = said(name)
    what, colon, aspect = name.rpartition(": ")
    if whole != name or not colon:
        return whole
    from calibration import rule_words

    what = rule_words(what)
    if what.startswith("fall “") and what.endswith("”"):
        what = said("fall “{name}”", name=what[len("fall “") : -1])
    return f"{what}: {said(aspect)}"


def language() -> str:
    """Give the code of the language that is spoken, such as "en"."""
    return _speaker.code


def decimal_mark() -> str:
    """Give the decimal mark that goes with the language."""
    return _speaker.mark


def languages() -> tuple[str, ...]:
    """List the languages that can be spoken, English first."""
    return (ENGLISH, *sorted(each.parent.parent.name for each in _CATALOGUES.glob("*/LC_MESSAGES/*.mo")))


def readers_language(environment: Mapping[str, str] | None = None) -> str:
    """Find out which of our languages the system's locale asks for.

    Parameters
    ----------
    environment : mapping of str to str, optional
        Environment of the process; None: this one's.

    Returns
    -------
    str
        The first of our languages among what the POSIX variables name (LANGUAGE may name several), or on
        Windows, which sets none of them, among the language of its own menus; else English.
    """
    environment = os.environ if environment is None else environment
    asked = next((environment[name] for name in _LOCALE_VARIABLES if environment.get(name)), "")
    spoken = languages()
    for each in (asked or _language_of_windows()).split(":"):
        code = each.partition(".")[0].partition("_")[0].partition("@")[0].lower()
        if code in spoken or code in ("c", "posix"):
            return code if code in spoken else ENGLISH
    return ENGLISH


def use_language(code: str) -> None:
    """Speak a language from now on, in every package.

    Parameters
    ----------
    code : str
        One of `languages()`.

    Raises
    ------
    ValueError
        There is no such catalogue.
    """
    if code == ENGLISH:
        use_speaker(Catalogue(gettext.NullTranslations()))
        return
    if code not in languages():
        raise ValueError(f"there is no catalogue for {code!r}; there are {', '.join(languages())}")
    translations = gettext.translation(_DOMAIN, _CATALOGUES, [code])
    # The mark is an entry of the catalogue itself, so that a new language needs no change of code.
    use_speaker(Catalogue(translations, code, translations.pgettext("decimal mark", ".")))


def use_speaker(speaker: Catalogue) -> None:
    """Let `speaker` say everything from now on, in every package."""
    global _speaker  # noqa: PLW0603 - the language of a process is one, as its locale is
    was_english = _speaker.code == ENGLISH and type(_speaker) is Catalogue
    stays_english = speaker.code == ENGLISH and type(speaker) is Catalogue
    _speaker = speaker
    if was_english and stays_english:
        return  # the others speak English by themselves; help comes sooner without them
    import analysis
    import calibration

    calibration.speak_by(speaker)
    analysis.speak_by(speaker)


def _language_of_windows() -> str:
    import ctypes
    import locale

    windows = getattr(ctypes, "windll", None)
    if windows is None:
        return ""
    return locale.windows_locale.get(windows.kernel32.GetUserDefaultUILanguage(), "")
