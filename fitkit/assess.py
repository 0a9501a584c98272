"""Every question asked of one placement, with one answer: it fits or it does not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from fitkit.errors import FitkitError
from fitkit.fit._words import listed, move_words, percent
from fitkit.fit.balance_report import BalanceReport, balance_report
from fitkit.fit.brief import Brief, brief_for
from fitkit.fit.donning import DonningReport, donning_report
from fitkit.fit.ease import EaseMap
from fitkit.fit.jaw import JawCheck
from fitkit.fit.jaw_report import JawReport, jaw_report
from fitkit.fit.padding_report import PaddingReport, padding_report
from fitkit.fit.placement import Placement
from fitkit.fit.sight import EyeCheck, Side
from fitkit.fit.sight_report import SightReport, sight_report
from fitkit.fit.size import SizeAnswer, solve_size
from fitkit.fit.uncertainty import Uncertainty, ease_uncertainty
from fitkit.fit.verdict import judge
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import zone_words

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: An eye line this far from its opening's centre is worth a word. [mm]
WORTH_A_WORD_MM = 2.0
#: Most ways out that are said.
SAID_WAYS = 3
#: What is true of every headpiece, whatever the figures say.
GENERAL_CAUTIONS: tuple[str, ...] = (
    "It sizes costumes; it is not protective equipment, and nothing here certifies it "
    "as such.",
    "Sight: whoever wears the piece sees less to the sides and of the floor than they are "
    "used to; walk the route with a guide before a crowd is there.",
    "Stairs, kerbs, traffic and crowds: with a hand to hold, or not at all.",
    "Breath and heat: keep vents open, agree on a time limit and on a sign to stop, and "
    "take the piece off at the first dizziness.",
    "Getting out: the wearer must be able to take it off alone and at once; try it, hands "
    "gloved as in the show.",
    "These are figures from readings by hand. They give way to local rules and to the "
    "advice of qualified people, and to a trial fitting.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Assessment:
    """The answers to every question about one wearer in one placed piece."""

    #: Whether every demand of the brief is met.
    verdict: Literal["fits", "does not fit"]
    #: Demands that are missed, one sentence each, the worst first; empty if it fits.
    reasons: tuple[str, ...]
    #: What to do, in order, as plain sentences.
    changes: tuple[str, ...]
    wearer: Wearer
    piece: Piece
    placement: Placement
    brief: Brief
    ease: EaseMap
    #: First checks of sight by eye, "left" and "right".
    sight: Mapping[Side, EyeCheck]
    jaw: JawCheck
    uncertainty: Uncertainty
    #: How the placement was found; None if it was given.
    size_answer: SizeAnswer | None
    #: Cautions about this fit first, then those that hold for any; never empty.
    cautions: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether the verdict is "fits"."""
        return self.verdict == "fits"

    # The further questions take seconds: each is answered when first asked, by the
    # defaults of the function named, and raises what that function raises.

    @cached_property
    def seen(self) -> SightReport:
        """What the wearer sees (`sight_report`)."""
        return sight_report(self.wearer, self.piece, self.placement)

    @cached_property
    def jaw_moved(self) -> JawReport:
        """How the jaw moves with the wearer's (`jaw_report`)."""
        return jaw_report(self.wearer, self.piece, self.placement)

    @cached_property
    def donned(self) -> DonningReport:
        """How it goes on and comes off (`donning_report`)."""
        return donning_report(self.wearer, self.piece, self.placement)

    @cached_property
    def padded(self) -> PaddingReport:
        """Pads that hold it still (`padding_report`)."""
        return padding_report(self.wearer, self.piece, self.placement)

    @cached_property
    def balanced(self) -> BalanceReport:
        """What it weighs on the neck (`balance_report`), with its pads if any hold it."""
        try:
            pads = self.padded.padding.pads
        except FitkitError:
            pads = ()
        return balance_report(self.wearer, self.piece, self.placement, pads=pads)

    @property
    def master_percent(self) -> float:
        """Size to make the master at, with shrinkage, in percent of the drawn size."""
        return 100.0 * self.placement.mean_size * self.piece.build_up.master_scale


def fit(wearer: Wearer, piece: Piece, brief: Brief | None = None) -> Assessment:
    """
    Find the size and placement for a brief, and assess them.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    brief : Brief, optional
        The default brief, with room for the wearer's glasses, if left out.

    Returns
    -------
    Assessment
        With the solver's answer in `size_answer`.
    """
    brief = brief_for(wearer.record) if brief is None else brief
    answer = solve_size(wearer, piece, brief)
    return _assess(wearer, piece, answer.placement, brief, answer)


def assess(
    wearer: Wearer, piece: Piece, placement: Placement, brief: Brief | None = None
) -> Assessment:
    """
    Assess one placement, wherever it came from.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    brief : Brief, optional
        The default brief, with room for the wearer's glasses, if left out.
    """
    brief = brief_for(wearer.record) if brief is None else brief
    return _assess(wearer, piece, placement, brief, None)


