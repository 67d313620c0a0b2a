"""Found, followed, lost, found again: who is asked for each picture."""

from __future__ import annotations

import numpy as np
from support.bench_job import Job, work_of
from support.scripted_camera import IMAGE, registered, unseen

from drillaid.guidance.finder import BoardFinder


class Follower:
    """Follows as long as `holds`."""

    def __init__(self) -> None:
        self.following, self.holds, self.starts, self.again = False, True, 0, False

    def start(self, registration, image) -> None:
        self.following, self.starts = True, self.starts + 1

    def follow(self, image):
        if not self.holds:
            self.following = False
            return unseen("lost")
        return FOUND

    @property
    def knows_the_board(self) -> bool:
        return self.starts > 0

    def find_again(self, image):
        return FOUND if self.again and self.starts else unseen("not found again")

    def lose(self) -> None:
        self.following = False


FOUND = registered(Job(work_of((0.8, 3))).view())


def finder(answers, hurry=False):
    follower = Follower()
    return BoardFinder(lambda image: answers.pop(0), follower, hurry=hurry), follower


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


def test_the_quick_way_comes_before_the_thorough_search():
    find, follower = finder([FOUND])
    find.look(IMAGE)
    follower.holds, follower.again = False, True
    assert find.look(IMAGE).ok and find.searches == 1


def other(level: int) -> np.ndarray:
    return np.full((160, 160, 3), level, np.uint8)


def test_in_a_hurry_a_lost_board_is_searched_for_thoroughly_only_when_nothing_moves():
    find, follower = finder([FOUND, unseen("empty"), FOUND], hurry=True)
    assert find.look(other(0)).ok
    follower.holds = False
    assert "lie still" in find.look(other(90)).message and find.searches == 1
    assert find.look(other(90)).message == "empty" and find.searches == 2
    # What was searched in vain is not searched again, until something has moved.
    assert all(find.look(other(90)).message == "empty" for _ in range(20)) and find.searches == 2
    assert not find.look(other(150)).ok and find.searches == 2
    assert find.look(other(150)).ok and find.searches == 3


def test_a_scene_that_stays_as_it_is_is_searched_again_now_and_then():
    find, follower = finder([FOUND, unseen("empty"), FOUND], hurry=True)
    find.look(other(0))
    follower.holds = False
    looks = next(n for n in range(60) if find.look(other(90)).ok)
    assert looks > 20 and find.searches == 3


def test_a_light_that_goes_out_is_said_at_once_and_searched_for_by_nobody():
    find, follower = finder([FOUND], hurry=True)
    assert find.look(other(90)).ok
    follower.holds = False
    dark = find.look(other(4))
    assert dark.reason == "dark" and "switch on the light" in dark.message
    assert find.searches == 1
    follower.again = True
    assert find.look(other(90)).ok
