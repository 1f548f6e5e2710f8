"""Which topics does a topic filter name, and what stands where its wildcards are (MQTT 5 section 4.7)?"""

from __future__ import annotations

import re

from rules.errors import SettingError

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


class TopicFilter:
    """A topic filter such as `house/+/+` or `house/#`, perhaps shared (`$share/group/house/#`)."""

    __slots__ = ("_match", "text", "wildcards")

    def __init__(self, text: str) -> None:
        """Raises SettingError for text that is no topic filter."""
        self.text = text
        levels = text.split("/")
        if levels[0] == "$share":
            if len(levels) < 3 or not levels[1] or not levels[2] + "".join(levels[3:]):
                raise SettingError(f"topic {text!r}: a shared filter is $share/GROUP/FILTER")
            levels = levels[2:]
        if not text or "\0" in text or len(text.encode("utf-8", "surrogatepass")) > 65535:
            raise SettingError(f"topic {text!r} must have 1 to 65535 bytes and no NUL; write it as the device does")
        pattern = []
        for place, level in enumerate(levels):
            last = place == len(levels) - 1
            # A wildcard at the beginning does not name the broker's own topics ($SYS and the like).
            own = r"(?!\$)" if place == 0 else ""
            if level == "+":
                pattern.append(own + "([^/]*)")
            elif level == "#" and last:
                pattern.append(own + "(.*)")
            elif "+" in level or "#" in level:
                raise SettingError(f"topic {text!r}: + stands for a whole level, and # for all levels at the end")
            else:
                pattern.append(re.escape(level))
        self.wildcards = sum(level in ("+", "#") for level in levels)
        joined = "/".join(pattern)
        if levels[-1] == "#" and len(levels) > 1:
            joined = joined.removesuffix("/(.*)") + "(?:/(.*))?"  # house/# names house too
        self._match = re.compile(joined, re.DOTALL)

    def match(self, topic: str) -> tuple[str, ...] | None:
        """What stands at each wildcard, or None where the filter does not name `topic`."""
        found = self._match.fullmatch(topic)
        return None if found is None else tuple(part or "" for part in found.groups())


class PointTemplate:
    """A point's name with places to fill: `{1}`, `{2}` by the topic's wildcards, `{name}` by a SenML name."""

    __slots__ = ("_parts", "filled", "text")

    def __init__(self, text: str, wildcards: int, *, named: bool = False) -> None:
        """Raises SettingError for a place that nothing fills."""
        self.text = text
        self._parts = _PLACEHOLDER.split(text)  # text, place, text, place, ..., text
        self.filled = frozenset(self._parts[1::2])
        allowed = {str(number) for number in range(1, wildcards + 1)} | ({"name"} if named else set())
        for place in sorted(self.filled - allowed):
            known = ", ".join(f"{{{name}}}" for name in sorted(allowed)) or "none"
            raise SettingError(f"point {text!r}: nothing fills {{{place}}}; places here: {known}")

    def fill(self, wildcards: tuple[str, ...], name: str = "") -> str:
        """The point's name; `/` within a part that `#` took becomes `.`."""
        parts = list(self._parts)
        for place in range(1, len(parts), 2):
            parts[place] = name if parts[place] == "name" else wildcards[int(parts[place]) - 1].replace("/", ".")
        return "".join(parts)