def _assess(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    brief: Brief,
    answer: SizeAnswer | None,
) -> Assessment:
    verdict = judge(wearer, piece, placement, brief)
    gaps, sight, jaw, reasons = verdict.ease, verdict.sight, verdict.jaw, verdict.reasons
    uncertainty = ease_uncertainty(wearer, gaps)
    return Assessment(
        verdict=verdict.verdict,
        reasons=reasons,
        changes=tuple(_changes(piece, placement, answer, reasons, sight, jaw)),
        wearer=wearer,
        piece=piece,
        placement=placement,
        brief=brief,
        ease=gaps,
        sight=sight,
        jaw=jaw,
        uncertainty=uncertainty,
        size_answer=answer,
        cautions=tuple(_cautions(wearer, piece, brief, answer, uncertainty)),
    )


# -- what to do -----------------------------------------------------------------------


def _changes(
    piece: Piece,
    placement: Placement,
    answer: SizeAnswer | None,
    reasons: tuple[str, ...],
    sight: Mapping[Side, EyeCheck],
    jaw: JawCheck,
) -> Iterator[str]:
    if reasons and answer is not None:
        yield from _way_words(answer)
    elif reasons:
        yield "Let the solver look for a size and placement that meet the whole brief."
    else:
        yield _size_words(piece, placement)
        yield _pose_words(placement)
    yield from _sight_words(sight)
    if jaw.has_hinge and jaw.distance_mm > WORTH_A_WORD_MM:
        toward = move_words((0.0, -jaw.offset_front_mm, -jaw.offset_up_mm))
        yield f"If the hinge can still be moved, the chin pole lies {toward} of it."


def _way_words(answer: SizeAnswer) -> Iterator[str]:
    ways = answer.ways_out[:SAID_WAYS]
    for number, way in enumerate(ways):
        yield way.words if number == 0 else f"Or instead: {way.words}"
    if not ways:
        yield (
            "No single change that was tried makes it fit; ask for less, or draw the "
            "piece anew about this head."
        )


def _size_words(piece: Piece, placement: Placement) -> str:
    shrink = piece.build_up.master_scale
    if placement.is_uniform:
        words = f"Make it at {percent(placement.mean_size)} of the drawn size"
    else:
        right, front, up = placement.size
        words = (
            f"Make it at {percent(right)} across, {percent(front)} front to back and "
            f"{percent(up)} in height of the drawn size"
        )
    if shrink > 1.0:
        master = placement.mean_size * shrink
        words += f"; with shrinkage, make the master at {percent(master)}"
    return f"{words}."


def _pose_words(placement: Placement) -> str:
    turns = [
        f"{abs(angle):.1f} degrees {plus if angle > 0 else minus}"
        for angle, plus, minus in (
            (placement.pitch_deg, "chin down", "chin up"),
            (placement.yaw_deg, "to the left", "to the right"),
            (placement.roll_deg, "tilted right", "tilted left"),
        )
        if abs(angle) >= 0.25
    ]
    turned = f", turned {listed(turns)}" if turns else ""
    moved = move_words(placement.shift_mm.tolist())
    return f"Pad it to sit {moved} of where it was drawn{turned}."


def _sight_words(sight: Mapping[Side, EyeCheck]) -> Iterator[str]:
    for side, eye in sight.items():
        off = (eye.correct_right_mm, 0.0, eye.correct_up_mm)
        if eye.opening is not None and max(map(abs, off)) > WORTH_A_WORD_MM:
            yield (
                f"If the {side} eye opening can still be cut elsewhere, its centre belongs "
                f"{move_words(off)}."
            )


def _cautions(
    wearer: Wearer,
    piece: Piece,
    brief: Brief,
    answer: SizeAnswer | None,
    uncertainty: Uncertainty,
) -> Iterator[str]:
    if answer is not None:
        yield from answer.cautions
    sure = uncertainty.interval
    yield (
        f"Tightest at the {zone_words(uncertainty.zone)}: {uncertainty.ease_mm:.1f} mm, "
        f"90 % between {sure.low_mm:.1f} and {sure.high_mm:.1f} mm for heads as likely "
        f"as this one. Of these, {percent(uncertainty.chance, 0)} keep all the ease asked "
        f"for and {percent(uncertainty.chance_clear, 0)} touch nothing."
    )
    if uncertainty.narrowings:
        yield uncertainty.narrowings[0].words
    glasses = wearer.record.glasses
    if glasses is not None:
        eyes = min(brief.ease[f"eye_{side}"].least_mm for side in ("left", "right"))
        if eyes < glasses.depth_mm:
            yield (
                f"The wearer's glasses stand {glasses.depth_mm:g} mm in front of the eyes, "
                f"but only {eyes:g} mm of ease is asked there."
            )
    yield from piece.cautions
    yield from wearer.cautions
    yield from GENERAL_CAUTIONS
