"""Can messages be written in another language, by a file alone?"""

from __future__ import annotations

from pathlib import Path

import pytest

import daemon.texts
from daemon.site.load import load_site
from daemon.texts import languages, texts_in
from rules.errors import SettingError
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.texts import ENGLISH, places, problems_of
from tests.rules.told import ANNA, BEN, high, judged, notices, site
from tests.site_files import SITE

OTHERS = [language for language in languages() if language != "en"]


def test_there_is_english_and_at_least_one_more() -> None:
    """English needs no file."""
    assert languages()[0] == "en"
    assert OTHERS
    assert texts_in("en") == {}


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_says_all_that_is_said(language: str) -> None:
    """Every text, with the same places to fill in; seven days in a week."""
    texts = texts_in(language)
    assert set(texts) == set(ENGLISH)
    assert {name: set(places(text)) for name, text in texts.items()} == {
        name: set(places(text)) for name, text in ENGLISH.items()
    }
    assert len(texts["days"].split()) == 7


@pytest.mark.parametrize("language", OTHERS)
def test_messages_in_it_fit_a_lock_screen(language: str) -> None:
    """A critical alarm with all that can be said, to the next person, its repeat and its end."""
    runway = {"point": "q", "limit": 5, "loss": "2 degC/h", "harm": "Fische in Gefahr sind"}
    plan = site([high("a", runway=runway, do="alle Luft an." * 8)], [ANNA, BEN], texts=texts_in(language))
    events = notices(judged(plan, {"p": {0: 11, 700: 9}, "q": {0: 9}}, 900))
    assert {event.body["purpose"] for event in events} == {"first", "repeat", "next", "recovery"}
    for event in events:
        assert len(event.body["title"]) <= TITLE_SIZE
        assert len(event.body["text"]) <= BODY_SIZE
        assert "{" not in event.body["title"] + event.body["text"]


def test_german_reads_like_german() -> None:
    """Word for word."""
    runway = {"point": "q", "limit": 5, "loss": "2 degC/h", "harm": "Fische in Gefahr sind"}
    rule = high("a", title="Wasser steht", says="Fluss {p}", do="Pumpe prüfen.", runway=runway)
    plan = site([rule], [ANNA, BEN], texts=texts_in("de"), names={"q": "Sauerstoff"})
    found = [(e.body["title"], e.body["text"]) for e in notices(judged(plan, {"p": {0: 11, 700: 9}, "q": {0: 9}}, 900))]
    assert found[0] == (
        "Wasser steht",
        "Fluss 11.0 °C seit 12:00. Sauerstoff 9.0 °C: etwa 2 h bis 5.0, wo Fische in Gefahr sind, "
        "falls es um 2.0 je Stunde fällt. Zuerst: Pumpe prüfen.",
    )
    assert found[-1] == ("Vorbei: Wasser steht", "Um 12:11 wieder in Ordnung, nach 10 min. p: 9.0 °C.")


def test_a_site_speaks_the_language_that_its_file_names_and_the_keepers_own_words_in_it(tmp_path: Path) -> None:
    """What the keeper wrote wins; the rest is the language's."""
    own = '[texts]\n"title.low" = "Zu wenig: {point}"\n'
    file = tmp_path / "site.toml"
    file.write_text(SITE.replace("altitude = 40", 'altitude = 40\nlanguage = "de"', 1) + own, encoding="utf-8")
    texts = load_site(file).plan.texts
    assert texts == {**texts_in("de"), "title.low": "Zu wenig: {point}"}


def test_a_language_that_there_is_not_is_refused_with_those_there_are() -> None:
    """By name."""
    with pytest.raises(SettingError, match=r"no texts in 'xx'; write one of en, de"):
        texts_in("xx")


def test_a_wrong_file_is_refused_by_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With what is wrong in it."""
    monkeypatch.setattr(daemon.texts, "_HERE", tmp_path)
    (tmp_path / "xx.toml").write_text('"title.hihg" = "{point}"\n', encoding="utf-8")
    with pytest.raises(SettingError, match=r"xx\.toml: text 'title\.hihg' is not one that Tidebed says"):
        texts_in("xx")


def test_texts_are_checked_for_names_and_places() -> None:
    """Unknown names, what is no text, and places that nothing fills."""
    assert problems_of({"first": "Zuerst: {do}", "says": "{point}"}) == []
    assert problems_of({"first": "{do"}) == ["text 'first' has a brace that holds no name: {do"]
    assert problems_of({"first": 3}) == ["text 'first' must be text in quotes"]
    assert problems_of({"first": "{don}"}) == ["text 'first': {don} cannot be filled in; there is {do}"]
    assert problems_of({"no_reading": "{x}"}) == ["text 'no_reading': {x} cannot be filled in; there are none"]
