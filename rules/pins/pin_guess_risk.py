from functools import cache

import pandas as pd

from audit.arithmetic.pin_risk import Odds, odds_of_a_hit, tries_in_a_visit
from audit.contract import Cause, Dataset, Step, rule
from audit.facts.pin_doors import _answer
from rules.pins._shared import door_codes


@rule(
    title="PIN entry open to guessing",
    finds="A door where the chance of hitting any valid PIN in one visit is above the site's"
    " limit. Attempts, lockout and length of visit come from the site's policy.",
    priority="planned",
    upload=True,
    needs={"doors": ("entry",), "pins": ("pin",)},
    uses=(
        "people",
        "cards",
        "dwellings",
        "stations",
        "permissions",
        "door_groups",
        "schedules",
        "calendars",
    ),
    policy=(
        "pin_guess_risk",
        "pin_attempts_before_lockout",
        "pin_lockout_minutes",
        "pin_attack_visit_minutes",
    ),
    subjects=("door",),
    cause=Cause("codes"),
    summary="Door {door}: {tries:1 attempt|% attempts} in one visit would find a valid PIN with a"
    " chance of {chance:percent}; the site accepts {most:percent} ({codes:1 PIN|% PINs} of"
    " {digits:1 digit|% digits} {codes:is|are} valid).",
    evidence=("chance", "most", "codes", "digits", "tries", "entry"),
    do=(
        Step(
            "Use longer PINs, lock the keypad sooner or for longer, or require card and PIN.",
            who="panel technician",
            does="cut",
        ),
    ),
    cites=(
        "the-hypergeometric-distribution",
        "nist-sp-800-63b-revision-3-5-2-2-and-a-4",
        "one-visit-in-a-hundred",
    ),
)
def pin_guess_risk(data: Dataset) -> pd.DataFrame:
    """At a shared door every attempt is tested against all residents' PINs at once.

    Reckoned from the tries that fit into one visit, without repetition, among all codes of
    that length; where lengths differ, the worst length decides.
    """
    doors = guessed_doors(data)
    fails = doors["over"].mask(~doors["over"] & doors["may_be_over"])
    return doors.assign(most=data.policy.pin_guess_risk, fails=fails)


def guessed_doors(data: Dataset) -> pd.DataFrame:
    """Where one of a visitor's tries succeeds with a chance above the site's limit.

    The doors with `codes`, `digits` and `chance` of the worst length, `tries`, `over`, and
    `may_be_over`.
    """
    at, policy = door_codes(data), data.policy
    tries = tries_in_a_visit(
        policy.pin_attempts_before_lockout,
        policy.pin_lockout_minutes,
        policy.pin_attack_visit_minutes,
    )

    @cache
    def odds(digits: int, codes: int) -> Odds:
        return odds_of_a_hit(10**digits, codes, tries)

    def worst(counts: list[int]) -> tuple[Odds, int, int]:
        each = [(odds(d, n), n, d) for d, n in zip(at.lengths, counts, strict=True) if n]
        return max(each, key=lambda e: e[0].chance, default=(Odds(0, 1), 0, 0))

    sure = [worst(counts) for counts in at.sure.tolist()]
    over = [o.exceeds(policy.pin_guess_risk) for o, _, _ in sure]
    may = [worst(counts)[0].exceeds(policy.pin_guess_risk) for counts in at.possible.tolist()]
    return _answer(at, over, may).assign(
        codes=[n for _, n, _ in sure],
        digits=[d for _, _, d in sure],
        chance=[round(o.chance, 6) for o, _, _ in sure],
        tries=tries,
    )
