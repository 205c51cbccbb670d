"""Shortening keeps every item, stays legal, and comes back from a layout that was loosened; strips keep their width."""

import numpy as np
import pytest
import shapely
from shapes import random_polygon

from nesting.search.crew import Crew, State
from nesting.search.fill import PULLS, Fill
from nesting.search.problem import Kind, Problem
from nesting.search.shorten import BARREN, LOOSENINGS, LOOSER, Shorten, _Trail
from nesting.search.state import Crowd
from nesting.search.strip import _in_width, shortest_strip

ALONG = (1.0, 0.0)


def begun(seed: int = 0) -> tuple[Problem, Shorten, State]:
    """Odd items on a long plate, greedily placed, and their shortening with steps to count."""
    rng = np.random.default_rng(seed)
    problem = Problem(
        [Kind(polygon=random_polygon(rng), turns=(0.0, np.pi), most=2) for _ in range(5)], shapely.box(0, 0, 3000, 400)
    )
    crew = Crew(seed=seed, seconds=60.0, steps=400, threads=1)
    fill = Fill(problem, crew)
    first = fill.greedy_once(PULLS[0], rng)
    assert not fill.waiting(first)
    shorten = Shorten(problem, crew, ALONG)
    state = shorten.state(first.poses)
    crew.restart(state)
    return problem, shorten, state


def test_a_loosened_layout_is_legal_and_only_a_little_longer() -> None:
    problem, shorten, state = begun()
    crowd = shorten.crew.crowd(problem, state.poses, seed=1)

    trail = shorten._loosened(crowd, np.random.default_rng(1), np.arange(6), state)

    assert trail is not None and trail.loosened
    assert problem.is_legal(problem.placed_polygons(trail.state.poses))
    longest = 1.0 + LOOSER[1] * (1.0 + LOOSENINGS / 4)
    assert shorten.reach(trail.state.poses) <= longest * shorten.reach(state.poses)
    assert np.abs(trail.state.poses[:, 1:3] - state.poses[:, 1:3]).max() > 1.0
    np.testing.assert_array_equal(np.sort(trail.state.poses[:, 0]), np.sort(state.poses[:, 0]))


def loosened_scores(monkeypatch: pytest.MonkeyPatch, behind: float) -> tuple[list[float], list[float]]:
    """Scores of the layouts loosened one after the other in a run, and of the best at the time."""
    monkeypatch.setattr("nesting.search.shorten.BEHIND", behind)
    monkeypatch.setattr("nesting.search.shorten.GOING_BACK", 0.0)
    _, shorten, _ = begun()
    scores: list[float] = []
    best: list[float] = []
    loosened = Shorten._loosened

    def watched(
        self: Shorten, crowd: Crowd, rng: np.random.Generator, big: np.ndarray, state: State
    ) -> _Trail | None:  # fmt: skip
        assert self.crew.best is not None
        scores.append(state.score[0])
        best.append(self.crew.best.score[0])
        return loosened(self, crowd, rng, big, state)

    monkeypatch.setattr(Shorten, "_loosened", watched)
    shorten.crew.run(shorten.work, 60.0)
    return scores, best


def test_the_walk_of_loosened_layouts_begins_at_the_best_and_goes_through_worse(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    scores, best = loosened_scores(monkeypatch, behind=1e6)

    assert scores[0] == best[0]
    assert any(score < at_best for score, at_best in zip(scores, best, strict=True))


def test_the_walk_goes_through_nothing_worse_if_none_may_lie_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    scores, best = loosened_scores(monkeypatch, behind=0.0)

    assert len(scores) > 3
    assert scores == best


def test_no_layout_is_given_up_before_it_failed_so_often(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether it was loosened or not, and however far behind."""
    _, shorten, _ = begun()
    met: list[_Trail] = []
    attempt = Shorten._attempt

    def watched(self: Shorten, crowd: Crowd, rng: np.random.Generator, trail: _Trail) -> bool:
        if not met or trail is not met[-1]:
            met.append(trail)
        return attempt(self, crowd, rng, trail)

    monkeypatch.setattr(Shorten, "_attempt", watched)
    shorten.crew.run(shorten.work, 60.0)

    given_up = met[:-1]
    assert {t.loosened for t in given_up} == {False, True}
    assert min(t.barren for t in given_up) >= BARREN


def test_what_was_loosened_never_replaces_something_shorter() -> None:
    problem, shorten, state = begun()
    offered: list[float] = []
    shorten.crew.watch = lambda crew: offered.append(crew.best.score[0]) or False  # type: ignore[union-attr, func-returns-value]

    shorten.crew.run(shorten.work, 60.0)

    best = shorten.crew.best
    assert best is not None and best.score > state.score
    assert offered == sorted(offered)
    assert problem.is_legal(problem.placed_polygons(best.poses))
    np.testing.assert_array_equal(np.sort(best.poses[:, 0]), np.sort(state.poses[:, 0]))


def test_items_that_fill_the_width_end_in_it_exactly() -> None:
    """By hand: eight squares of 10 on a strip 20 wide need 40; searched a hair wider, they end in the true width."""
    problem, best, _ = shortest_strip([Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,), most=8)], 20.0, steps=20)

    polygons = problem.placed_polygons(best.poses)
    assert problem.is_legal(polygons)
    assert max(p.bounds[3] for p in polygons) <= 20.0 + 1e-6
    np.testing.assert_allclose(-best.score[0], 40.0, atol=1e-5)


def test_what_cannot_be_mended_gets_more_length_or_is_left_as_it_was() -> None:
    square = Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,), most=2)
    problem = Problem([square], shapely.box(0, 0, 100, 10))
    apart, on_top = (np.array([[0, 5.0, 5.0, 0.0], [0, x, 5.0, 0.0]]) for x in (40.0, 5.0))
    found = [State(poses=on_top, score=(-10.0,))]

    assert _in_width(problem, found, 1.0, otherwise=apart) is apart
