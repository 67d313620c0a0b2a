"""Found, followed, lost, found again: who is asked for each picture."""

from __future__ import annotations

import numpy as np
from support.bench_job import Job, work_of
from support.scripted_camera import IMAGE, registered, unseen

from drillaid.guidance.finder import BoardFinder


class Follower:
    """Follows as long as `holds`."""

    def __init__(self) -> None:
        self.following, self.holds, self.starts = False, True, 0

    def start(self, registration, image) -> None:
        self.following, self.starts = True, self.starts + 1

    def follow(self, image):
        if not self.holds:
            self.following = False
            return unseen("lost")
        return FOUND

    def lose(self) -> None:
        self.following = False


FOUND = registered(Job(work_of((0.8, 3))).view())


def finder(answers):
    follower = Follower()
    return BoardFinder(lambda image: answers.pop(0), follower), follower


def test_a_board_is_searched_for_until_found_and_followed_from_then_on():
    find, follower = finder([unseen(), FOUND])
    assert not find.look(IMAGE).ok and not find.following
    assert find.look(IMAGE).ok and find.following
    assert all(find.look(IMAGE) is FOUND for _ in range(5))
    assert (find.searches, follower.starts) == (2, 1)


def test_a_board_that_slips_away_is_searched_for_in_the_same_picture():
    find, follower = finder([FOUND, FOUND])
    find.look(IMAGE)
    follower.holds = False
    assert find.look(IMAGE).ok
    assert (find.searches, follower.starts) == (2, 2)


def test_what_is_forgotten_is_searched_for():
    find, _ = finder([FOUND, unseen()])
    find.look(IMAGE)
    find.forget()
    assert not find.look(IMAGE).ok


def test_a_registration_made_elsewhere_is_followed_without_a_search():
    find, _ = finder([])
    find.take(FOUND, np.copy(IMAGE))
    assert find.look(IMAGE).ok and find.searches == 0
