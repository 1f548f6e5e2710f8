"""Can messages be written in another language, by a file alone?"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import daemon.texts
from daemon.main import main
from daemon.selfwatch.plan import watched
from daemon.site.load import load_site
from daemon.texts import languages, texts_in
from rules.errors import SettingError
from rules.messages import BODY_SIZE, TITLE_SIZE
from rules.texts import ENGLISH, Words, places, problems_of
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


LONGEST = {"minutes": 99, "left": 99, "count": 999}
"""What is filled into titles and bodies that are told as they stand."""


@pytest.mark.parametrize("language", languages())
def test_what_is_told_past_the_rules_fits_a_lock_screen(language: str) -> None:
    """That nothing can be watched, and that alarms came and went; whole, with nothing cut off."""
    words = Words(texts_in(language))
    for name in ENGLISH:
        if name.endswith(".title") and not name.startswith("tidebed."):
            assert len(words.say(name, **LONGEST)) <= TITLE_SIZE, name
        if name.endswith(".body"):
            assert len(words.say(name, **LONGEST)) <= BODY_SIZE, name


@pytest.mark.parametrize("language", languages())
def test_the_daemons_own_alarms_fit_a_lock_screen(language: str, tmp_path: Path) -> None:
    """Each with the largest value that makes sense, first and when it comes and goes; whole, in the site's language."""
    file = tmp_path / "site.toml"
    broker = '[adapter.plain]\nkind = "mqtt"\nhost = "h"\ntopics = [{ topic = "a", point = "house.air" }]\n'
    file.write_text(SITE.replace("altitude = 40", f'altitude = 40\nlanguage = "{language}"', 1) + broker, "utf-8")
    plan = watched(load_site(file))
    words = Words(texts_in(language))
    for rule in plan.rules:
        if rule.id.startswith("tidebed."):
            assert rule.title == words.say(f"{rule.id}.title")
            assert len((rule.title or "").replace("{value}", "999.9 °F")) <= TITLE_SIZE, rule.id
            said = " ".join((rule.says or "x" * 40, words.say("since", says="", since="Mon 00:00"), rule.do or ""))
            assert len(said) + 30 <= BODY_SIZE, rule.id
            assert len(words.say("chattering", count=9, within="1 h", advice=rule.advice) + (rule.do or "")) <= 200
    called = {point.name for point in plan.points if point.id.startswith("tidebed.")}
    assert called == {words.say(point.id) for point in plan.points if point.id.startswith("tidebed.")}


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


def test_a_language_file_that_is_no_toml_is_refused_by_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the place."""
    monkeypatch.setattr(daemon.texts, "_HERE", tmp_path)
    (tmp_path / "xx.toml").write_text("first = First: {do}\n", encoding="utf-8")
    with pytest.raises(SettingError, match=r"xx\.toml: .*line 1"):
        texts_in("xx")


def test_a_language_with_missing_texts_speaks_english_there_and_check_names_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Also where the keeper's own words fill a gap."""
    monkeypatch.setattr(daemon.texts, "_HERE", tmp_path)
    whole = {name: text.upper() if "{" not in text else text for name, text in ENGLISH.items()}
    lines = (f"{json.dumps(name)} = {json.dumps(text)}" for name, text in whole.items() if name not in ("yes", "no"))
    (tmp_path / "xx.toml").write_text("\n".join(lines), encoding="utf-8")
    file = tmp_path / "site.toml"
    file.write_text(SITE.replace("altitude = 40", 'altitude = 40\nlanguage = "xx"', 1), encoding="utf-8")
    assert main(["check", str(file)]) == 0
    told = capsys.readouterr().out
    assert "in English, since xx lacks them: yes, no; write them into daemon/texts/xx.toml or [texts]" in told
    words = Words(load_site(file).plan.texts)
    assert (words.say("yes"), words.say("no_reading")) == ("yes", "NO READING")
    file.write_text(file.read_text(encoding="utf-8") + '[texts]\nyes = "ja"\n', encoding="utf-8")
    assert main(["check", str(file)]) == 0
    assert "since xx lacks them: no; write" in capsys.readouterr().out
    file.write_text(SITE.replace("altitude = 40", 'altitude = 40\nlanguage = "en"', 1), encoding="utf-8")
    assert main(["check", str(file)]) == 0
    assert "told in English" not in capsys.readouterr().out


def test_texts_are_checked_for_names_and_places() -> None:
    """Unknown names, what is no text, and places that nothing fills."""
    assert problems_of({"first": "Zuerst: {do}", "says": "{point}"}) == []
    assert problems_of({"first": "{do"}) == ["text 'first' has a brace that holds no name: {do"]
    assert problems_of({"first": 3}) == ["text 'first' must be text in quotes"]
    assert problems_of({"first": "{don}"}) == ["text 'first': {don} cannot be filled in; there is {do}"]
    assert problems_of({"no_reading": "{x}"}) == ["text 'no_reading': {x} cannot be filled in; there are none"]
