"""What came of a note, a press or a blow, in the words a person reads."""

from __future__ import annotations

from enum import StrEnum


class Outcome(StrEnum):
    """An outcome is its words; where there is more to say, they are followed by a colon and the rest."""

    PLAYS = "plays"
    BLOCKS = "blocks on the string"
    DOES_NOT_DROP = "does not drop"
    NEVER_ESCAPES = "never escapes"
    KEY_DOES_NOT_RETURN = "key does not return"
    JACK_DOES_NOT_RETURN = "jack does not come home"
    DOES_NOT_SOUND = "does not sound"
    SOUNDS = "sounds"
    SOUNDS_TWICE = "double strikes"
    DOES_NOT_REPEAT = "does not repeat"
    DOES_NOT_REST = "does not come to rest"
    LEAVES_DOMAIN = "leaves its domain"
    NOT_FOLLOWED = "leaves what the model can follow"
    NOT_SET_UP = "cannot be set up"
    NOT_REGULATED = "cannot be regulated"
    REFUSED = "refused"
