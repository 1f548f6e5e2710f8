"""What is every report written on? One HTML file that loads nothing from anywhere, for a phone and for paper."""

from __future__ import annotations

from html import escape

_STYLE = """
:root { --ink: #222; --soft: #5f5f5c; --faint: #9a9a96; --ground: #f4f4f2; --sheet: #fff; --line: #d4d4d0;
  --bar: #a9a9a5; --bad: #a8200d; }
* { box-sizing: border-box; }
body { margin: 0; padding: 12px; background: var(--ground); color: var(--ink); font: 16px/1.45 system-ui, sans-serif; }
main { max-width: 44rem; margin: 0 auto; }
h1 { margin: 8px 0 2px; font-size: 1.4rem; }
h2 { margin: 0; font-size: 1.05rem; }
p { margin: 6px 0; }
section { margin: 10px 0; padding: 14px; background: var(--sheet); border: 1px solid var(--line); border-radius: 4px;
  break-inside: avoid; }
section.bad { border-left: 5px solid var(--bad); }
.head { display: flex; flex-wrap: wrap; justify-content: space-between; gap: 2px 16px; align-items: baseline; }
.value { font-size: 1.15rem; font-weight: 700; }
.bad .value { color: var(--bad); }
.soft { color: var(--soft); font-size: 0.88rem; }
table { width: 100%; margin: 8px 0 2px; border-collapse: collapse; font-size: 0.92rem; }
td { padding: 4px 0; border-top: 1px solid var(--line); vertical-align: top; overflow-wrap: anywhere; }
td:first-child { min-width: 5.5em; }
td + td { padding-left: 12px; text-align: right; color: var(--soft); }
td.figure { white-space: nowrap; color: var(--ink); }
.advice { margin-top: 8px; padding-left: 10px; border-left: 3px solid var(--faint); overflow-wrap: anywhere; }
svg { display: block; width: 100%; height: auto; margin-top: 8px; }
svg text { font: 11px system-ui, sans-serif; fill: var(--soft); }
@media print { body { background: #fff; padding: 0; } section { border-color: #bbb; } }
""".strip()


def sheet(title: str, body: str) -> str:
    """The whole file. body: HTML."""
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<style>\n{_STYLE}\n</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )
