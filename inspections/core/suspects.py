"""From signs to suspects: which parts are probably bad, given complaints, trouble codes and a rise in fuel use.

Each part k that could cause a sign is bad now with a chance p_k of its own (the judge's). A bad part shows sign s
with chance q_sk; besides, a sign is there without any bad part of the table with a background chance b_s. So

    P(sign s is there | bad parts) = 1 - (1 - b_s) * product over bad parts of (1 - q_sk)          (noisy-or)

(Pearl, "Probabilistic Reasoning in Intelligent Systems", 1988, chapter 4). The answer is exact for any number of bad
parts at once: going through the parts one by one, it keeps the chance of every set of present signs explained so
far, 2^signs numbers, forwards and backwards. All terms are positive, so nothing cancels. Weighing single causes and
pairs alone, the usual shortcut, would make an old vehicle with three bad parts look as if it had two. A sign asked
for and not there is one factor (1 - q_sk) on each part that would show it.

"None of these" is what is left: no part that could cause the signs is bad, and they come from elsewhere. Where the
table and the chances p_k hold, a part suspected with 35 % is bad 35 times in 100.
"""

from dataclasses import dataclass

import numpy as np

from inspections.core.types import BoolArray, FloatArray, IntArray

MOST_SIGNS = 12
"""Of more present signs the rarest are used: 2^12 sets are kept for each part."""

LEAST_BACKGROUND_FRACTION = 1e-3
"""No sign is so sure that it cannot have a cause outside the table."""
SUREST_FRACTION = 0.999

NO_CHECK = -1


@dataclass(frozen=True, slots=True)
class SignTable:
    """What S signs tell of K parts."""

    shows_fraction: FloatArray
    """Chance, shape (S, K), that a bad part shows the sign; 0 where it does not."""
    background_fraction: FloatArray
    """Chance, shape (S,), that the sign is there without any bad part of the table."""


@dataclass(frozen=True, slots=True)
class PartChecks:
    """Checks that could settle a suspicion, arrays of shape (C,)."""

    part: IntArray
    minutes: FloatArray
    finds_fraction: FloatArray
    """Chance that it calls a bad part bad."""
    false_fraction: FloatArray
    """Chance that it calls a good part bad."""


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Suspect parts, most probable first, arrays of shape (R,)."""

    part: IntArray
    chance_fraction: FloatArray
    """Chance that the part is bad, knowing the signs."""
    prior_fraction: FloatArray
    """The same before the signs."""
    explains: BoolArray
    """Which present signs the part could cause, shape (R, S)."""
    none_fraction: float
    """Chance that no suspect is bad: the signs come from elsewhere."""
    check: IntArray
    """The check of the part itself that tells most a minute; NO_CHECK where it has none."""
    bits_per_minute: FloatArray
    """What that check is expected to tell, in bits of entropy a minute."""
    next_check: int
    """Of all suspects' checks the one that tells most a minute; NO_CHECK where there is none."""
    signs_unused: IntArray
    """Present signs that no part explains, or that were too many."""


def suspect_parts(
    prior_fraction: FloatArray,
    table: SignTable,
    present: BoolArray,
    absent: BoolArray,
    checks: PartChecks | None = None,
) -> Suspicion:
    """Parts that could cause the present signs, ranked by the chance that they are bad.

    `prior_fraction` (K,) is each part's chance of being bad before the signs (0 to 1); `present` and `absent` (S,)
    mark the signs that are there, and those looked for and not found; the rest is unknown. `checks` may offer ways
    of telling the suspects apart.
    """
    shows = np.minimum(table.shows_fraction, SUREST_FRACTION)
    used = _signs_used(shows, table.background_fraction, present)
    parts = np.flatnonzero((shows[used] > 0.0).any(axis=0))
    likely = _after_absence(prior_fraction[parts], shows[:, parts][absent])
    background = np.maximum(table.background_fraction[used], LEAST_BACKGROUND_FRACTION)
    chance, none = _chances(likely, shows[np.ix_(used, parts)], background)
    order = np.argsort(-chance, kind="stable")
    part, chance = parts[order], chance[order]
    check, gain, best = _checks_of(part, chance, checks)
    return Suspicion(
        part=part,
        chance_fraction=chance,
        prior_fraction=prior_fraction[part],
        explains=((shows > 0.0) & present[:, None]).T[part],
        none_fraction=none,
        check=check,
        bits_per_minute=gain,
        next_check=best,
        signs_unused=np.setdiff1d(np.flatnonzero(present), used),
    )


