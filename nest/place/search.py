"""The search: a valid layout first, then its frontier drawn in as far as time allows.

The frame is the one that all record holders on open data share since 2007: fix the
frontier, let parts overlap, remove the overlaps, then move the frontier on (Egeblad,
Nielsen & Odgaard 2007; Imamichi, Yagiura & Nagamochi 2009; Gardeyn, Vanden Berghe &
Wauters 2025, whose exploration and compression schedule this follows).

Two workers search from seeds of their own and share the better layout at fixed points
of their work, whatever the number of cores, so that the same seed and the same effort
give the same layout. A worker's work is counted in candidate poses looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from functools import partial

import numpy as np

from hides.outline import FloatArray
from nest.job import Budget
from nest.place import shapes
from nest.place.compact import Compaction
from nest.place.kernels import layout
from nest.place.kernels import memory as k
from nest.place.shapes import World

WORKERS = 2
ROUND = 50_000  # candidate poses per worker between two exchanges, while gains come fast;
LONG_ROUND = 250_000  # later they meet less often, for each time one waits for the other
SHORT_ROUNDS = 12
FAR_BEHIND = 0.01  # of the used length; a worker this far behind goes on from the other's layout
SETTLING = 4  # passes in which loose parts slide back at the end


@dataclass(frozen=True, slots=True)
class Tuning:
    """The search's settings, chosen at equal work on open strips and a week, 2 to 3 seeds.

    ``step`` and ``coarse`` on six strips and two weeks, 3 seeds (tests/bench/RESULTS.md);
    ``stale``, ``room`` and ``depth``, and the windows in ``_shake``, on open strips with one seed
    or two. One worker of each sort, for at a fixed density a single long attempt comes through on
    some strips (swim), and on others (shapes0) only shaking does.
    """

    here: int = 10  # samples near the present pose
    wide: int = 20  # samples over the container
    patience: int = 150  # passes without a 2 % gain before an attempt is given up
    attempt: int = 2_000_000  # candidate poses in which an attempt must have come to something
    squeeze_patience: int = 40  # the same for the small steps at the end
    step: float = 0.04  # first share of the used length by which the frontier moves
    coarse: float = 0.01  # a step above this is halved as soon as it fails once
    least_step: float = 0.001  # the step is halved down to this
    fails: int = 4  # failed separations before a finer step is halved
    stale: int = 2  # times that the least step may come to nothing before a layout is shaken
    room: float = 0.06  # most of the used length by which it grows then
    depth: int = 32  # most times the patience that a patient worker has then instead
    squeeze: float = 0.97  # share of the budget after which only compression is done
    squeeze_from: float = 0.0005  # compression's steps, falling
    squeeze_to: float = 0.00001


@dataclass(slots=True)
class Best:
    """The best layout so far: poses (parts, 4: x, y in mm, turn, flip), reach in mm, conflict."""

    poses: FloatArray
    reach: float
    conflict: float

    def beats(self, other: Best) -> bool:
        """Valid before invalid, then by reach; among invalid ones by conflict."""
        if self.conflict > 0 or other.conflict > 0:
            return self.conflict < other.conflict
        return self.reach < other.reach - 1e-9


@dataclass(frozen=True, slots=True)
class Step:
    """What an observer is told whenever a better layout is found; reaches in mm."""

    seconds: float
    reach: float
    valid: bool
    least: float = -np.inf  # the reach that can't be bettered, as far as it is known yet


@dataclass(frozen=True, slots=True)
class Layout:
    """What a search found, valid or not.

    Attributes
    ----------
    poses : (parts, 4) x and y in mm, turn in rad and flip; another search may go on from them.
    angles : (parts,) rad.
    reach : mm, as far as parts stand out towards large x.
    conflict : number; weighed depths of overlaps and of strays, 0 for a valid layout.
    work : number of candidate poses looked at.
    trace : each better layout on the way.
    culprits : indices of the parts in conflict, worst first.
    """

    poses: FloatArray
    angles: FloatArray
    reach: float
    conflict: float
    work: int
    trace: tuple[Step, ...]
    culprits: tuple[int, ...]


@dataclass(slots=True)
class _Attempt:
    """One attempt to make a layout valid, as it goes on over several rounds."""

    poses: FloatArray
    front: float
    patience: int
    memo: FloatArray
    work: int = 0

    @property
    def conflict(self) -> float:
        """The least conflict met so far."""
        return float(self.memo[2])


class Worker:
    """One searcher: its random state, its memory and the schedule it follows.

    Poses are (parts, 4): x and y in mm, turn in rad, flip. Budgets, tries and work are numbers
    of candidate poses.
    """

    def __init__(self, world: World, seed: int, tuning: Tuning, patient: bool = False) -> None:
        self.world, self.tuning, self.n = world, tuning, len(world.kinds)
        self.patient, self.depth = patient, 1  # times the patience of the settings
        self.state = world.state.copy()
        self.memory = (*world.shared, self.state)
        self.compact = Compaction(self.memory)
        self.listed = self.state[k.F_LISTED] > 0
        self.random = np.array([_mix(seed)], np.uint64)
        self.py = np.random.default_rng(_mix(seed))
        self.best = self.base = Best(np.zeros((self.n, 4)), np.inf, np.inf)
        self.step = tuning.step
        self.pool: list[tuple[float, FloatArray]] = []
        self.failed = 0
        self.attempt: _Attempt | None = None
        self.stale = 0  # times in a row that the least step came to nothing
        self.shaken: Best | None = None  # to be made valid before the search goes on from it

    # ------------------------------------------------ pieces of work

    def start(self, tries: int) -> None:
        """Place part after part, large ones first with some luck; keep the best of it."""
        luck = self.world.sizes * self.py.uniform(0.7, 1.3, self.n)
        poses = np.zeros((self.n, 4))
        self._calm()
        self.state[k.F_FRONT] = self.state[k.F_X1]
        order = np.argsort(-luck, kind="stable")
        layout.construct(poses, order, tries, *self.memory, self.random)
        self.begin(poses)

    def begin(self, poses: FloatArray) -> None:
        """Take a layout to go on from."""
        self._calm()
        self.state[k.F_FRONT] = self.state[k.F_X1]
        self._offer(poses, self._conflict(poses))

    def repair(self, budget: int) -> None:
        """Remove the conflicts of the best layout with the whole container to use."""
        if self.attempt is None:
            poses = self.best.poses.copy()
            poses = self._disrupted(poses) if self.failed else poses
            self._try(poses, float(self.state[k.F_X1]), self.tuning.patience)
        if attempt := self._go_on(budget):
            self._offer(attempt.poses, attempt.conflict)
            self.failed += 1

    def explore(self, budget: int) -> None:
        """Move the frontier by the present step; on failure go on from a disturbed layout.

        Where the least step keeps failing no single move helps any more. Then a patient worker
        gives every attempt twice the time; another one shakes the layout and draws it together
        anew, from the first step on.
        """
        if self.attempt is None and self.shaken:
            self._try(self.shaken.poses, self.shaken.reach, self.tuning.patience)
        elif self.attempt is None:
            front = self._front(self.base.reach, self.step)
            start = self._picked() if self.pool else self._shifted(self.base, front)
            self._try(start, front, self.tuning.patience * self.depth)
        if attempt := self._go_on(budget):
            if self.shaken:
                self._shaken_down(attempt)
                return
            if found := self._compacted(attempt, self.base.reach):
                self.base, self.stale = found, 0
                self._forget()
                return
            self.pool.append((attempt.conflict, attempt.poses))
            self.pool.sort(key=lambda entry: entry[0])
            self.failed += 1
            if self.failed >= self.tuning.fails or self.step > self.tuning.coarse:
                self._forget()
                if self.best.beats(self.base):
                    self.base = self.best
                if self.step > self.tuning.least_step:
                    self.step = max(self.step / 2, self.tuning.least_step)
                    return
                self.stale += 1
                if self.patient:
                    self.depth = min(2 * self.depth, self.tuning.depth)
                elif self.stale >= self.tuning.stale:
                    self._shake()

    def compress(self, budget: int, share: float) -> None:
        """Move the frontier by small steps from the best layout; ``share`` of the phase is over."""
        if self.attempt is None:
            high, low = self.tuning.squeeze_from, self.tuning.squeeze_to
            front = self._front(self.best.reach, high + (low - high) * share)
            self._try(self._shifted(self.best, front), front, self.tuning.squeeze_patience)
        if attempt := self._go_on(budget):
            self._compacted(attempt, self.best.reach)

    def adopt(self, best: Best) -> None:
        """Go on from another worker's layout."""
        self.best = self.base = Best(best.poses.copy(), best.reach, best.conflict)
        self._forget()
        self.attempt = self.shaken = None

    # ------------------------------------------------ inside

    def _try(self, poses: FloatArray, front: float, patience: int) -> None:
        self._calm()
        self.attempt = _Attempt(poses, front, patience, np.array([-1.0, np.inf, np.inf]))

    def _go_on(self, budget: int) -> _Attempt | None:
        """Work on the present attempt; returns it once it is over."""
        attempt, t, before = self.attempt, self.tuning, self.count
        assert attempt is not None
        self.state[k.F_FRONT] = attempt.front
        layout.separate(
            attempt.poses, attempt.memo, attempt.patience, budget, t.here, t.wide,
            *self.memory, self.random,
        )  # fmt: skip
        attempt.work += self.count - before
        if (
            attempt.conflict > 0
            and attempt.memo[0] < attempt.patience
            and attempt.work < t.attempt * self.depth
        ):
            return None
        self.attempt = None
        return attempt

    def _compacted(self, attempt: _Attempt, reach: float) -> Best | None:
        """What a finished attempt came to, to go on from, if it is valid or compaction makes it so.

        A compacted layout is tight and leaves less to search in, so where the attempt was valid
        by itself the search goes on from that, and what compaction gains is only kept.
        """
        valid = attempt.conflict <= 0.0
        found = self._offer(attempt.poses, 0.0) if valid else None
        hard = not valid or self.listed or self.step < self.tuning.step
        if hard and (compact := self.compact(attempt.poses, np.inf if valid else reach)):
            tight = self._offer(compact[0], 0.0)
            return found or tight
        return found

    def _forget(self) -> None:
        self.pool.clear()
        self.failed = 0

    def _conflict(self, poses: FloatArray) -> float:
        return float(layout.put_all(poses, *self.memory))

    def _offer(self, poses: FloatArray, loss: float) -> Best:
        self.state[k.F_FRONT] = self.state[k.F_X1]
        self._conflict(poses)
        found = Best(poses.copy(), float(self._rows()[:, 2].max()), loss)
        if found.beats(self.best):
            self.best = found
        if self.base.conflict > 0:
            self.base = self.best
        return found

    def _shake(self) -> None:
        """Disturb the best layout on a large scale, with some room to settle in.

        Either two blocks that lie side by side change places, as they are, or the parts
        within a window do so among each other.
        """
        self.stale = 0
        base, x0 = self.best, float(self.state[k.F_X0])
        used = base.reach - x0
        room = self.py.uniform(0.2, 1.0) * self.tuning.room * used
        poses = base.poses.copy()
        x = base.poses[:, 0]
        if self.py.random() < 0.5:
            a, b, c = x0 + used * np.sort(self.py.uniform(-0.05, 1.05, 3))
            poses[(x >= a) & (x < b), 0] += c - b + room / 2
            poses[(x >= b) & (x < c), 0] -= b - a
        else:
            wide = self.py.uniform(0.4, 1.0) * used
            a = x0 + self.py.uniform(-0.5 * wide, used - 0.5 * wide)
            c = a + wide
            inside = np.flatnonzero((x >= a) & (x < c))
            poses[inside, 0] += room * (x[inside] - a) / wide
            poses[inside, :2] = poses[self.py.permutation(inside), :2]
        poses[x >= c, 0] += room
        self.shaken = Best(poses, base.reach + room, np.inf)

    def _shaken_down(self, attempt: _Attempt) -> None:
        """Go on from a shaken layout if it came to a valid one, else shake again."""
        if attempt.conflict > 0:
            self._shake()
            return
        self.base, self.shaken = self._offer(attempt.poses, 0.0), None
        self.step = self.tuning.step
        self._forget()

    def _front(self, reach: float, step: float) -> float:
        return reach - step * (reach - float(self.state[k.F_X0]))

    def _shifted(self, base: Best, front: float) -> FloatArray:
        """Everything beyond a random cut moves back by what the frontier moves."""
        moved = base.poses.copy()
        cut = self.py.uniform(float(self.state[k.F_X0]), front)
        moved[moved[:, 0] > cut, 0] -= base.reach - front
        return moved

    def _picked(self) -> FloatArray:
        """One of the least bad layouts that failed, with two parts swapped."""
        at = int(min(abs(self.py.normal(0.0, 0.25)), 0.999) * len(self.pool))
        return self._disrupted(self.pool[at][1].copy())

    def _disrupted(self, poses: FloatArray) -> FloatArray:
        """Swap the places of two of the larger parts that differ."""
        kinds, sizes = self.world.kinds, self.world.sizes
        large = np.flatnonzero(sizes >= np.median(sizes))
        a = int(self.py.choice(large))
        others = large[kinds[large] != kinds[a]]
        if len(others) == 0:
            others = np.flatnonzero(kinds != kinds[a])
        b = int(self.py.choice(others)) if len(others) else int(self.py.integers(self.n))
        poses[[a, b], :2] = poses[[b, a], :2]
        return poses

    def _calm(self) -> None:
        head = self.world.shared[0]
        self.state[head[k.AT_PAIR_WEIGHTS] : head[k.AT_OVERLAPS]] = 1.0

    def settled(self, best: Best) -> tuple[FloatArray, float]:
        """Poses and reach once loose parts have slid back, for larger pieces between them.

        The frontier is set by few parts; the others are where the search left them.
        """
        poses = best.poses.copy()
        if best.conflict > 0:
            return poses, best.reach
        self.state[k.F_FRONT] = best.reach
        for _ in range(SETTLING):
            order = np.argsort(poses[:, 0], kind="stable")
            layout.settle(poses, order, *self.memory)
        if self._conflict(poses) > 0:
            return best.poses, best.reach
        return poses, float(self._rows()[:, 2].max())

    def judged(self, poses: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Angle in rad and conflict of every part at these poses, the frontier set aside."""
        self.state[k.F_FRONT] = np.inf
        self._conflict(poses)
        rows = self._rows()
        return np.arctan2(rows[:, 9], rows[:, 8]), self.strays + self.overlaps.sum(axis=1)

    @property
    def overlaps(self) -> FloatArray:
        """(parts, parts) view of the present overlaps, times the sizes of both parts."""
        at = self.world.shared[0][k.AT_OVERLAPS]
        return self.state[at : at + self.n**2].reshape(self.n, self.n)

    @property
    def strays(self) -> FloatArray:
        """(parts,) view of how far each part leaves its ground, times its size squared."""
        at = self.world.shared[0][k.AT_STRAYS]
        return self.state[at : at + self.n]

    @property
    def count(self) -> int:
        """Candidate poses looked at so far."""
        return int(self.state[k.F_COUNT])

    def _rows(self) -> FloatArray:
        """(parts, 10) view of the poses in place."""
        return self.state[k.F_SIZE :][: k.POSE * self.n].reshape(self.n, k.POSE)


def run(
    world: World,
    budget: Budget,
    *,
    seed: int = 1,
    begin: FloatArray | None = None,
    give_up: float = 1.0,
    good_enough: float | Callable[[], float] = -np.inf,
    observer: Callable[[Step], None] = lambda step: None,
    stop: Callable[[], bool] = lambda: False,
    tuning: Tuning | None = None,
) -> Layout:
    """Search until the budget is used, ``stop`` says so or the reach is ``good_enough``.

    Parameters
    ----------
    world : what to place where, from :func:`nest.place.shapes.build`.
    budget : what may be spent from now on; by work the result is the same on every run.
    seed : number that the workers' luck begins with.
    begin : (parts, 4) poses of an earlier layout in such a world, to go on from.
    give_up : share of the budget at which the search ends if no layout is valid by then.
    good_enough : reach (mm) at which nothing is left to gain; a function is worked out beside
        the search, from the first layout on.
    observer : told of every better layout; it must not raise.
    stop : asked between pieces of work.
    """
    warm_up()
    budget = budget.share(1.0)  # begins once everything is compiled
    tuning = tuning or Tuning()
    workers = [Worker(world, seed * 7919 + w, tuning, patient=w > 0) for w in range(WORKERS)]
    trace: list[Step] = []
    best = workers[0].best

    with ThreadPoolExecutor(WORKERS + 1) as pool:
        goal: Future[float] | None = None

        def least() -> float:
            return goal.result() if goal and goal.done() else -np.inf

        def over(work: int) -> bool:
            met = best.conflict <= 0 and best.reach <= least()
            return (
                met
                or stop()
                or budget.used_after(WORKERS * work) >= (1.0 if best.conflict <= 0 else give_up)
            )

        def together(task: Callable[[Worker], None]) -> None:
            nonlocal best
            for future in [pool.submit(task, w) for w in workers]:
                future.result()
            leader = min(workers, key=lambda w: (w.best.conflict, w.best.reach)).best
            if leader.beats(best):
                best = leader
                trace.append(Step(budget.passed, best.reach, best.conflict <= 0, least()))
                observer(trace[-1])

        together((lambda w: w.start(100)) if begin is None else (lambda w: w.begin(begin)))
        goal = pool.submit(good_enough if callable(good_enough) else lambda: good_enough)
        if budget.by_work:
            wait([goal])  # when it becomes known must not depend on the machine
        turn = 0
        while not over(work := max(w.count for w in workers)):
            share = budget.used_after(WORKERS * work)
            together(partial(_turn, share=share, turn=turn, over=over))
            turn += 1
            _exchange(workers, best, share, turn, tuning)
    poses, reach = workers[0].settled(best)
    angles, blame = workers[0].judged(poses)
    return Layout(
        poses,
        angles,
        reach,
        best.conflict,
        sum(w.count for w in workers),
        tuple(trace),
        tuple(int(i) for i in np.argsort(-blame, kind="stable") if blame[i] > 0),
    )


def warm_up() -> None:
    """Compile the kernels, or load them from the cache, before time is counted."""
    square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    world = shapes.build([shapes.Shape(square, (0.0,))], [0, 0], box=(0, 0, 9, 9), exact=True)
    worker = Worker(world, 1, Tuning())
    worker.start(2)
    worker.repair(1)
    worker.settled(worker.best)
    worker.compact(np.zeros((2, 4)), np.inf)


def _turn(w: Worker, share: float, turn: int, over: Callable[[int], bool]) -> None:
    """One round of one worker: so many candidate poses, or a little more."""
    end = w.count + (ROUND if turn < SHORT_ROUNDS else LONG_ROUND)
    while w.count < end and not over(w.count):
        before = w.count
        if turn < 2 and w.best.conflict <= 0:
            w.start(300)
        elif w.best.conflict > 0:
            w.repair(end - before)
        elif share < w.tuning.squeeze:
            w.explore(end - before)
        else:
            w.compress(end - before, min(1.0, (share - w.tuning.squeeze) / (1 - w.tuning.squeeze)))
        if w.count == before:
            return


def _exchange(workers: list[Worker], best: Best, share: float, turn: int, tuning: Tuning) -> None:
    """Workers far behind, or all of them once compression begins, go on from the best."""
    for w in workers:
        used = best.reach - float(w.state[k.F_X0])  # reach itself may be negative
        behind = w.best.conflict > 0 or w.best.reach > best.reach + FAR_BEHIND * used
        if best.beats(w.best) and (share >= tuning.squeeze or (behind and turn % 4 == 0)):
            w.adopt(best)


def _mix(seed: int) -> int:
    """Spread a small seed over 64 bits (splitmix64, Steele, Lea & Flood 2014)."""
    z = (seed + 0x9E3779B97F4A7C15) & 0xFFFFFFFFFFFFFFFF
    z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & 0xFFFFFFFFFFFFFFFF
    z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & 0xFFFFFFFFFFFFFFFF
    return (z ^ (z >> 31)) | 1
