"""The catalogue: every text that is said stands in it, and every language says it with the same values."""

from __future__ import annotations

import gettext
import importlib.util
import string
import sys
from pathlib import Path
from types import ModuleType

import pytest

import analysis
import calibration
from measure_app import words

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def catalogues() -> ModuleType:
    spec = importlib.util.spec_from_file_location("catalogues", ROOT / ".setup" / "words.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    before = list(sys.path)
    spec.loader.exec_module(module)
    sys.path[:] = before
    return module


def fields(template: str) -> set[str]:
    parts = string.Formatter().parse(template)
    return {name for _, name, _, _ in parts if name and name.isidentifier()}


def test_the_template_holds_every_text_of_the_code(catalogues: ModuleType) -> None:
    assert catalogues.as_po(catalogues.gathered()) == catalogues.TEMPLATE.read_bytes(), (
        "run python .setup/words.py gather"
    )


def test_every_language_is_compiled_as_it_is_written(catalogues: ModuleType) -> None:
    for code in words.languages()[1:]:
        compiled = catalogues.po_of(code).with_suffix(".mo").read_bytes()
        assert compiled == catalogues.as_mo(catalogues.loaded(code)), code


def test_every_language_says_everything(catalogues: ModuleType) -> None:
    for code in words.languages()[1:]:
        assert [each["text"] for each in catalogues.lacks(code)] == [], code


def test_translations_use_the_values_of_their_template(catalogues: ModuleType) -> None:
    for code in words.languages()[1:]:
        for each in catalogues.loaded(code):
            ids = each.id if isinstance(each.id, tuple) else (each.id,)
            says = each.string if isinstance(each.string, tuple) else (each.string,)
            if not each.id or not all(says):
                continue
            for form, one in enumerate(says):
                wanted = fields(ids[min(form, len(ids) - 1)])
                # A language may not need a piece, such as an English plural's "s"; it cannot need another.
                assert fields(one) - {"count"} <= wanted, f"{code}: {each.id!r}"


def test_the_locale_chooses_among_our_languages() -> None:
    assert words.readers_language({"LANG": "de_DE.UTF-8"}) == "de"
    assert words.readers_language({"LANGUAGE": "fr:de:en", "LANG": "en_GB.UTF-8"}) == "de"
    assert words.readers_language({"LC_ALL": "C", "LANG": "de_DE.UTF-8"}) == "en"
    assert words.readers_language({"LANG": "fr_FR.UTF-8"}) == "en"


@pytest.mark.usefixtures("german")
def test_numbers_take_the_mark_of_the_language_and_names_do_not() -> None:
    assert words.said("{value:.2f} of {name}", value=1.5, name="film 1.mp4") == "1,50 of film 1.mp4"
    assert words.numeral("0.971") == "0,971"
    assert words.said("{trials:,} trials, {value:,.1f}", trials=200_000, value=1234.5) == (
        "200\u202f000 trials, 1\u202f234,5"
    )
    assert analysis.with_uncertainty(0.97123, 0.0034) == "0,9712 ± 0,0034"


def test_english_is_spoken_again_after_another_language() -> None:
    words.use_language("de")
    words.use_language("en")
    assert words.said("{value:.2f}", value=1.5) == "1.50"
    assert analysis.with_uncertainty(0.97123, 0.0034) == "0.9712 ± 0.0034"


def test_an_unknown_language_is_refused() -> None:
    with pytest.raises(ValueError, match="there are en, de"):
        words.use_language("tlh")


def test_the_decimal_mark_comes_from_the_catalogue() -> None:
    translations = gettext.translation("clepsydra", ROOT / "measure_app" / "languages", ["de"])
    assert translations.pgettext("decimal mark", ".") == ","


def test_packages_speak_alike() -> None:
    """The two leaves know nothing of each other, so each has its own place for the speaker."""
    assert (ROOT / "analysis" / "words.py").read_text().partition('"""\n')[2] == (
        ROOT / "calibration" / "words.py"
    ).read_text().partition('"""\n')[2]
    assert calibration.speak_by is not analysis.speak_by