def _signs_used(shows: FloatArray, background: FloatArray, present: BoolArray) -> IntArray:
    """Present signs that some part can cause, the rarest `MOST_SIGNS` of them, in the order of the table."""
    signs = np.flatnonzero(present & (shows > 0.0).any(axis=1))
    rarest = np.argsort(background[signs], kind="stable")[:MOST_SIGNS]
    return np.sort(signs[rarest])


def _after_absence(prior: FloatArray, shows_absent: FloatArray) -> FloatArray:
    """Chance that each part is bad, knowing that none of these signs is there (Bayes' rule, part by part)."""
    silent = prior * np.prod(1.0 - shows_absent, axis=0)
    return np.asarray(silent / (silent + 1.0 - prior))


def _chances(likely: FloatArray, shows: FloatArray, background: FloatArray) -> tuple[FloatArray, float]:
    """Chance of each part, shape (R,), and of none, given that every sign of `shows` (S, R) is there."""
    signs = len(background)
    explained = np.zeros(2**signs)
    explained[0] = 1.0
    before = [_explain(explained, background)]
    for chance, shown in zip(likely, shows.T, strict=True):
        before.append((1.0 - chance) * before[-1] + chance * _explain(before[-1], shown))
    total = before.pop()[-1]
    still = np.zeros(2**signs)
    still[-1] = 1.0
    joint = np.zeros(len(likely))
    for row in reversed(range(len(likely))):
        if_bad = _explain_back(still, shows[:, row])
        joint[row] = likely[row] * (if_bad @ before[row])
        still = (1.0 - likely[row]) * still + likely[row] * if_bad
    return np.minimum(joint / total, 1.0), float(np.prod(1.0 - likely) * np.prod(background) / total)


def _explain(chance_of_set: FloatArray, shown: FloatArray) -> FloatArray:
    """Chances of the sets of explained signs, shape (2^S,), after one more cause that shows each sign with `shown`."""
    after = chance_of_set.copy()
    for sign in np.flatnonzero(shown):
        pairs = after.reshape(-1, 2, 2**sign)
        pairs[:, 1] += shown[sign] * pairs[:, 0]
        pairs[:, 0] *= 1.0 - shown[sign]
    return after


def _explain_back(chance_to_finish: FloatArray, shown: FloatArray) -> FloatArray:
    """Chances, from each set, that all is explained in the end, seen from before that cause: the transpose."""
    earlier = chance_to_finish.copy()
    for sign in np.flatnonzero(shown):
        pairs = earlier.reshape(-1, 2, 2**sign)
        pairs[:, 0] += shown[sign] * (pairs[:, 1] - pairs[:, 0])
    return earlier


def _checks_of(part: IntArray, chance: FloatArray, checks: PartChecks | None) -> tuple[IntArray, FloatArray, int]:
    """The best check of each suspect with what it tells a minute, and the best of all."""
    best, gain = np.full(len(part), NO_CHECK, dtype=np.int64), np.zeros(len(part))
    if checks is None:
        return best, gain, NO_CHECK
    for row, suspect in enumerate(part):
        own = np.flatnonzero(checks.part == suspect)
        if len(own):
            told = told_bits(chance[row], checks.finds_fraction[own], checks.false_fraction[own]) / checks.minutes[own]
            best[row], gain[row] = own[np.argmax(told)], told.max()
    return best, gain, int(best[np.argmax(gain)]) if (best != NO_CHECK).any() else NO_CHECK


def told_bits(chance: float, finds_fraction: FloatArray, false_fraction: FloatArray) -> FloatArray:
    """Expected drop of the entropy over all suspects from one check's answer, in bits, for each check (C,).

    The answer depends on the checked part alone, so the drop is their mutual information (Cover & Thomas 2006,
    chapter 2): it needs the chance of that part only, and counts what the answer says of the others too.
    """
    says_bad = chance * finds_fraction + (1.0 - chance) * false_fraction
    unsure = chance * _entropy_bits(finds_fraction) + (1.0 - chance) * _entropy_bits(false_fraction)
    return np.maximum(_entropy_bits(says_bad) - unsure, 0.0)


def _entropy_bits(chance: FloatArray) -> FloatArray:
    """Entropy of a yes with this chance."""
    other = 1.0 - chance
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(-np.nan_to_num(chance * np.log2(chance)) - np.nan_to_num(other * np.log2(other)))
