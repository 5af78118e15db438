"""Random messages to the workbench: many on one link, and now and then a whole one, which must be answered as ever."""

from __future__ import annotations

from random import Random

from damage import mutated
from doors import questions, workbench
from time_limit import TooLongError, within
from workbench_link import answers_to

IN_A_LINK = 100
"""Damaged messages on one link."""
PATIENCE_S = 200


def message(number: int) -> str | bytes:
    """A question of the page, damaged; as a binary message where the damage left no text."""
    random = Random(number)
    data = mutated(random.choice(questions()), random, text=True)
    try:
        return data.decode()
    except UnicodeDecodeError:
        return data


def fault_of_link(first: int, count: int) -> str | None:
    """What is wrong with the answers to `count` messages on one link, and to the whole question after them."""
    whole = questions()[0].decode()
    try:
        with within(PATIENCE_S):
            answers = answers_to([*(message(first + k) for k in range(count)), whole], workbench())
    except TooLongError:
        return f"messages {first} to {first + count - 1}: hang"
    except AssertionError as error:
        return f"messages {first} to {first + count - 1}: {error}"
    for number, answer in enumerate(answers[:-1], first):
        line = answer["error"]["text"] if "error" in answer else ""
        if "internal error" in line or not line.isprintable():
            return f"message {number}: {line[:200]!r}"
    return None if answers[-1].get("path", {}).get("hits") else f"messages from {first}: the whole question has no answer"


def sent(first: int, count: int) -> list[str]:
    """The faults of messages `first` to `first + count - 1`."""
    links = range(first, first + count, IN_A_LINK)
    found = [fault_of_link(start, min(IN_A_LINK, first + count - start)) for start in links]
    return [one for one in found if one is not None]
