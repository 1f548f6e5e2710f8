"""What does a person see who opens the link of a message: the alarm, how it stands, and one big button?"""

from __future__ import annotations

from html import escape
from http import HTTPStatus
from typing import NamedTuple

from daemon.replies.subject import Standing, Subject
from rules.local_time import Zone
from rules.texts import Words

STYLE = """
:root { color-scheme: light dark; --ink: #222; --soft: #5c5c5c; --ground: #f4f4f2; --sheet: #fff; --line: #c9c9c5;
  --alarm: #a8200d; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e8e8e4; --soft: #a9a9a4; --ground: #191918; --sheet: #242423; --line: #4a4a47; --alarm: #ff9a86; }
}
* { box-sizing: border-box; }
body { margin: 0; padding: 16px; background: var(--ground); color: var(--ink);
  font: 18px/1.45 system-ui, sans-serif; }
main { max-width: 34rem; margin: 0 auto; padding: 20px; background: var(--sheet); border: 1px solid var(--line);
  border-radius: 6px; overflow-wrap: anywhere; }
h1 { margin: 0 0 12px; font-size: 1.45rem; line-height: 1.25; }
p { margin: 0 0 14px; }
.soft { color: var(--soft); font-size: 0.9rem; }
.mark { color: var(--alarm); font-weight: 700; }
button { display: block; width: 100%; min-height: 88px; margin: 22px 0 10px; border: 0; border-radius: 6px;
  background: var(--ink); color: var(--sheet); font: inherit; font-size: 1.4rem; font-weight: 700; }
button:focus-visible { outline: 4px solid var(--soft); outline-offset: 3px; }
""".strip()
"""Greys for what is ordinary; the one colour marks an alarm that waits for somebody."""


class Page(NamedTuple):
    """An answer to a browser."""

    status: HTTPStatus
    html: str


def alarm_page(subject: Subject, words: Words, place: str, zone: Zone, now: int) -> Page:
    """How the alarm of a message stands at `now` (ms UTC); the button only where it waits for somebody."""
    sending, standing = subject.sending, subject.standing

    def say(text: str, **known: str) -> str:
        return escape(words.say(text, **known))

    heading = f"<h1>{escape(sending.title)}</h1>\n<p>{escape(sending.body)}</p>"
    at = words.clock(zone, subject.at, now)
    if standing is Standing.WAITING:
        mark = f'<span class="mark">&#9650; {say(f"priority.{sending.priority}")}</span>'
        waits = escape(words.say("page.waits", since=words.clock(zone, subject.since, now)))
        told = (
            f"<p>{waits.replace('{priority}', mark)}</p>\n"
            f'<form method="post"><button type="submit">{say("page.button")}</button></form>\n'
            f'<p class="soft">{say("page.then")}</p>'
        )
    elif standing in (Standing.NOTED, Standing.SEEN):
        told = f"<p><strong>&#10003; {say(f'page.{standing}', at=at, who=subject.who)}</strong></p>"
    else:
        told = f"<p><strong>{say(f'page.{standing}', at=at)}</strong></p>"
    gone = standing in (Standing.NEWER, Standing.UNKNOWN)
    return _page(HTTPStatus.GONE if gone else HTTPStatus.OK, sending.title, f"{heading}\n{told}", words, place)


def expired_page(words: Words, place: str) -> Page:
    """A link that was right and is too old."""
    old = words.say("page.old")
    text = f"<h1>{escape(old)}</h1>\n<p>{escape(words.say('page.old.do'))}</p>"
    return _page(HTTPStatus.GONE, old, text, words, place)


def refused_page(status: HTTPStatus, words: Words) -> Page:
    """Anything else; it tells nothing of the place. Who presses while nothing can be written is told so."""
    nothing = words.say("page.busy" if status is HTTPStatus.SERVICE_UNAVAILABLE else "page.nothing")
    return _page(status, nothing, f"<h1>{escape(nothing)}</h1>\n<p>{status.value}</p>", words, "")


def _page(status: HTTPStatus, title: str, content: str, words: Words, place: str) -> Page:
    foot = f'\n<p class="soft">{escape(place)}</p>' if place else ""
    language = escape(words.say("page.language"))
    return Page(
        status,
        f'<!doctype html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="robots" content="noindex, nofollow">\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n<main>\n{content}{foot}\n</main>\n</body>\n</html>\n",
    )
