"""How to read the page, and what to mind when filming and showing it."""

from __future__ import annotations

GUIDE = (
    "Boards count from the bowling hand's edge: a right-hander's board 1 lies at the right, board 20 is the middle, "
    "the second arrow stands on board 10. Distances are feet past the foul line, to the ball's centre. "
    "Angles are against the boards: launch toward the hand's gutter, entry toward the pocket.",
    "Every number has its standard uncertainty after the \u00b1. On rendered clips with known truth about 19 of 20 "
    "true values lie within two of them; no real lane with measuring equipment has been compared so far. Where "
    "two shots differ by less than two or three of their uncertainties, the clips do not tell them apart.",
    "A dash means that this number does not exist in this shot or that the clip does not show it: the reason "
    "appears when the pointer rests on it, and is read out by screen readers. It is no zero.",
    "The breakpoint is the point farthest toward the gutter. It is not where the oil ends; that is read from all "
    "shots together and stands under the lane.",
    "A move such as 2-1 left is feet first, then target, both in boards, from the line last thrown with that ball.",
    "The line-up is worked out on many lanes that would explain these shots. Its chances hold for throws that "
    "scatter like those measured, and for the pocket window named with it. A tie is a tie: comfort and a repeat "
    "settle it.",
)
FILMING = (
    "Film only where the centre allows it and with the consent of everyone in view, of a guardian for minors; ask "
    "again before you show or send this page. Local law comes first.",
    "This page shows lanes, pins and numbers; the clips, lane.png and marked-up videos can show people.",
)
COMPARE_GUIDE = (
    "Means of the shots at a full rack, earlier session first; a difference is the later less the earlier. The "
    "interval holds how throws scatter and what a camera may get wrong in all shots of a session, which more shots "
    "do not mend.",
    "Many numbers are compared at once. A star marks those that are told apart with that in mind: of all that bear "
    "one, at most one in twenty is expected to be wrong. With fewer than three shots a side nothing is starred. No "
    "star means that these shots do not show a difference, not that there is none.",
    "What differs may come from the bowler, another line, the oil of another day or lane, a ball's surface, or "
    "where the phone stood. The clips do not tell which of these it was.",
    "Boards count from the bowling hand's edge; angles are against the boards: launch toward the hand's gutter, "
    "entry toward the pocket.",
)
