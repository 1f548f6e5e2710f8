"""On which recordings, and against which labels, is a rule tuned?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from daemon.bench.account import account
from daemon.bench.plotting import labels_beside
from daemon.bench.source import STORE, recorded
from daemon.site.load import Site
from daemon.site.located import nearest
from demo_replay.label_file import read_labels
from demo_replay.labels import Label
from demo_replay.service import in_service
from demo_replay.tuning.engine_sweep import Past, causes_of, explained_spans, points_of
from demo_replay.tuning.heard import heard
from demo_replay.tuning.scores import EARLY, Measure
from demo_replay.tuning.tune import Trial
from demo_replay.tuning.units import Case
from demo_replay.watching import Watching
from rules.errors import SettingError
from rules.events import show_time


@dataclass(frozen=True, slots=True)
class Gathered:
    """cases: one a recording; others: labels of other rules; outside: labels of this rule that lie in no recording;
    remarks: what to tell beside."""

    cases: tuple[Case, ...]
    others: int
    outside: int
    remarks: tuple[str, ...] = field(default=())

    @property
    def events(self) -> int:
        """How many labelled events of the rule there are."""
        return sum(len(case.measure.labels) for case in self.cases)


def gather(
    site: Site,
    trial: Trial,
    names: Sequence[str],
    labels: Path | None,
    *,
    strict: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Gathered:
    """Each recording alone, with the labels that lie in it.

    labels: a file for all recordings; None: `night.labels.csv` beside each `night.csv.gz`. Raises SettingError where a
    recording has no reading of the rule's points, where a label is wrong, and what reading raises.
    """
    given = None if labels is None else _given(site, labels)
    cases: list[Case] = []
    remarks: list[str] = []
    known: list[Label] = list(given or ())
    unlabelled: list[str] = []
    for number, name in enumerate(names):

        def step(done: int, total: int, number: int = number) -> None:
            if progress is not None:
                progress(number * 1000 + round(done / max(total, 1) * 1000), len(names) * 1000)

        beside = labels_beside([name], site.plan.timezone) if given is None else given
        if given is None:
            known += beside
            if not _has_labels(name):
                unlabelled.append(Path(name).name)
        case, told = _case(site, trial, name, beside, strict, step)
        cases.append(case)
        remarks += told
    own = [label for label in known if label.rule == trial.rule.id]
    used = {label for case in cases for label in case.measure.labels}
    if labels is not None and not used:
        raise SettingError(_none_of(labels, trial, known, cases))
    if unlabelled and used:
        remarks.append(f"No labels beside {', '.join(unlabelled)}: every alarm there counts as false")
    return Gathered(tuple(cases), len(known) - len(own), len(set(own) - used), tuple(remarks))


def _given(site: Site, path: Path) -> list[Label]:
    """The labels of a file that a person names; each must be of a rule of the site."""
    found = read_labels(path, site.plan.timezone)
    rules = [rule.id for rule in site.plan.rules]
    for label in found:
        if label.rule not in rules:
            near = nearest(label.rule, rules, kind="rules")
            raise SettingError(f"{path}: the label from {show_time(label.start_ms)} is of rule {label.rule}; {near}")
    return found


def _none_of(path: Path, trial: Trial, known: Sequence[Label], cases: Sequence[Case]) -> str:
    """Why none of the labels of a file is of any use for a rule."""
    own = sorted((label.start_ms, label.end_ms) for label in known if label.rule == trial.rule.id)
    if not own:
        held = ", ".join(sorted({label.rule for label in known})) or "none at all"
        return (
            f"{path} has no label of {trial.rule.id}; it has {held}: mark what was real with `tidebed label`, or leave "
            "--labels out"
        )
    spans = ", ".join(f"{show_time(begin)} to {show_time(end)}" for begin, end in (case.past.span for case in cases))
    return (
        f"{path}: no label of {trial.rule.id} lies in a recording; the first lasts from {show_time(own[0][0])} to "
        f"{show_time(own[0][1])}, the recordings {spans}"
    )


def _has_labels(name: str) -> bool:
    recording = Path(name)
    return name != STORE and recording.with_name(recording.name.partition(".")[0] + ".labels.csv").is_file()


def _case(
    site: Site,
    trial: Trial,
    name: str,
    labels: Sequence[Label],
    strict: bool,
    progress: Callable[[int, int], None],
) -> tuple[Case, list[str]]:
    rule, plan = trial.rule, site.plan
    with recorded(site, [name], strict=strict, progress=progress) as found:
        span = found.span or found.source.span()
        present = [point.id for point in plan.points if point.id in set(found.source.points())]
        service = in_service(plan, present if found.watched is None else found.watched)
        if span is None or rule.id in in_service(plan, present).rules:
            points = sorted(Watching(plan).all_points(rule.id))
            raise SettingError(
                f"{name} has no reading of {' or '.join(points)}, at which {rule.id} looks; leave that recording out"
            )
        wanted = points_of(service.plan, [rule, *causes_of(service.plan, rule)])
        plan, past = heard(service.plan, wanted, Past(found.source, span, tuple(found.acts)))
        told = account(found)
    if rule.id in service.thinned:
        told.append(f"{name}: {rule.id} is judged without {', '.join(service.thinned[rule.id])}")
    inside = tuple(
        label for label in labels if label.rule == rule.id and label.end_ms >= span[0] and label.start_ms <= span[1]
    )
    explained = explained_spans(plan, rule, past)
    return Case(name, plan, past, Measure(inside, _early(trial), *span, explained)), told


def _early(trial: Trial) -> int:
    """How long before an event an alarm counts as its warning; a rule that looks ahead may warn so long before."""
    ahead = getattr(trial.rule, "horizon", 0)
    tried = [int(value) for axis in trial.grid.axes if axis.key == "horizon" for value in axis.exact]
    return max(EARLY, ahead, *tried, 0)
