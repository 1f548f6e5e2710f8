"""Does any text whatsoever give either a plan or problems, and never a crash?"""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from daemon.site.load import problems_of, site_from_text
from tests.site_files import SITE

LINES = SITE.splitlines()
VALUES = st.sampled_from(
    ["1", "-1", "0.5", "nan", "inf", "true", '""', '"x"', '"5 min"', '"1e999 degC"', "[]", "{}", "[[]]", '[{ id = 1 }]',
     "1979-05-27", "07:32:00", '"{"', '"{}"', "1e400", '"degC"', '"a" = 1', "9999999999999999999999", '["a", 1]']
)  # fmt: skip
WRITTEN = sorted({line.partition(" =")[0].strip() for line in LINES if " =" in line})
OTHERS = ["while", "during", "limits", "rules", "points", "runway", "quality", "follows", "within", "window", "x"]
KEYS = st.sampled_from([*WRITTEN, *OTHERS])
LISTS = ["[[point]]", "[[rule]]", "[[stage]]", "[[person]]", "[[site]]", "[[adapter.mqtt]]", "[[adapter.mqtt.topics]]"]
TABLES = ["[site]", "[point]", "[rule]", "[adapter]", "[store]", "[adapter.mqtt]", "[adapter.remote_store]", "[x]"]
HEADERS = st.sampled_from([*LISTS, *TABLES])
KINDS = st.sampled_from(
    ["band", "rate", "stopped", "silent", "cycle", "flat", "spread", "ahead", "all_of", "any_of", "at_least", "not"]
)


@st.composite
def spoilt(draw: st.DrawFn) -> str:
    """The right file with a few lines taken out, changed or put in."""
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(lines) - 1))
        change = draw(st.sampled_from(["out", "value", "value", "value", "key", "header", "kind"]))
        if change == "out":
            del lines[at]
        elif change == "value":
            lines[at] = f"{lines[at].partition('=')[0].strip() or 'x'} = {draw(VALUES)}"
        elif change == "key":
            lines.insert(at, f"{draw(KEYS)} = {draw(VALUES)}")
        elif change == "header":
            lines.insert(at, draw(HEADERS))
        else:
            lines = [f'kind = "{draw(KINDS)}"' if line.startswith("kind") else line for line in lines]
    return "\n".join(lines)


@given(st.one_of(spoilt(), st.text(max_size=60)))
def test_any_text_gives_a_plan_or_problems_within_it(text: str) -> None:
    """Each problem says what is wrong and how to mend it, on a line that the text has; else there is a plan."""
    problems = problems_of(text)
    for problem in problems:
        assert problem.what
        assert problem.mend, problem
        assert problem.line is None or 1 <= problem.line <= text.count("\n") + 1
    if not problems:
        assert site_from_text(text, Path("site.toml")).plan.points
