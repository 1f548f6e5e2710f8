"""How are a test's settings made in tests? As the site file makes them."""

from __future__ import annotations

from typing import Any, TypeVar

from rules.quality.settings import QualitySettings

S = TypeVar("S", bound=QualitySettings)


def made(settings: type[S], **keys: Any) -> S:
    """Settings from plain values: numbers, texts with units, durations with theirs."""
    return settings.model_validate(keys)
