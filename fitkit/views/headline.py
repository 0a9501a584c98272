"""The answer in a few figures: the same words in the terminal, the picture, the page."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.assess import Assessment
from fitkit.fit.sight import SIDES, EyeCheck
from fitkit.views.words import UNSEEN_MM, figure
from fitkit.wearer.zones import zone_words


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One figure of a headline."""

    #: What it is.
    title: str
    #: The figure with its unit.
    figure: str
    #: What a reader must know beside it.
    note: str


@dataclass(frozen=True, kw_only=True)
class Headline:
    """What is said first of an assessment."""

    #: "otter on Tamsin".
    title: str
    #: "Fits" or "Does not fit".
    verdict: str
    fits: bool
    #: One sentence below the verdict.
    sentence: str
    answers: tuple[Answer, ...]


def headline(assessment: Assessment) -> Headline:
    """Put an assessment into its verdict, one sentence, and four or five figures."""
    answers = [_size(assessment), _tightest(assessment), _chance(assessment)]
    answers.append(_eye_line(assessment))
    if assessment.jaw.has_hinge:
        answers.append(_hinge(assessment))
    return Headline(
        title=f"{assessment.piece.name} on {assessment.wearer.record.name}",
        verdict="Fits" if assessment.fits else "Does not fit",
        fits=assessment.fits,
        sentence=_sentence(assessment),
        answers=tuple(answers),
    )


def size_words(assessment: Assessment) -> str:
    """Give the size in percent: one figure, or across, front to back and in height."""
    placement = assessment.placement
    if placement.is_uniform:
        return f"{placement.mean_size:.1%}".replace("%", " %")
    return " × ".join(f"{100.0 * factor:.1f}" for factor in placement.size) + " %"


def _sentence(assessment: Assessment) -> str:
    if assessment.fits:
        return "Every demand of the brief is met."
    rest = len(assessment.reasons) - 1
    more = "" if rest == 0 else f" {rest} more demand{'s' * (rest > 1)} missed."
    return assessment.reasons[0] + more


def _size(assessment: Assessment) -> Answer:
    note = "of the drawn size"
    if not assessment.placement.is_uniform:
        note += ": across, front to back, in height"
    shrinkage = assessment.piece.build_up.master_scale
    if shrinkage > 1.0:
        note += f"; master {100.0 * (shrinkage - 1.0):.1f} % larger, for shrinkage"
    return Answer(title="Size", figure=size_words(assessment), note=note)


def _tightest(assessment: Assessment) -> Answer:
    zone, sure = assessment.ease.tightest, assessment.uncertainty.interval
    spare = f"{abs(zone.spare_mm):.1f} mm {'more' if zone.spare_mm >= 0 else 'less'} than"
    if abs(zone.spare_mm) < UNSEEN_MM:
        spare = "just"
    return Answer(
        title="Tightest ease",
        figure=f"{figure(zone.least_mm)} mm",
        note=(
            f"{zone_words(zone.zone)}, {spare} the {zone.wanted_mm:g} mm asked; 90 % "
            f"between {figure(sure.low_mm)} and {figure(sure.high_mm)} mm"
        ),
    )


def _chance(assessment: Assessment) -> Answer:
    sure = assessment.uncertainty
    return Answer(
        title="How sure",
        figure=f"{100.0 * sure.chance_clear:.0f} % clear",
        note=(
            "of heads as likely as this one touch nothing; "
            f"{100.0 * sure.chance:.0f} % keep all the ease asked"
        ),
    )


def _eye_line(assessment: Assessment) -> Answer:
    eyes = [assessment.sight[side] for side in SIDES]
    seen = [eye for eye in eyes if eye.opening is not None]
    words = "; ".join(f"{eye.side} {_eye_words(eye)}" for eye in eyes)
    if not seen:
        return Answer(title="Eye line", figure="no opening", note=words)
    worst = min(seen, key=lambda eye: eye.margin_mm)
    side = "inside" if worst.margin_mm >= 0 else "outside"
    return Answer(
        title="Eye line",
        figure=f"{abs(worst.margin_mm):.1f} mm {side}",
        note=f"straight ahead, to the opening's edge: {words}",
    )


def _eye_words(eye: EyeCheck) -> str:
    if eye.opening is None:
        return "has no opening"
    return f"{abs(eye.margin_mm):.1f} mm {'inside' if eye.margin_mm >= 0 else 'outside'}"


def _hinge(assessment: Assessment) -> Answer:
    allowed = assessment.brief.hinge_tolerance_mm
    note = "from the chin pole" + (
        "" if allowed is None else f"; up to {allowed:g} mm asked"
    )
    distance = f"{assessment.jaw.distance_mm:.1f} mm"
    return Answer(title="Jaw hinge", figure=distance, note=note)
