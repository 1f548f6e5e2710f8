"""Does a reload that is wrong change nothing and say why?"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.service import Service

SITE = """\
[[point]]
id = "tank.a"
quantity = "{quantity}"
"""


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A daemon that does not run yet, for a site whose point measures water temperature."""
    file = tmp_path / "site.toml"
    file.write_text(SITE.format(quantity="water_temperature"), encoding="utf-8")
    made = Service(file)
    yield made
    made.store.close()


@pytest.mark.parametrize(("quantity", "told"), [("ph", "a point id of its own"), ("nonsense", "unknown quantity")])
def test_a_wrong_file_is_not_taken_up(
    service: Service, caplog: pytest.LogCaptureFixture, quantity: str, told: str
) -> None:
    """Neither one that is wrong by itself, nor one that contradicts the history in the store."""
    before = service.site
    service.path.write_text(SITE.format(quantity=quantity), encoding="utf-8")
    with caplog.at_level(logging.ERROR):
        service.reload()
    assert service.site is before
    assert told in caplog.text


def test_a_right_file_is_taken_up(service: Service) -> None:
    """Another unit of the same quantity is no contradiction."""
    service.path.write_text(SITE.format(quantity="water_temperature") + 'unit = "degF"\n', encoding="utf-8")
    service.reload()
    assert service.site.plan.points[0].unit == "degF"
