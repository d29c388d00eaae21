"""What several ask for at once is made in one go, and one that fails is no other's fault."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from pipelines.desk.together import Together


class Maker:
    """Makes names in capitals, one go at a time as the test lets it, and keeps each go's names."""

    def __init__(self, bad=()):
        self.goes, self.bad = [], bad
        self.begun, self.go_on = threading.Event(), threading.Event()

    def __call__(self, names):
        self.goes.append(sorted(names))
        self.begun.set()
        assert self.go_on.wait(10)
        if set(names) & set(self.bad):
            raise ValueError(f"cannot make {', '.join(sorted(set(names) & set(self.bad)))}")
        return {name: name.upper() for name in names}


def asked_while_one_is_made(maker, together, names):
    """The futures of `first`, and of names for which others asked while that was being made."""
    people = ThreadPoolExecutor(16)
    first = people.submit(together.of, "first", maker)
    assert maker.begun.wait(10)
    rest = [people.submit(together.of, name, maker) for name in names]
    while together.waiting < len(set(names)):
        time.sleep(0.001)
    maker.go_on.set()
    return first, rest


def test_all_who_come_meanwhile_are_served_by_one_go_more():
    """Five threads ask for four names while one is made: two goes in all, each name made once."""
    maker, together = Maker(), Together()
    first, rest = asked_while_one_is_made(maker, together, ["a", "b", "a", "c", "d"])
    assert first.result(10) == "FIRST"
    assert [one.result(10) for one in rest] == ["A", "B", "A", "C", "D"]
    assert maker.goes == [["first"], ["a", "b", "c", "d"]]


def test_what_is_asked_for_again_afterwards_is_made_again():
    """A go serves those who asked before it began; nothing is kept for those who ask later."""
    maker, together = Maker(), Together()
    maker.go_on.set()
    assert [together.of("a", maker), together.of("a", maker)] == ["A", "A"]
    assert maker.goes == [["a"], ["a"]]


def test_no_go_is_larger_than_the_most():
    """Five wait where two fit in one go: two, two and one."""
    maker, together = Maker(), Together(2)
    _, rest = asked_while_one_is_made(maker, together, ["e", "d", "c", "b", "a"])
    assert [one.result(10) for one in rest] == ["E", "D", "C", "B", "A"]
    assert [len(go) for go in maker.goes] == [1, 2, 2, 1]


def test_one_that_cannot_be_made_fails_for_itself_alone():
    """Of three the second is bad: it has its own fault, and the two others what they asked for."""
    maker, together = Maker(bad=["b"]), Together()
    _, (a, b, c) = asked_while_one_is_made(maker, together, ["a", "b", "c"])
    assert (a.result(10), c.result(10)) == ("A", "C")
    with pytest.raises(ValueError, match="cannot make b"):
        b.result(10)
    assert together.of("a", maker) == "A"  # and the next go is as any other
