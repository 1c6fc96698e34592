"""Whether a lock, and a door with its locks, lets people out and in: in three states.

Coded columns (`three`): YES, NO, UNCLEAR; a word that is not recorded is "". Words are data.md's:
*the lock taken*, *a handle*, *switched on the leaf*, *free to leave*, *free to enter*, *lets go*.
A value that is not recorded never makes a door free, and never makes it shut.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from audit.arithmetic.three import NO, UNCLEAR, YES, Bools, Ints, Small

STATES: Final = ("normal", "power-lost", "fire-alarm")
HANDLES: Final = ("lever", "pad", "bar", "thumbturn")
POWERED: Final = ("magnet", "strike", "bolt", "motor")
ASKS: Final = ("card", "pin", "card-or-pin", "card-and-pin")

Words = npt.NDArray[np.object_]


def is_word(column: Words, *words: str) -> Small:
    """Whether each word is one of `words`; UNCLEAR where none is recorded."""
    held = np.isin(column, words)
    verdict: Small = np.where(column == "", UNCLEAR, np.where(held, YES, NO)).astype(np.int8)
    return verdict


def opposite(verdict: Small) -> Small:
    """Its negation."""
    turned: Small = np.subtract(YES, verdict, dtype=np.int8)
    return turned


def all_of(*verdicts: Small) -> Small:
    """Their *and*."""
    least: Small = np.minimum.reduce(verdicts)
    return least


def any_of(*verdicts: Small) -> Small:
    """Their *or*."""
    most: Small = np.maximum.reduce(verdicts)
    return most


def lock_taken(lock: Words, entry: Words) -> Words:
    """The lock as it must be: none at a door under key or closed is a key; where a card or
    PIN is asked, none is not recorded."""
    taken = lock.copy()
    none = lock == "none"
    taken[none & np.isin(entry, ("key", "closed"))] = "key"
    taken[none & (np.isin(entry, ASKS) | (entry == ""))] = ""
    taken[none & (entry == "none")] = "none"
    return taken


@dataclass(frozen=True)
class Locks:
    """Locks as coded columns, a row each: `taken` words, and the verdicts data.md names.

    `powered`: magnet, strike, bolt or motor (a controlled lock); `handle`: opens from inside
    without power; `leaf`: switched on the leaf, in a code that wants no alarm link there;
    `input`: an exit input; `unlocks`: on loss of power; `released`: by the fire alarm; `green`:
    by the manual release where the lock unlocks without power (`manual`: there is one at all).
    """

    taken: Words
    powered: Small
    handle: Small
    leaf: Small
    input: Small
    unlocks: Small
    released: Small
    manual: Small
    green: Small


def locks(
    taken: Words,
    mechanical_exit: Words,
    exit_input: Words,
    power_loss: Words,
    alarm_release: Small,
    emergency_release: Small,
    leaf_counts: bool,
) -> Locks:
    """The locks' verdicts from their words; `leaf_counts`: a switch on the leaf frees by itself."""
    unlocks = is_word(power_loss, "unlocks")
    magnet = is_word(taken, "magnet")
    leaf = all_of(is_word(exit_input, "handle-switch"), unlocks)
    return Locks(
        taken=taken,
        powered=is_word(taken, *POWERED),
        handle=all_of(is_word(mechanical_exit, *HANDLES), opposite(magnet)),
        leaf=leaf if leaf_counts else np.full(len(taken), NO, np.int8),
        input=opposite(is_word(exit_input, "none")),
        unlocks=unlocks,
        released=alarm_release,
        manual=emergency_release,
        green=all_of(emergency_release, unlocks),
    )


def lock_free(own: Locks, when_unlocked: Bools) -> Small:
    """Whether each lock lets people out, a column a state (n, 3).

    `when_unlocked`: a key lock without handle may be locked only while nobody is inside (an
    unlock schedule in an office or shop), and so is unclear.
    """
    powered = np.stack(
        [
            any_of(own.handle, own.leaf, own.input, own.green),
            any_of(own.handle, own.leaf, own.unlocks),
            any_of(own.handle, own.leaf, own.released, own.green),
        ],
        axis=1,
    )
    key = np.where(when_unlocked & (own.handle == NO), UNCLEAR, own.handle)
    key = np.repeat(key[:, None], len(STATES), axis=1)
    free = np.where((own.taken == "key")[:, None], key, powered)
    free = np.where((own.taken == "none")[:, None], YES, free)
    # a lock that is not recorded may be none, and is free for sure only where any lock were
    unsaid = (own.taken == "")[:, None]
    either = np.where(np.minimum(key, powered) == YES, YES, UNCLEAR)
    return np.where(unsaid, either, free).astype(np.int8)


def free_to_leave(free: Small, door: Ints, doors: int) -> Small:
    """Whether each door is free from inside to outside: all its locks are (doors, 3)."""
    out = np.full((doors, len(STATES)), YES, np.int8)
    np.minimum.at(out, door, free)
    return out


def free_to_enter(own: Locks, door: Ints, entry: Words) -> Small:
    """Whether each door is free from outside to inside (doors, 3); `entry` is the doors'.

    Never through `closed` or `key`, nor any lock `key`. With entry none: on a normal day
    always; else where each lock is none or lets go. With any other entry: on a normal day
    never; else where each lock lets go.
    """
    doors = len(entry)
    none = is_word(own.taken, "none")
    lets_go = np.stack([np.full(len(none), YES, np.int8), own.unlocks, own.released], axis=1)
    gone = np.maximum(lets_go, none[:, None])
    no_key = opposite(is_word(own.taken, "key"))
    locked = np.full((doors, len(STATES)), YES, np.int8)
    np.minimum.at(locked, door, np.minimum(gone, no_key[:, None]))
    open_in = opposite(is_word(entry, "closed", "key"))
    asks = opposite(is_word(entry, "none"))
    by_day = np.stack([opposite(asks), *[np.full(doors, YES, np.int8)] * 2], axis=1)
    return np.minimum(np.minimum(locked, open_in[:, None]), by_day).astype(np.int8)
