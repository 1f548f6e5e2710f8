"""What does a person see who opens the link of a message: the alarm, how it stands, and one big button?"""

from __future__ import annotations

from html import escape
from http import HTTPStatus
from typing import NamedTuple

from daemon.replies.subject import Standing, Subject
from rules.local_time import Zone

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


def alarm_page(subject: Subject, place: str, zone: Zone) -> Page:
    """How the alarm of a message stands; the button only where it waits for somebody."""
    sending = subject.sending
    since = f"{zone.moment(subject.since):%H:%M, %a %d %b}"
    at = f"{zone.moment(subject.at):%H:%M}"
    heading = f"<h1>{escape(sending.title)}</h1>\n<p>{escape(sending.body)}</p>"
    standing = {
        Standing.WAITING: f'<p><span class="mark">&#9650; {escape(sending.priority)}</span> since {since}; '
        "nobody has said yet that they have seen it.</p>\n"
        '<form method="post"><button type="submit">I have seen it</button></form>\n'
        '<p class="soft">Then nobody else is called for this alarm. It mends nothing.</p>',
        Standing.NOTED: "<p><strong>&#10003; Noted.</strong> Nobody else is called for this alarm.</p>",
        Standing.SEEN: f"<p><strong>&#10003; Seen</strong> at {at} {escape(subject.why)}.</p>",
        Standing.OVER: f"<p><strong>It is over</strong> since {at}. There is nothing to do here.</p>",
        Standing.SET_ASIDE: f"<p><strong>It is set aside</strong> since {at}: {escape(subject.why)}.</p>",
        Standing.NEWER: "<p><strong>It has come back since.</strong> Answer the newer message instead.</p>",
        Standing.UNKNOWN: "<p>The log holds no alarm for this message any more.</p>",
    }[subject.standing]
    gone = subject.standing in (Standing.NEWER, Standing.UNKNOWN)
    return _page(HTTPStatus.GONE if gone else HTTPStatus.OK, sending.title, f"{heading}\n{standing}", place)


def expired_page(place: str) -> Page:
    """A link that was right and is too old."""
    text = (
        "<h1>This link is too old</h1>\n<p>Links work for a while only. Answer a newer message, or "
        "acknowledge at the daemon: <code>tidebed ack</code>.</p>"
    )
    return _page(HTTPStatus.GONE, "This link is too old", text, place)


def refused_page(status: HTTPStatus) -> Page:
    """Anything else; it tells nothing of the place."""
    return _page(status, "Nothing here", f"<h1>Nothing here</h1>\n<p>{escape(status.phrase)}.</p>", "")


def _page(status: HTTPStatus, title: str, content: str, place: str) -> Page:
    foot = f'\n<p class="soft">{escape(place)}</p>' if place else ""
    return Page(
        status,
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="robots" content="noindex, nofollow">\n'
        f"<style>{STYLE}</style>\n</head>\n<body>\n<main>\n{content}{foot}\n</main>\n</body>\n</html>\n",
    )
