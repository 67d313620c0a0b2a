from __future__ import annotations

import threading
import time

import pytest

from drillaid import processors
from drillaid.processors import meanwhile, side_by_side


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("worth_it", [True, False])
def test_answers_come_in_the_order_of_the_trials(monkeypatch, count, worth_it):
    monkeypatch.setattr(processors, "processors", lambda: count)

    def slow_first(k: int) -> int:
        time.sleep(0.02 * (3 - k))
        return k * k

    assert side_by_side(slow_first, [0, 1, 2, 3], worth_it=worth_it) == [0, 1, 4, 9]
    assert side_by_side(slow_first, []) == []


@pytest.mark.parametrize("worth_it", [True, False])
def test_several_at_a_time_only_where_it_is_worth_it(monkeypatch, worth_it):
    monkeypatch.setattr(processors, "processors", lambda: 2)
    both = threading.Barrier(2, timeout=0.5)

    def meets_the_other(_) -> bool:
        try:
            both.wait()
        except threading.BrokenBarrierError:
            return False
        return True

    assert side_by_side(meets_the_other, [0, 1], worth_it=worth_it) == [worth_it] * 2


def test_a_failure_is_not_swallowed(monkeypatch):
    monkeypatch.setattr(processors, "processors", lambda: 2)
    with pytest.raises(ZeroDivisionError):
        side_by_side(lambda k: 1 // k, [1, 0])


def test_what_goes_on_meanwhile_is_done_when_asked_for(monkeypatch):
    monkeypatch.setattr(processors, "processors", lambda: 2)
    begun = threading.Event()

    def work(k: int) -> int:
        begun.set()
        return k + 1

    with meanwhile(work, 4) as result:
        assert begun.wait(5)  # unasked
        assert result() == 5 and result() == 5


def test_on_one_processor_it_is_done_once_and_only_when_asked_for(monkeypatch):
    monkeypatch.setattr(processors, "processors", lambda: 1)
    calls = []
    with meanwhile(calls.append, 4) as result:
        assert calls == []
        result(), result()
    assert calls == [4]


@pytest.mark.parametrize("count", [1, 2])
def test_a_failure_meanwhile_comes_where_the_result_is_asked_for(monkeypatch, count):
    monkeypatch.setattr(processors, "processors", lambda: count)
    with meanwhile(lambda: 1 // 0) as result, pytest.raises(ZeroDivisionError):
        result()
