"""The window's language: a person's choice, kept where the recent files are, and Qt's own words with it."""

from __future__ import annotations

from PySide6.QtCore import QLibraryInfo, QLocale, QSettings, QTranslator
from PySide6.QtWidgets import QApplication

from measure_app.words import ENGLISH, language, languages, readers_language, use_language

AS_SYSTEM = ""
"""The choice that leaves the language to the system."""
_KEY = "language"
_OWN_NAMES = {"en": "English", "de": "Deutsch"}


def chosen_language(settings: QSettings) -> str:
    """Return the language that was chosen, or `AS_SYSTEM`; one that is not there any more counts as none."""
    kept = settings.value(_KEY, AS_SYSTEM)
    return kept if isinstance(kept, str) and kept in languages() else AS_SYSTEM


def choose_language(settings: QSettings, code: str) -> None:
    """Keep a choice; it holds from the next start, as everything in sight has been said already."""
    settings.setValue(_KEY, code)


def speak_as_chosen(settings: QSettings) -> None:
    """Speak the language that was chosen, or the system's."""
    use_language(chosen_language(settings) or readers_language())


def own_name(code: str) -> str:
    """Return what a language calls itself, which is how who speaks it finds it."""
    return _OWN_NAMES.get(code) or QLocale(code).nativeLanguageName()


def teach_qt(application: QApplication) -> None:
    """Give Qt's own words (buttons of questions, menus of text fields) the language that is spoken."""
    if language() == ENGLISH:
        return
    locale = QLocale(language())
    QLocale.setDefault(locale)
    translator = QTranslator(application)
    # Qt lacks some languages; its few words stay English then.
    if translator.load(locale, "qtbase", "_", QLibraryInfo.path(QLibraryInfo.LibraryPath.TranslationsPath)):
        application.installTranslator(translator)
