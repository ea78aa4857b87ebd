"""Sentences of the procedures speak of a file; at a question the same is done with a key."""

from __future__ import annotations

import re

_PHRASES = (
    (r'(?:write |enter )?use = "information only"', "take it for information only (* asks for it)"),
    (r'(?:write |say |or )?(\w+)\.not_done = "because \.\.\."', r"press ! at \1 and say why"),
    (r'(?:write |say )?not_done = "because \.\.\."', "press ! and say why"),
    (r"say not_done", "press ! and say why"),
    (
        r'(?:or )?(?:write )?decision\.despite = "\.\.\."',
        "or press * at the decision and go on in spite of it,",
    ),
    (r'write same_as = "(\w+)"', r"choose the same as \1"),
)


def in_keys(sentence: str) -> str:
    """Return a sentence with what is typed into a file as what is pressed at a question.

    >>> in_keys('enter at least one, or not_done = "because ..." instead.')
    'enter at least one, or press ! and say why instead.'
    """
    for pattern, words in _PHRASES:
        sentence = re.sub(pattern, words, sentence)
    return sentence
